"""Strongly connected components against networkx, a general graph library; and their order."""

from __future__ import annotations

import networkx
from hypothesis import given, settings
from hypothesis import strategies as st

from verifier.logic.components import strongly_connected_components

MANY = 30_000


@st.composite
def graphs(draw: st.DrawFn) -> networkx.DiGraph:
    size = draw(st.integers(1, 14))
    vertices = st.integers(0, size - 1)
    graph = networkx.DiGraph()
    graph.add_nodes_from(range(size))
    graph.add_edges_from(draw(st.lists(st.tuples(vertices, vertices), max_size=40)))
    return graph


@settings(deadline=None, max_examples=150)
@given(graphs(), st.data())
def test_components_of_what_the_roots_reach_are_those_of_networkx(graph: networkx.DiGraph, data: st.DataObject) -> None:
    roots = data.draw(st.lists(st.sampled_from(sorted(graph)), max_size=5))
    reached = set(roots).union(*(networkx.descendants(graph, root) for root in roots)) if roots else set()
    found = list(strongly_connected_components(roots, lambda vertex: iter(graph[vertex])))
    expected = networkx.strongly_connected_components(graph.subgraph(reached))
    assert sorted(map(sorted, found)) == sorted(map(sorted, expected))
    assert sum(map(len, found)) == len(reached)


@settings(deadline=None, max_examples=150)
@given(graphs())
def test_each_component_comes_after_all_that_it_leads_to(graph: networkx.DiGraph) -> None:
    found = list(strongly_connected_components(sorted(graph), lambda vertex: iter(graph[vertex])))
    place = {vertex: index for index, members in enumerate(found) for vertex in members}
    assert all(place[after] <= place[before] for before, after in graph.edges)


def test_a_path_and_a_cycle_of_any_length_need_no_recursion() -> None:
    path = strongly_connected_components([0], lambda vertex: iter([vertex + 1] if vertex + 1 < MANY else []))
    assert sum(1 for _ in path) == MANY
    (cycle,) = strongly_connected_components([0], lambda vertex: iter([(vertex + 1) % MANY]))
    assert len(cycle) == MANY
