"""A cheapest way to send all that is offered to all that is wanted, along arcs without limits.

Primal-dual (Ford and Fulkerson 1962): shortest distances from the sources by Dijkstra with potentials (Edmonds and Karp
1972), then as much as fits along the arcs that lie on shortest paths (Dinic 1970), until nothing is left. There are as
many rounds as distances differ, and in the graphs of circuits they are few. All from memory.
"""

from __future__ import annotations

import heapq
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class CostedArc:
    tail: int
    head: int
    cost: int
    """At least 0."""


def cheapest_flow(
    node_count: int, arcs: Sequence[CostedArc], offered: Mapping[int, int], wanted: Mapping[int, int]
) -> list[int] | None:
    """How much goes along each arc; None when not all can be sent. `offered` and `wanted` have the same sum."""
    if sum(offered.values()) != sum(wanted.values()):
        raise ValueError("what is offered is not as much as what is wanted")
    flow = _Flow(node_count, arcs, offered, wanted)
    if not flow.run():
        return None
    return [flow.room[2 * index + 1] for index in range(len(arcs))]


class _Flow:
    """The residual graph: arc `2 i` is arc `i`, `2 i + 1` its reverse."""

    def __init__(
        self, node_count: int, arcs: Sequence[CostedArc], offered: Mapping[int, int], wanted: Mapping[int, int]
    ) -> None:
        self._source, self._sink = node_count, node_count + 1
        self._out: list[list[int]] = [[] for _ in range(node_count + 2)]
        self._head: list[int] = []
        self.room: list[int] = []
        self._cost: list[int] = []
        """Reduced by the potentials of both ends as the rounds go on; never negative where there is room."""
        self._left = sum(offered.values())
        for arc in arcs:
            self._add(arc.tail, arc.head, self._left, arc.cost)
        for node, amount in offered.items():
            self._add(self._source, node, amount, 0)
        for node, amount in wanted.items():
            self._add(node, self._sink, amount, 0)

    def _add(self, tail: int, head: int, room: int, cost: int) -> None:
        for start, end, free, price in ((tail, head, room, cost), (head, tail, 0, -cost)):
            self._out[start].append(len(self._head))
            self._head.append(end)
            self.room.append(free)
            self._cost.append(price)

    def run(self) -> bool:
        """Sends everything. False: the sink cannot be reached by what is left."""
        while self._left:
            if not self._reduce_costs():
                return False
            while (levels := self._levels())[self._sink] >= 0:
                self._left -= self._blocking_flow(levels)
        return True

    def _reduce_costs(self) -> bool:
        distance = self._distances()
        farthest = distance.get(self._sink)
        if farthest is None:
            return False
        # Beyond the sink's distance nothing is known and nothing is needed: min keeps reduced costs at 0 or more.
        for tail, arcs in enumerate(self._out):
            here = min(distance.get(tail, farthest), farthest)
            for arc in arcs:
                self._cost[arc] += here - min(distance.get(self._head[arc], farthest), farthest)
        return True

    def _distances(self) -> dict[int, int]:
        """From the source, up to that of the sink."""
        settled: dict[int, int] = {}
        pending = [(0, self._source)]
        while pending:
            distance, node = heapq.heappop(pending)
            if node in settled:
                continue
            settled[node] = distance
            if node == self._sink:
                break
            for arc in self._out[node]:
                if self.room[arc] and self._head[arc] not in settled:
                    heapq.heappush(pending, (distance + self._cost[arc], self._head[arc]))
        return settled

    def _levels(self) -> list[int]:
        """Steps from the source along free arcs of reduced cost 0; -1: not reached."""
        levels = [-1] * len(self._out)
        levels[self._source] = 0
        pending = deque([self._source])
        while pending:
            node = pending.popleft()
            for arc in self._out[node]:
                head = self._head[arc]
                if levels[head] < 0 and self.room[arc] and not self._cost[arc]:
                    levels[head] = levels[node] + 1
                    pending.append(head)
        return levels

    def _blocking_flow(self, levels: Sequence[int]) -> int:
        """Sends along paths that go up one level at a time until every such path is full."""
        sent = 0
        next_arc = [0] * len(self._out)
        path: list[int] = []
        node = self._source
        while True:
            if node == self._sink:
                amount = min(self.room[arc] for arc in path)
                for arc in path:
                    self.room[arc] -= amount
                    self.room[arc ^ 1] += amount
                sent += amount
                path, node = [], self._source
                continue
            upwards = self._step_up(node, levels, next_arc)
            if upwards is not None:
                path.append(upwards)
                node = self._head[upwards]
            elif path:
                node = self._head[path.pop() ^ 1]
                next_arc[node] += 1
            else:
                return sent

    def _step_up(self, node: int, levels: Sequence[int], next_arc: list[int]) -> int | None:
        arcs = self._out[node]
        while next_arc[node] < len(arcs):
            arc = arcs[next_arc[node]]
            if self.room[arc] and not self._cost[arc] and levels[self._head[arc]] == levels[node] + 1:
                return arc
            next_arc[node] += 1
        return None
