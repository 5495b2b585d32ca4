"""A shortest lasso on which every mark is seen, in an explored explicit graph.

(X4) The number of instants, way and loop together, is the least there is; among equals the loop begins earliest.
"""

from __future__ import annotations

from verifier.engines.explicit_states import ExplicitStates, Lanes
from verifier.logic.components import strongly_connected_components

Loop = list[Lanes]


def shortest_lasso(explicit: ExplicitStates, every_mark: int) -> tuple[list[Lanes], int] | None:
    """The lanes of all frames, and the frame the loop begins in; None when no cycle sees every mark."""
    best: tuple[list[Lanes], int] | None = None
    for members in _fair_components(explicit, every_mark):
        for begin in sorted(members):
            way = explicit.way_to(begin)
            most = None if best is None else len(best[0]) - 1 - len(way)
            loop = _shortest_loop(explicit, begin, members, every_mark, most)
            if loop is not None:
                best = ([*way, *loop], len(way))
    return best


def _fair_components(explicit: ExplicitStates, every_mark: int) -> list[set[int]]:
    """Components with an edge inside, whose inner edges together carry every mark."""
    edges = explicit.edges
    found: list[set[int]] = []
    for component in strongly_connected_components(range(len(edges)), lambda s: (edge.target for edge in edges[s])):
        members = set(component)
        inner = [edge.marks for state in component for edge in edges[state] if edge.target in members]
        seen = 0
        for marks in inner:
            seen |= marks
        if inner and seen == every_mark:
            found.append(members)
    return found


def _shortest_loop(
    explicit: ExplicitStates, begin: int, members: set[int], every_mark: int, most: int | None
) -> Loop | None:
    """Breadth first over states and marks seen since `begin`; at most `most` edges."""
    origins: dict[tuple[int, int], tuple[tuple[int, int], Lanes] | None] = {(begin, 0): None}
    level = [(begin, 0)]
    length = 0
    while level and (most is None or length < most):
        length += 1
        following: list[tuple[int, int]] = []
        for node in level:
            state, seen = node
            for edge in explicit.edges[state]:
                reached = (edge.target, seen | edge.marks)
                if edge.target not in members:
                    continue
                if reached == (begin, every_mark):
                    return [*_way(origins, node), edge.lanes]
                if reached not in origins:
                    origins[reached] = (node, edge.lanes)
                    following.append(reached)
        level = following
    return None


def _way(origins: dict[tuple[int, int], tuple[tuple[int, int], Lanes] | None], node: tuple[int, int]) -> Loop:
    lanes: Loop = []
    origin = origins[node]
    while origin is not None:
        node, edge_lanes = origin
        lanes.append(edge_lanes)
        origin = origins[node]
    return lanes[::-1]


def _beginning(explicit: ExplicitStates, every_mark: int, deadline: float) -> tuple[int, int, set[int]] | None:
    """Where the loop of a shortest lasso begins, its length, and the states among which it was looked for."""
    best: tuple[int, int, set[int]] | None = None
    least: int | None = None
    waiting = [(min(members), members) for members in _fair_components(explicit, set(range(len(explicit.edges))), every_mark)]
    heapq.heapify(waiting)
    while waiting:
        begin, members = heapq.heappop(waiting)
        distance = explicit.distances[begin]
        if least is not None and distance + 1 >= least:
            break
        most = None if least is None else least - 1 - distance
        length = _shortest_loop(explicit, (begin, 0), members, every_mark, most, deadline)
        if length is not None:
            best, least = (begin, length, members), distance + length
        for smaller in _fair_components(explicit, members - {begin}, every_mark):
            heapq.heappush(waiting, (min(smaller), smaller))
    return best


def _fair_components(explicit: ExplicitStates, among: set[int], every_mark: int) -> list[set[int]]:
    """Components with an edge inside, whose inner edges together carry every mark, when the other states are left out."""
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
) -> int | None:
    """Length of the shortest loop that sees every mark, if it has at most `most` edges."""
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
                    return length
                if reached not in seen:
                    seen.add(reached)
                    following.append(reached)
        level = following
    return None


def _steps(explicit: ExplicitStates, node: Node, members: set[int]) -> Iterable[tuple[int, Node]]:
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
