"""All first states of a delay system, found by trying values bit by bit.

Values are tried for many beginnings at once. Bits that have no value yet are open, and a beginning is given up when
`first` is 0 whatever they will be. The order of the bits is made to let that be seen early: next come those of the part
of `first` that lacks the fewest, as a rule a gate all of whose pins have values. No solver takes part.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from verifier.evidence.delay_columns import (
    BitColumn,
    Formulas,
    Possible,
    Truths,
    conjunction,
    difference,
    disjunction,
    known,
    packed_bits,
    unknown,
    unpacked_bits,
    variables_of,
    words_for,
)
from verifier.logic.bit_graph import VARIABLE, BitGraph, Literal
from verifier.logic.delay_system import DelaySystem
from verifier.logic.reached_states import NOT_EXCITED, StateColumns

ROWS_AT_ONCE = 1 << 16


@dataclass(frozen=True)
class FirstStates:
    """Some possible first states."""

    columns: StateColumns
    bad: Truths


def first_states(system: DelaySystem, check_clock: Callable[[], None]) -> Iterator[FirstStates]:
    """Every possible first state, in groups. `check_clock` is called now and then; it may raise."""
    bits = (*system.sources, *(e.bit for e in system.elements), *(f.bit for f in system.followers))
    formulas = _FirstFormulas(system)
    order = _order(system.graph, (system.first, system.permitted_at_first))
    order += [node for node in (*(bit.now >> 1 for bit in bits), *formulas.variables) if node not in order]
    order = list(dict.fromkeys(order))
    pending: list[list[Truths]] = [[]]
    while pending:
        columns = pending.pop()
        check_clock()
        if len(columns) == len(order):
            yield formulas.states(dict(zip(order, columns, strict=True)), [bit.now >> 1 for bit in bits])
            continue
        rows = len(columns[0]) if columns else 1
        longer = [np.concatenate((column, column)) for column in columns]
        longer.append(np.arange(2 * rows) >= rows)
        possible = np.flatnonzero(formulas.may_begin(dict(zip(order, longer, strict=False)), 2 * rows))
        for start in range(0, len(possible), ROWS_AT_ONCE):
            chosen = possible[start : start + ROWS_AT_ONCE]
            pending.append([column[chosen] for column in longer])


class _FirstFormulas:
    def __init__(self, system: DelaySystem) -> None:
        self._system = system
        self._may_begin = Formulas(system.graph, [system.first, system.permitted_at_first])
        roots = [e.target for e in system.elements] + [e.optional for e in system.elements]
        resets = [timer.reset_at_first for timer in system.timers]
        self._others = Formulas(system.graph, [system.bad_at_first, *roots, *resets])
        self.variables = [*self._may_begin.variables, *self._others.variables]

    def may_begin(self, columns: dict[int, Truths], rows: int) -> Truths:
        words = words_for(rows)
        given = {
            node: known(packed_bits(columns[node])) if node in columns else unknown(words)
            for node in self._may_begin.variables
        }
        (first, permitted), _ = self._may_begin.values(given, words)
        return unpacked_bits(conjunction(first, permitted)[0], rows)

    def states(self, columns: dict[int, Truths], bits: Sequence[int]) -> FirstStates:
        system, rows = self._system, len(columns[bits[0]])
        given: dict[int, Possible] = {node: known(packed_bits(truths)) for node, truths in columns.items()}
        (bad, *rest), _ = self._others.values(given, words_for(rows))
        count = len(system.elements)
        targets, optionals, resets = rest[:count], rest[count : 2 * count], rest[2 * count :]
        excited: list[BitColumn] = [
            disjunction(difference(given[element.bit.now >> 1], target), optional)[0]
            for element, target, optional in zip(system.elements, targets, optionals, strict=True)
        ]
        ages = tuple(np.where(unpacked_bits(column, rows), 0, NOT_EXCITED) for column in excited)
        counts = tuple(
            np.where(unpacked_bits(reset[0], rows), 0, timer.start).astype(np.int64)
            for timer, reset in zip(system.timers, resets, strict=True)
        )
        values = tuple(columns[node] for node in bits)
        return FirstStates(StateColumns(values=values, ages=ages, counts=counts), unpacked_bits(bad[0], rows))


def _order(graph: BitGraph, formulas: Sequence[Literal]) -> list[int]:
    """The variables of the formulas, so that one conjunct after the other has values for all that it reads."""
    lacking = [dict.fromkeys(variables_of(graph, [part])) for part in _conjuncts(graph, formulas)]
    order: list[int] = []
    while lacking := [variables for variables in lacking if variables]:
        fewest = tuple(sorted(lacking, key=len)[0])
        order += fewest
        for variables in lacking:
            for node in fewest:
                variables.pop(node, None)
    return order


def _conjuncts(graph: BitGraph, formulas: Sequence[Literal]) -> list[Literal]:
    found: list[Literal] = []
    pending, seen = list(reversed(formulas)), set[Literal]()
    while pending:
        literal = pending.pop()
        if literal in seen:
            continue
        seen.add(literal)
        if literal & 1 or graph.lefts[literal >> 1] == VARIABLE:
            found.append(literal)
        else:
            pending += (graph.rights[literal >> 1], graph.lefts[literal >> 1])
    return found
