"""A shortest lasso on which every mark is seen, in an explored explicit graph.

(X4) The number of instants, way and loop together, is the least there is; among equals the loop begins earliest, and
among those it is the calmest (`explicit_runs.py`).

A loop is looked for from the first of its states, in the order in which they were found, with those before left out: a
loop through one of those, taken from there, makes no longer a lasso. So each state is left out once, and it ends.
"""

from __future__ import annotations

import heapq
import time
from collections.abc import Iterable
from dataclasses import replace

from verifier.engines.explicit_runs import Stride, calmest_run, ways_to
from verifier.engines.explicit_states import ExplicitStates, Lanes, TooLarge
from verifier.logic.components import strongly_connected_components
from verifier.logic.endless import Lasso

Node = tuple[int, int]
"""The number of a state, and the marks seen since the loop began."""


def shortest_lasso(explicit: ExplicitStates, every_mark: int, deadline: float, most: int | None = None) -> Lasso | None:
    """None when no lasso, or none of at most so many instants, sees every mark. Raises TooLarge at the deadline.

    Pre: all states were explored, or those to a distance of `most - 1`; a lasso of that length has no others.
    """
    found = _beginning(explicit, every_mark, deadline, most)
    if found is None:
        return None
    begin, length, members = found
    ways = ways_to(explicit, {begin})
    if ways:
        ways[-1] = [replace(stride, target=(begin, 0)) for stride in ways[-1]]
    loop = _loop_layers(explicit, (begin, 0), members, every_mark, length)
    return Lasso(calmest_run(explicit.system, [*ways, *loop], deadline), len(ways))


def _beginning(
    explicit: ExplicitStates, every_mark: int, deadline: float, most: int | None
) -> tuple[int, int, set[int]] | None:
    """Where the loop of a shortest lasso begins, its length, and the states among which it was looked for."""
    best: tuple[int, int, set[int]] | None = None
    bound = most
    everywhere = set(range(len(explicit.edges)))
    waiting = [(min(members), members) for members in _fair_components(explicit, everywhere, every_mark)]
    heapq.heapify(waiting)
    while waiting:
        begin, members = heapq.heappop(waiting)
        distance = explicit.distances[begin]
        if bound is not None and distance >= bound:
            break
        longest = None if bound is None else bound - distance
        length, effort = _shortest_loop(explicit, (begin, 0), members, every_mark, longest, deadline)
        if length is not None:
            best, bound = (begin, length, members), distance + length - 1
        rest = members - {begin}
        # To take the rest apart costs as much as a long look for a loop, and saves none where looks are short.
        parts = _fair_components(explicit, rest, every_mark) if 2 * effort > len(rest) else [rest]
        for part in parts:
            heapq.heappush(waiting, (min(part), part))
    return best


def _fair_components(explicit: ExplicitStates, among: set[int], every_mark: int) -> list[set[int]]:
    """Components of a part of the graph that have an edge inside, and whose inner edges together carry every mark."""
    edges = explicit.edges
    found: list[set[int]] = []
    for component in strongly_connected_components(
        sorted(among), lambda state: (edge.target for edge in edges[state] if edge.target in among)
    ):
        members = set(component)
        inner = [edge.marks for state in component for edge in edges[state] if edge.target in members]
        seen = 0
        for marks in inner:
            seen |= marks
        if inner and seen == every_mark:
            found.append(members)
    return found


def _shortest_loop(
    explicit: ExplicitStates, begin: Node, members: set[int], every_mark: int, most: int | None, deadline: float
) -> tuple[int | None, int]:
    """Length of the shortest loop that sees every mark, if it has at most `most` edges; and the nodes looked at."""
    seen = {begin}
    level = [begin]
    length = 0
    while level and (most is None or length < most):
        length += 1
        following: list[Node] = []
        for node in level:
            if time.monotonic() >= deadline:
                raise TooLarge("the time for loops ran out")
            for _, reached in _steps(explicit, node, members):
                if reached == (begin[0], every_mark):
                    return length, len(seen)
                if reached not in seen:
                    seen.add(reached)
                    following.append(reached)
        level = following
    return None, len(seen)


def _steps(explicit: ExplicitStates, node: Node, members: set[int]) -> Iterable[tuple[Lanes, Node]]:
    """Lanes and where they lead, among the members."""
    state, seen = node
    return ((edge.lanes, (edge.target, seen | edge.marks)) for edge in explicit.edges[state] if edge.target in members)


def _loop_layers(
    explicit: ExplicitStates, begin: Node, members: set[int], every_mark: int, length: int
) -> list[list[Stride]]:
    """All loops of that length, the least, that see every mark."""
    seen = {begin}
    level = [begin]
    layers: list[list[Stride]] = []
    while len(layers) < length:
        steps = [
            (node, lanes, reached)
            for node in level
            for lanes, reached in _steps(explicit, node, members)
            if reached not in seen or reached == (begin[0], every_mark)
        ]
        layer = [Stride(node, explicit.states[node[0]], lanes, reached) for node, lanes, reached in steps]
        level = list(dict.fromkeys(reached for _, _, reached in steps))
        seen.update(level)
        layers.append(layer)
    layers[-1] = [stride for stride in layers[-1] if stride.target == (begin[0], every_mark)]
    return layers
