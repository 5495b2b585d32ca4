"""Shortest lassos in explicit graphs: lengths, where they begin, calmness, and the time it may take."""

from __future__ import annotations

import time
from dataclasses import replace

import pytest
from hypothesis import given, settings

from engines.endless_oracle import check_lasso, shortest_lasso_length
from engines.forcing import is_explicit
from engines.machines import constant, counter, equals, machine, plus_one, register_bits, shift_register
from engines.random_systems import systems
from verifier.engines.decision import Reached
from verifier.engines.endless_search import decide_endless
from verifier.engines.explicit_lasso import shortest_lasso
from verifier.engines.explicit_states import ExplicitStates, TooLarge
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph
from verifier.logic.endless import Lasso
from verifier.logic.transition_system import TransitionSystem


def lasso_of(system: TransitionSystem, deadline: float | None = None) -> Lasso | None:
    fairness = system.fairness or ()
    explicit = ExplicitStates(replace(system, bad=FALSE, fairness=None), fairness)
    explicit.explore(time.monotonic() + 3600.0)
    return shortest_lasso(explicit, (1 << len(fairness)) - 1, deadline or time.monotonic() + 3600.0)


@settings(deadline=None, max_examples=80)
@given(systems(most_fairness=3))
def test_a_lasso_is_fair_and_the_shortest_there_is(system: TransitionSystem) -> None:
    lasso = lasso_of(system)
    shortest = shortest_lasso_length(system)
    if lasso is None:
        assert shortest is None
    else:
        assert len(lasso.frames) == shortest
        check_lasso(system, Reached(counterexample=lasso.frames, loop_from=lasso.loop_from, engine=""))


def test_a_longer_way_to_a_shorter_loop_is_taken_where_that_is_shorter() -> None:
    """0 -> 1 -> 2 -> ... -> 7 -> 0 is a loop of eight; from 3 one may also go on to 3."""
    graph = BitGraph()
    lever, count = graph.variable("lever"), register_bits(graph, "stroke", 3)
    stays = graph.conjunction(lever, equals(graph, count, 3))
    after = [graph.select(stays, old, new) for old, new in zip(count, plus_one(graph, count), strict=True)]
    system = replace(machine(graph, count, after, FALSE, inputs=[lever]), fairness=())
    lasso = lasso_of(system)
    assert lasso is not None
    assert (len(lasso.frames), lasso.loop_from) == (4, 3)
    other = lasso_of(replace(system, fairness=(equals(graph, count, 7),)))
    assert other is not None
    assert (len(other.frames), other.loop_from) == (8, 0)


def test_a_loop_may_pass_a_state_twice_to_see_everything() -> None:
    """From 0 the lever leads to 1 or 2, and both lead back; fair: both are seen. So 0 1 0 2, in some order."""
    graph = BitGraph()
    lever, count = graph.variable("lever"), register_bits(graph, "stroke", 2)
    home = equals(graph, count, 0)
    after = [graph.conjunction(home, lever ^ 1), graph.conjunction(home, lever)]
    system = replace(machine(graph, count, after, FALSE, inputs=[lever]), fairness=(count[0], count[1]))
    lasso = lasso_of(system)
    assert lasso is not None
    assert (len(lasso.frames), lasso.loop_from) == (4, 0)
    assert [values[lever] for values in lasso.frames.frames] == [False, False, True, False]


def test_the_run_keeps_to_the_preferences_and_is_calm_otherwise() -> None:
    graph = BitGraph()
    first, second = graph.variable("lever 1"), graph.variable("lever 2")
    count = register_bits(graph, "stroke", 2)
    system = replace(
        machine(graph, count, [TRUE, count[0]], FALSE, inputs=[first, second]),
        fairness=(count[1],),
        preferences=(second,),
    )
    lasso = lasso_of(system)
    assert lasso is not None
    assert (len(lasso.frames), lasso.loop_from) == (3, 2)
    assert [(values[first], values[second]) for values in lasso.frames.frames] == [(False, True)] * 3


@pytest.mark.parametrize("width", [8, 11])
def test_one_long_cycle_takes_no_time(width: int) -> None:
    """Without leaving out the states that were tried, this would take a look at 4 million pairs of states."""
    system = counter(width, top=2**width - 1, bad=0)
    bits = [register.variable for register in system.registers]
    fairness = (equals(system.graph, bits, 5), equals(system.graph, bits, 100))
    lasso = lasso_of(replace(system, fairness=fairness), time.monotonic() + 5.0)
    assert lasso is not None
    assert (len(lasso.frames), lasso.loop_from) == (2**width, 0)


def test_it_stops_at_the_deadline() -> None:
    with pytest.raises(TooLarge):
        lasso_of(replace(shift_register(8), fairness=()), time.monotonic())


def test_a_run_that_only_ends_is_no_lasso() -> None:
    graph = BitGraph()
    count = register_bits(graph, "stroke", 2)
    system = machine(graph, count, plus_one(graph, count), FALSE, constraints=[equals(graph, count, 3) ^ 1])
    assert lasso_of(replace(system, fairness=())) is None


def test_standing_still_is_a_loop_of_one_frame() -> None:
    graph = BitGraph()
    lasso = lasso_of(replace(machine(graph, [], constant(0, 0), FALSE), fairness=(TRUE,)))
    assert lasso is not None
    assert (len(lasso.frames), lasso.loop_from) == (1, 0)


def test_a_lasso_among_the_near_states_does_not_hide_a_shorter_one_through_a_state_farther_off() -> None:
    """0 1 0 2 sees both and is found first, with 0, 1 and 2 explored; 0 1 3, and 3 for ever, is one instant shorter."""
    graph = BitGraph()
    lever, crank, bits = graph.variable("lever"), graph.variable("crank"), register_bits(graph, "bell", 2)
    home, first, last = (equals(graph, bits, number) for number in (0, 1, 3))
    on = graph.disjunction(last, graph.conjunction(first, crank))
    to_first, to_second = graph.conjunction(home, lever ^ 1), graph.conjunction(home, lever)
    after = [graph.disjunction(on, to_first), graph.disjunction(on, to_second)]
    system = replace(machine(graph, bits, after, FALSE, inputs=[lever, crank]), fairness=(bits[0], bits[1]))
    decision = decide_endless(system, limit_seconds=30.0)
    assert isinstance(decision, Reached)
    assert is_explicit(decision)
    assert (len(decision.counterexample), decision.loop_from) == (3, 2)
    check_lasso(system, decision)
