"""Strongly connected components of a finite graph (Tarjan 1972), without recursion. It knows no circuit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence


def strongly_connected_components(successors: Mapping[int, Sequence[int]]) -> Iterator[list[int]]:
    """Every component once; a component comes after all components that it leads to.

    `successors` has a key for every node, and every successor is a key.
    """
    order: dict[int, int] = {}
    lowest: dict[int, int] = {}
    open_nodes: list[int] = []
    is_open: set[int] = set()
    for root in successors:
        if root in order:
            continue
        pending: list[tuple[int, Iterator[int]]] = []
        _enter(root, order, lowest, open_nodes, is_open)
        pending.append((root, iter(successors[root])))
        while pending:
            node, rest = pending[-1]
            following = next(rest, None)
            if following is None:
                pending.pop()
                if pending:
                    parent = pending[-1][0]
                    lowest[parent] = min(lowest[parent], lowest[node])
                if lowest[node] == order[node]:
                    yield _close(node, open_nodes, is_open)
            elif following not in order:
                _enter(following, order, lowest, open_nodes, is_open)
                pending.append((following, iter(successors[following])))
            elif following in is_open:
                lowest[node] = min(lowest[node], order[following])


def _enter(node: int, order: dict[int, int], lowest: dict[int, int], open_nodes: list[int], is_open: set[int]) -> None:
    order[node] = lowest[node] = len(order)
    open_nodes.append(node)
    is_open.add(node)


def _close(root: int, open_nodes: list[int], is_open: set[int]) -> list[int]:
    """Takes the finished component of the root off the open nodes."""
    start = len(open_nodes) - 1
    while open_nodes[start] != root:
        start -= 1
    component = open_nodes[start:]
    del open_nodes[start:]
    is_open.difference_update(component)
    return component
