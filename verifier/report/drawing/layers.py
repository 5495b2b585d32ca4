"""Which column everything stands in: signals go from left to right, and what cannot is feedback.

The frame is that of Sugiyama, Tagawa and Toda, "Methods for visual understanding of hierarchical system structures",
IEEE Trans. SMC 11(2), 1981. Feedback is chosen by the greedy rule of Eades, Lin and Smyth, "A fast and effective
heuristic for the feedback arc set problem", Information Processing Letters 47, 1993, with weights: what storage gives
back to gates is fed back first, what reaches a storage part last. Two gates that drive each other share a column.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from verifier.circuit.netlist import Gate, NetId
from verifier.report.drawing.graph import Node, Role

Arcs = dict[int, dict[int, int]]
"""From a node to the nodes it drives, with weights."""

INTO_STORAGE = 4
BETWEEN_GATES = 3
OUT_OF_STORAGE = 1
PASSES = 4


def columns_of(nodes: Sequence[Node]) -> list[int]:
    """The column of each node: inputs in column 0 alone, outputs in the last one alone."""
    pair_of = _pairs(nodes)
    unit_of = [min(number, pair_of.get(number, number)) for number in range(len(nodes))]
    arcs = _arcs(nodes, unit_of)
    place = {unit: position for position, unit in enumerate(_sequence(sorted(set(unit_of)), arcs))}
    forward: Arcs = {
        unit: {other: weight for other, weight in others.items() if place[unit] < place[other]}
        for unit, others in arcs.items()
    }
    column = _earliest(nodes, place, forward)
    last = 1 + max((column[unit] for unit in column if nodes[unit].role is not Role.OUTPUT), default=0)
    for number, node in enumerate(nodes):
        if node.role is Role.OUTPUT:
            column[number] = last
    _shorten(nodes, unit_of, column, forward)
    return [column[unit] for unit in unit_of]


def ends_of_nets(nodes: Sequence[Node]) -> tuple[dict[NetId, int], dict[NetId, list[int]]]:
    """The node that drives each net, and those it goes to, once for each pin."""
    source: dict[NetId, int] = {}
    sinks: dict[NetId, list[int]] = defaultdict(list)
    for number, node in enumerate(nodes):
        for port in node.symbol.outputs:
            source[port.net] = number
        for port in node.symbol.inputs:
            sinks[port.net].append(number)
    return source, {net: sinks[net] for net in source}


def _pairs(nodes: Sequence[Node]) -> dict[int, int]:
    """Gates that drive each other, two by two; each is in one pair at most."""
    _, sinks = ends_of_nets(nodes)
    drives = {
        number: {other for port in node.symbol.outputs for other in sinks[port.net]}
        for number, node in enumerate(nodes)
    }
    pair_of: dict[int, int] = {}
    for number, others in drives.items():
        if not isinstance(nodes[number].driver, Gate) or number in pair_of:
            continue
        for other in sorted(others):
            fits = other > number and other not in pair_of and isinstance(nodes[other].driver, Gate)
            if fits and number in drives[other]:
                pair_of.update({number: other, other: number})
                break
    return pair_of


def _arcs(nodes: Sequence[Node], unit_of: Sequence[int]) -> Arcs:
    source, sinks = ends_of_nets(nodes)
    arcs: Arcs = {unit: {} for unit in unit_of}
    for net, number in source.items():
        for other in sinks[net]:
            start, end = unit_of[number], unit_of[other]
            if start != end:
                arcs[start][end] = arcs[start].get(end, 0) + _weight(nodes[number], nodes[other])
    return arcs


def _weight(start: Node, end: Node) -> int:
    if not isinstance(end.driver, Gate):
        return INTO_STORAGE
    return BETWEEN_GATES if isinstance(start.driver, Gate) else OUT_OF_STORAGE


def _sequence(units: Sequence[int], arcs: Arcs) -> list[int]:
    """An order with little weight going backwards: sinks last, sources first, else what gives most and takes least."""
    coming: Arcs = {unit: {} for unit in units}
    for unit, others in arcs.items():
        for other, weight in others.items():
            coming[other][unit] = weight
    gives = {unit: sum(arcs[unit].values()) for unit in units}
    takes = {unit: sum(coming[unit].values()) for unit in units}
    left = dict.fromkeys(units)
    first: list[int] = []
    behind: list[int] = []
    while left:
        sink = next((unit for unit in left if not gives[unit]), None)
        source = next((unit for unit in left if not takes[unit]), None)
        if sink is not None:
            unit = sink
            behind.append(unit)
        else:
            unit = source if source is not None else max(left, key=lambda unit: gives[unit] - takes[unit])
            first.append(unit)
        del left[unit]
        for other, weight in arcs[unit].items():
            takes[other] -= weight
        for other, weight in coming[unit].items():
            gives[other] -= weight
    return first + behind[::-1]


def _earliest(nodes: Sequence[Node], place: Mapping[int, int], forward: Arcs) -> dict[int, int]:
    """The longest way from an input, arcs counted; whatever is no input stands in column 1 or later."""
    column = {unit: 0 if nodes[unit].role is Role.INPUT else 1 for unit in place}
    for unit in sorted(place, key=place.__getitem__):
        for other in forward[unit]:
            column[other] = max(column[other], column[unit] + 1)
    return column


def _shorten(nodes: Sequence[Node], unit_of: Sequence[int], column: dict[int, int], forward: Arcs) -> None:
    """Moves units within what their neighbours allow, to the column where their nets pass the fewest columns."""
    source, sinks = ends_of_nets(nodes)
    nets_of: dict[int, set[NetId]] = defaultdict(set)
    for net, number in source.items():
        for other in (number, *sinks[net]):
            nets_of[unit_of[other]].add(net)
    before: dict[int, list[int]] = defaultdict(list)
    for unit, others in forward.items():
        for other in others:
            before[other].append(unit)
    last = max(column.values(), default=0)
    for _ in range(PASSES):
        for unit in sorted(column, key=lambda unit: -column[unit]):
            if nodes[unit].role in (Role.INPUT, Role.OUTPUT):
                continue
            lowest = max((column[other] + 1 for other in before[unit]), default=1)
            highest = min(
                (column[other] - 1 for other in forward[unit]), default=max(column[unit], min(last - 1, lowest))
            )
            best = None
            for candidate in range(max(1, lowest), highest + 1):
                column[unit] = candidate
                passed = sum(
                    _passed(column[unit_of[source[net]]], [column[unit_of[other]] for other in sinks[net]])
                    for net in nets_of[unit]
                )
                if best is None or passed < best[0]:
                    best = (passed, candidate)
            if best is not None:
                column[unit] = best[1]


def _passed(start: int, ends: Sequence[int]) -> int:
    """How many columns a net passes through, forwards and back."""
    if not ends:
        return 0
    return max(0, max(ends) - start - 1) + max(0, start - min(ends) + 1)
