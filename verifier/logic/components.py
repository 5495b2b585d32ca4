"""Strongly connected components of an explicit graph."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator
from typing import TypeVar

Vertex = TypeVar("Vertex", bound=Hashable)


def strongly_connected_components(
    roots: Iterable[Vertex], successors: Callable[[Vertex], Iterator[Vertex]]
) -> Iterator[list[Vertex]]:
    """Components of what the roots reach, each after all the components it leads to.

    Tarjan, "Depth-first search and linear graph algorithms", SIAM J. Computing 1(2), 1972, with its own stack. Linear
    time.
    """
    index: dict[Vertex, int] = {}
    lowest: dict[Vertex, int] = {}
    waiting: list[Vertex] = []
    is_waiting: set[Vertex] = set()
    path: list[tuple[Vertex, Iterator[Vertex]]] = []

    def enter(vertex: Vertex) -> None:
        index[vertex] = lowest[vertex] = len(index)
        waiting.append(vertex)
        is_waiting.add(vertex)
        path.append((vertex, successors(vertex)))

    for root in roots:
        if root in index:
            continue
        enter(root)
        while path:
            vertex, remaining = path[-1]
            for successor in remaining:
                if successor not in index:
                    enter(successor)
                    break
                if successor in is_waiting:
                    lowest[vertex] = min(lowest[vertex], index[successor])
            else:
                path.pop()
                if path:
                    lowest[path[-1][0]] = min(lowest[path[-1][0]], lowest[vertex])
                if lowest[vertex] == index[vertex]:
                    component = [waiting.pop()]
                    while component[-1] != vertex:
                        component.append(waiting.pop())
                    is_waiting.difference_update(component)
                    yield component
