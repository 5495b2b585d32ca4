"""A shortest walk along every arc that must be walked: the route inspection problem on a directed graph.

Edmonds and Johnson (1973): walking some arcs again makes as many arcs leave every node as enter it; the cheapest way
to do so is a flow of least cost, and an Eulerian walk (Hierholzer 1873) goes through what comes out. Both from memory.

Three things are added. The walk may end anywhere. Some arcs may be walked but need not be. And where the graph has no
way back the walk may begin anew at its start (a board is switched off and on), which counts as dearer than any number
of arcs.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass

from verifier.workbench.cheapest_flow import CostedArc, cheapest_flow

BEGIN_ANEW = None
"""In a walk: back to the start by other means than an arc."""


@dataclass(frozen=True)
class Arc:
    tail: int
    head: int
    must: bool = True


@dataclass(frozen=True, kw_only=True)
class Tour:
    walk: tuple[int | None, ...]
    """Indices of arcs, and `BEGIN_ANEW`."""
    at_least: int
    """No walk with as few new beginnings has fewer arcs."""

    @property
    def arc_count(self) -> int:
        return sum(index is not BEGIN_ANEW for index in self.walk)


def shortest_tour(node_count: int, arcs: Sequence[Arc], start: int) -> Tour:
    """A walk from `start` along every arc that must be walked, with as few new beginnings as possible, then as short
    as possible.

    It is the shortest unless the arcs that need not be walked are all that holds its pieces together; `at_least` is a
    bound in any case.

    Raises:
        ValueError: some arc that must be walked cannot be reached from the start.
    """
    must = [arc.must for arc in arcs]
    at_least = None
    while True:
        times, anew = _times_walked(node_count, arcs, must, start)
        at_least = sum(times) if at_least is None else at_least
        walk = _eulerian_walk(node_count, arcs, times, anew, start)
        if len(walk) == sum(times) + sum(anew.values()):
            return Tour(walk=tuple(walk), at_least=at_least)
        missed = _first_missed(arcs, times, walk)
        for on_the_way in _path_to(node_count, arcs, start, arcs[missed].tail):
            must[on_the_way] = True


def _times_walked(
    node_count: int, arcs: Sequence[Arc], must: Sequence[bool], start: int
) -> tuple[list[int], Counter[int]]:
    """How often each arc is walked, and from which nodes the walk begins anew."""
    surplus: Counter[int] = Counter({start: 1})
    for arc, needed in zip(arcs, must, strict=True):
        if needed:
            surplus[arc.head] += 1
            surplus[arc.tail] -= 1
    anew, end = node_count, node_count + 1
    dear = 1 + len(arcs) * (1 + len(arcs))
    flow = cheapest_flow(
        node_count + 2,
        [
            *(CostedArc(arc.tail, arc.head, 1) for arc in arcs),
            *(CostedArc(node, anew, dear) for node in range(node_count)),
            *(CostedArc(node, end, 0) for node in range(node_count)),
            CostedArc(anew, start, 0),
        ],
        {node: amount for node, amount in surplus.items() if amount > 0},
        {**{node: -amount for node, amount in surplus.items() if amount < 0}, end: 1},
    )
    if flow is None:
        raise ValueError("an arc that must be walked cannot be reached from the start")
    times = [extra + needed for extra, needed in zip(flow, must, strict=False)]
    beginnings = flow[len(arcs) : len(arcs) + node_count]
    return times, Counter({node: times_left for node, times_left in enumerate(beginnings) if times_left})


def _eulerian_walk(
    node_count: int, arcs: Sequence[Arc], times: Sequence[int], anew: Counter[int], start: int
) -> list[int | None]:
    """A walk from the start along all arcs as often as they are to be walked, as far as they hang together."""
    leaving: list[list[int | None]] = [[BEGIN_ANEW] * anew[node] for node in range(node_count)]
    for index in reversed(range(len(arcs))):
        leaving[arcs[index].tail] += [index] * times[index]
    stack: list[tuple[int, list[int | None]]] = [(start, [])]
    backwards: list[int | None] = []
    while stack:
        node, came_by = stack[-1]
        if leaving[node]:
            step = leaving[node].pop()
            stack.append((start if step is None else arcs[step].head, [step]))
        else:
            backwards += came_by
            stack.pop()
    return backwards[::-1]


def _first_missed(arcs: Sequence[Arc], times: Sequence[int], walk: Sequence[int | None]) -> int:
    walked = set(walk)
    return next(index for index in range(len(arcs)) if times[index] and index not in walked)


def _path_to(node_count: int, arcs: Sequence[Arc], start: int, goal: int) -> list[int]:
    leaving: list[list[int]] = [[] for _ in range(node_count)]
    for index, arc in enumerate(arcs):
        leaving[arc.tail].append(index)
    came_by: dict[int, list[int]] = {start: []}
    pending = deque([start])
    while pending and goal not in came_by:
        node = pending.popleft()
        for index in leaving[node]:
            if arcs[index].head not in came_by:
                came_by[arcs[index].head] = [*came_by[node], index]
                pending.append(arcs[index].head)
    if goal not in came_by:
        raise ValueError("an arc that must be walked cannot be reached from the start")
    return came_by[goal]
