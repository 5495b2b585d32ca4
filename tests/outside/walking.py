"""Explicit walks over a design with the plain simulator, and tables of its next-state functions. It judges no claim."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import networkx

from verifier import Design
from verifier.claims.run import Instant
from verifier.evidence.simulator import Simulator
from verifier.logic.bit_graph import VARIABLE, BitGraph, Literal
from verifier.views.settled import SettledModel


def number(design: Design, instant: Instant, name: str) -> int:
    """The value of a signal, its lowest bit first."""
    return sum(instant[net] << bit for bit, net in enumerate(design.netlist.signals[name]))


def first_instants(design: Design) -> set[Instant]:
    simulator = Simulator(design.netlist)
    pins = design.netlist.input_nets
    choices = (dict(zip(pins, values, strict=True)) for values in product((False, True), repeat=len(pins)))
    return {instant for inputs in choices for instant, _ in simulator.first_instants(inputs)}


def walked(design: Design) -> networkx.DiGraph:
    """Every instant that permitted steps lead to, and every such step, as an explicit graph."""
    simulator = Simulator(design.netlist)
    graph: networkx.DiGraph = networkx.DiGraph()
    pending = list(first_instants(design))
    graph.add_nodes_from(pending)
    while pending:
        old = pending.pop()
        for new in _following(simulator, old):
            if new not in graph:
                pending.append(new)
            graph.add_edge(old, new)
    return graph


def _following(simulator: Simulator, old: Instant) -> Iterator[Instant]:
    pins = simulator.netlist.input_nets
    for values in product((False, True), repeat=len(pins)):
        inputs = dict(zip(pins, values, strict=True))
        asked = list(old)
        for net, value in inputs.items():
            asked[net] = value
        if simulator.permitted_change(old, tuple(asked)):
            yield from (outcome.instant for outcome in simulator.step(old, inputs))


def values_reached(design: Design, name: str) -> set[int]:
    return {number(design, instant, name) for instant in walked(design)}


def edges_of(design: Design, name: str, clock: str) -> networkx.DiGraph:
    """The steps in which the clock rises, seen at the signal `name` alone."""
    graph: networkx.DiGraph = networkx.DiGraph()
    for old, new in walked(design).edges:
        if number(design, new, clock) > number(design, old, clock):
            graph.add_edge(number(design, old, name), number(design, new, name))
    return graph


def next_table(design: Design, name: str, clock: str) -> list[int]:
    """The next value of a register bus at a rise of the clock, for every value, from the model that the engines see.

    Every node of the graph is worked out for all values at once, as a number with one bit for each value.
    """
    model = SettledModel(design)
    system = model.system(design.claims[0])
    variables = {system.graph.names[register.variable >> 1]: register for register in system.registers}
    state = [variables[f"{name}[{bit}]"] for bit in range(len(design.netlist.signals[name]))]
    size = 1 << len(state)
    everywhere = (1 << size) - 1
    known: dict[Literal, int] = {variables["started"].variable: everywhere, variables[clock].variable: 0}
    for bit, register in enumerate(state):
        known[register.variable] = _column(bit, size)
    tables = set()
    for values in product((0, everywhere), repeat=len(system.inputs)):
        known.update(zip(system.inputs, values, strict=True))
        roots = [variables[clock].next, *(register.next for register in state), *system.constraints]
        rises, *columns = evaluated(system.graph, roots, known, everywhere)
        if rises == everywhere:
            assert all(column == everywhere for column in columns[len(state) :])
            tables.add(tuple(columns[: len(state)]))
    (only,) = tables
    digits = [f"{column:0{size}b}"[::-1] for column in only]
    return [sum((row[value] == "1") << bit for bit, row in enumerate(digits)) for value in range(size)]


def _column(bit: int, size: int) -> int:
    """Bit number `v` is bit `bit` of `v`."""
    block = ((1 << (1 << bit)) - 1) << (1 << bit)
    period = 2 << bit
    while period < size:
        block |= block << period
        period *= 2
    return block


def evaluated(graph: BitGraph, roots: list[Literal], known: dict[Literal, int], everywhere: int) -> list[int]:
    """Values of the roots under many assignments at once, one bit for each."""
    result = {0: 0}
    for node in graph.cone(roots):
        if node == 0:
            continue
        if graph.lefts[node] == VARIABLE:
            result[node] = known[2 * node]
        else:
            left = _seen_from(result, graph.lefts[node], everywhere)
            right = _seen_from(result, graph.rights[node], everywhere)
            result[node] = left & right
    return [_seen_from(result, root, everywhere) for root in roots]


def _seen_from(result: dict[int, int], literal: Literal, everywhere: int) -> int:
    return result[literal >> 1] ^ everywhere * (literal & 1)


def cycle_lengths(table: list[int]) -> list[int]:
    """The lengths of all cycles of a next-value table, in ascending order."""
    graph: networkx.DiGraph = networkx.DiGraph(list(enumerate(table)))
    return sorted(len(cycle) for cycle in networkx.simple_cycles(graph))


def period_from(table: list[int], start: int) -> int:
    """Number of steps after which the walk from `start` is back there; it must come back."""
    value, steps = table[start], 1
    while value != start:
        value, steps = table[value], steps + 1
        assert steps <= len(table)
    return steps
