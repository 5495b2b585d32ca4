"""Tours against the route inspection problem on explicit graphs.

Edmonds and Johnson, "Matching, Euler tours and the Chinese postman", Mathematical Programming 5 (1973), from memory: on
a strongly connected directed graph the shortest closed walk along all arcs has as many arcs as the graph, plus a flow
of least cost that makes up for the difference of arcs in and out at every node. That flow is worked out by `networkx`,
a general-purpose library, with its network simplex.
"""

from __future__ import annotations

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verifier.workbench.cheapest_flow import CostedArc, cheapest_flow
from verifier.workbench.tour import BEGIN_ANEW, Arc, shortest_tour


@st.composite
def strongly_connected(draw: st.DrawFn) -> tuple[int, list[Arc]]:
    """A ring with further arcs, loops and parallel ones among them."""
    count = draw(st.integers(1, 9))
    node = st.integers(0, count - 1)
    further = draw(st.lists(st.builds(Arc, node, node), max_size=16))
    return count, [*(Arc(place, (place + 1) % count) for place in range(count)), *further]


@st.composite
def reachable(draw: st.DrawFn) -> tuple[int, list[Arc]]:
    """Every node can be reached from 0; not every arc must be walked, and there may be no way back."""
    count = draw(st.integers(1, 7))
    node = st.integers(0, count - 1)
    tree = [Arc(draw(st.integers(0, place - 1)), place, must=draw(st.booleans())) for place in range(1, count)]
    return count, [*tree, *draw(st.lists(st.builds(Arc, node, node, st.booleans()), max_size=10))]


def least_repeats(count: int, arcs: list[Arc], start: int, end: int) -> int:
    """Arcs that a walk from `start` to `end` along all arcs must walk again, by network simplex."""
    graph = nx.DiGraph()
    demand = dict.fromkeys(range(count), 0)
    for arc in arcs:
        demand[arc.head] -= 1
        demand[arc.tail] += 1
    demand[start] -= 1
    demand[end] += 1
    graph.add_nodes_from((node, {"demand": amount}) for node, amount in demand.items())
    graph.add_edges_from(((arc.tail, arc.head) for arc in arcs), weight=1)
    cost, _ = nx.network_simplex(graph)
    return int(cost)


def is_a_walk(arcs: list[Arc], walk: tuple[int | None, ...], start: int) -> bool:
    here = start
    for index in walk:
        if index is BEGIN_ANEW:
            here = start
        elif arcs[index].tail != here:
            return False
        else:
            here = arcs[index].head
    return True


@settings(deadline=None, max_examples=60)
@given(strongly_connected())
def test_a_tour_is_as_short_as_the_best_of_all_that_network_simplex_finds(drawn: tuple[int, list[Arc]]) -> None:
    count, arcs = drawn
    tour = shortest_tour(count, arcs, 0)
    assert is_a_walk(arcs, tour.walk, 0)
    assert set(tour.walk) == set(range(len(arcs)))
    assert len(tour.walk) == tour.at_least
    assert len(tour.walk) == len(arcs) + min(least_repeats(count, arcs, 0, end) for end in range(count))


@settings(deadline=None, max_examples=60)
@given(reachable())
def test_a_tour_walks_all_it_must_and_begins_anew_where_there_is_no_way_back(drawn: tuple[int, list[Arc]]) -> None:
    count, arcs = drawn
    tour = shortest_tour(count, arcs, 0)
    assert is_a_walk(arcs, tour.walk, 0)
    assert {index for index, arc in enumerate(arcs) if arc.must} <= set(tour.walk)
    assert tour.at_least <= tour.arc_count
    graph = nx.MultiDiGraph()
    graph.add_nodes_from(range(count))
    graph.add_edges_from((arc.tail, arc.head) for arc in arcs)
    if nx.is_strongly_connected(graph):
        assert BEGIN_ANEW not in tour.walk


def test_a_graph_with_an_eulerian_walk_is_walked_once_along_each_arc() -> None:
    arcs = [Arc(0, 1), Arc(1, 2), Arc(2, 0), Arc(0, 2), Arc(2, 1)]
    tour = shortest_tour(3, arcs, 0)
    assert sorted(index for index in tour.walk if index is not None) == [0, 1, 2, 3, 4]


def test_two_dead_ends_need_one_new_beginning() -> None:
    tour = shortest_tour(3, [Arc(0, 1), Arc(0, 2)], 0)
    assert tour.walk.count(BEGIN_ANEW) == 1
    assert (tour.arc_count, tour.at_least) == (2, 2)


def test_pieces_that_only_needless_arcs_hold_together_are_joined() -> None:
    arcs = [Arc(0, 0), Arc(0, 1, must=False), Arc(1, 1), Arc(1, 0, must=False)]
    tour = shortest_tour(2, arcs, 0)
    assert is_a_walk(arcs, tour.walk, 0)
    assert {0, 2} <= set(tour.walk)
    assert tour.at_least <= 3 <= tour.arc_count


def test_an_arc_out_of_reach_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot be reached"):
        shortest_tour(2, [Arc(1, 0)], 0)


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.builds(CostedArc, st.integers(0, 4), st.integers(0, 4), st.integers(0, 9)), max_size=14),
    st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4)), max_size=5),
)
def test_a_flow_costs_what_network_simplex_finds(arcs: list[CostedArc], sent: list[tuple[int, int]]) -> None:
    arcs = list({(arc.tail, arc.head): arc for arc in arcs}.values())
    balance = [sum(tail == node for tail, _ in sent) - sum(head == node for _, head in sent) for node in range(5)]
    offered = {node: amount for node, amount in enumerate(balance) if amount > 0}
    wanted = {node: -amount for node, amount in enumerate(balance) if amount < 0}
    graph = nx.DiGraph()
    graph.add_nodes_from((node, {"demand": -amount}) for node, amount in enumerate(balance))
    graph.add_edges_from((arc.tail, arc.head, {"weight": arc.cost}) for arc in arcs)
    flow = cheapest_flow(5, arcs, offered, wanted)
    try:
        cost, _ = nx.network_simplex(graph)
    except nx.NetworkXUnfeasible:
        assert flow is None
    else:
        assert flow is not None
        assert sum(amount * arc.cost for amount, arc in zip(flow, arcs, strict=True)) == cost
