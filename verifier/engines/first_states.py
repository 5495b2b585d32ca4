"""All values of some variables that make a literal 1, without trying every combination.

The literal is taken apart into the conjuncts at its top. Variables get values one conjunct after another, always the
one with the fewest variables still open; as soon as a conjunct has all of them, the rows where it is 0 go. In a circuit
the conjuncts say "this gate stands at its function", so with its inputs known there is one variable to try.

Where that makes too many rows, a solver finds the solutions one by one instead.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence

import numpy as np

from verifier.engines.column_logic import ColumnFunction, Truth
from verifier.logic.bit_graph import TRUE, VARIABLE, BitGraph, Literal
from verifier.logic.delay_system import DelaySystem
from verifier.logic.session import Answer, LoadedGraph, NoAnswerError, Session

MOST_SWEPT = 1 << 20
"""Rows; more are left to the solver."""
MOST_SOLVED = 1 << 16
"""The solver takes about 0.2 ms for each."""


class TooManyFirstStates(Exception):
    """There are more than MOST_SOLVED and they cannot be swept, or finding them takes longer than it may."""


def first_columns(system: DelaySystem, deadline: float) -> tuple[int, list[Truth]]:
    """How many first states are possible and permitted, and a column for each source, element and follower in order.

    Raises TooManyFirstStates.
    """
    bits = [*system.sources, *(e.bit for e in system.elements), *(f.bit for f in system.followers)]
    start = system.graph.conjunction(system.first, system.permitted_at_first)
    return solutions(system.graph, start, [bit.now for bit in bits], deadline)


def solutions(
    graph: BitGraph, literal: Literal, variables: Sequence[Literal], deadline: float
) -> tuple[int, list[Truth]]:
    """How many there are, and a column for each variable with a row for each solution, all different.

    Variables are positive literals; `literal` reads no others. `deadline` is a time of `time.monotonic`. Raises
    TooManyFirstStates.
    """
    conjuncts = _conjuncts(graph, literal)
    found = _swept(graph, conjuncts, variables)
    return _solved(graph, conjuncts, variables, deadline) if found is None else found


def _conjuncts(graph: BitGraph, literal: Literal) -> list[Literal]:
    pending, found = [literal], []
    seen: set[Literal] = set()
    while pending:
        part = pending.pop()
        if part in seen or part == TRUE:
            continue
        seen.add(part)
        if part & 1 or graph.lefts[part >> 1] == VARIABLE:
            found.append(part)
        else:
            pending += (graph.lefts[part >> 1], graph.rights[part >> 1])
    return found


def _support(graph: BitGraph, literal: Literal) -> set[Literal]:
    return {2 * node for node in graph.cone([literal]) if node and graph.lefts[node] == VARIABLE}


def _swept(
    graph: BitGraph, conjuncts: Iterable[Literal], variables: Sequence[Literal]
) -> tuple[int, list[Truth]] | None:
    """None when more than MOST_SWEPT rows would be tried."""
    open_in = {conjunct: _support(graph, conjunct) for conjunct in conjuncts}
    place = {variable: index for index, variable in enumerate(variables)}
    columns: dict[Literal, Truth] = {}
    rows = 1
    while open_in or len(columns) < len(variables):
        if open_in:
            chosen = min(open_in, key=lambda conjunct: (len(open_in[conjunct]), conjunct))
            wanted = sorted(open_in[chosen], key=lambda variable: place[variable])
        else:
            wanted = [variable for variable in variables if variable not in columns]
        for variable in wanted:
            if 2 * rows > MOST_SWEPT:
                return None
            columns = {known: np.concatenate((column, column)) for known, column in columns.items()}
            columns[variable] = np.arange(2 * rows) >= rows
            rows *= 2
            for support in open_in.values():
                support.discard(variable)
        for conjunct in [conjunct for conjunct, support in open_in.items() if not support]:
            del open_in[conjunct]
            function = ColumnFunction(graph, [conjunct])
            (holds,) = function([columns[variable] for variable in function.inputs], rows)
            kept = np.flatnonzero(np.full(rows, holds) if isinstance(holds, bool) else holds)
            columns = {known: column[kept] for known, column in columns.items()}
            rows = len(kept)
    return rows, [columns[variable] for variable in variables]


def _solved(
    graph: BitGraph, conjuncts: Sequence[Literal], variables: Sequence[Literal], deadline: float
) -> tuple[int, list[Truth]]:
    session = Session()
    loaded = LoadedGraph(session, graph)
    for conjunct in conjuncts:
        session.add_clause([loaded.literal(conjunct)])
    wanted = [loaded.literal(variable) for variable in variables]
    found: list[list[bool]] = []
    try:
        while session.check([], deadline) is Answer.SATISFIABLE:
            values = session.values(wanted)
            found.append(values)
            if len(found) > MOST_SOLVED or time.monotonic() > deadline:
                raise TooManyFirstStates(f"{len(found)} first instants were found, and there are more")
            session.add_clause([literal ^ value for literal, value in zip(wanted, values, strict=True)])
    except NoAnswerError as stopped:
        raise TooManyFirstStates(f"first instants could not be counted: {stopped}") from stopped
    table = np.array(found, np.bool_).reshape(len(found), len(variables))
    return len(found), [np.ascontiguousarray(table[:, place]) for place in range(len(variables))]
