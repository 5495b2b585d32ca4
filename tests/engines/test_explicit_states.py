"""The explicit way for bad frames: states, edges, counterexamples, limits, and what is asked when it gives up."""

from __future__ import annotations

import time
from dataclasses import replace
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engines.explicit import (
    assignments,
    following,
    holds,
    is_bad,
    is_invariant,
    permitted,
    replayed,
    shortest_counterexample,
    start,
)
from engines.forcing import everything_is_small_enough, is_explicit, nothing_is_small_enough
from engines.machines import arbiter, counter, equals, machine, register_bits, shift_register
from engines.random_systems import systems
from verifier.engines import explicit_search, explicit_states
from verifier.engines.bounded_search import search
from verifier.engines.chooser import Chooser
from verifier.engines.decision import Decision, Reached, Undecided, Unreachable
from verifier.engines.explicit_search import search_explicitly
from verifier.engines.explicit_states import ExplicitStates, TooLarge, fits
from verifier.evidence.certificate import recheck
from verifier.logic.bit_graph import FALSE, BitGraph, Literal
from verifier.logic.transition_system import Counterexample, TransitionSystem

LIMIT = 60.0


def in_an_hour() -> float:
    return time.monotonic() + 3600.0


def explicitly(system: TransitionSystem, depth: int | None = None) -> Decision | None:
    with everything_is_small_enough():
        return search_explicitly(system, in_an_hour(), depth)


def distances(system: TransitionSystem) -> dict[int, int]:
    """Every reachable state, as the engine spells it, with its distance from the start; `bad` plays no part."""
    layer, found, distance = {start(system)}, {0: 0}, 0
    while layer:
        distance += 1
        after = {
            following(system, values)
            for state in layer
            for values in assignments(system, state)
            if permitted(system, values)
        }
        layer = {state for state in after if spelled(state) not in found}
        found |= {spelled(state): distance for state in layer}
    return found


def spelled(state: tuple[bool, ...]) -> int:
    return sum(1 << place for place, value in enumerate(state) if value)


@settings(deadline=None, max_examples=60)
@given(systems())
def test_states_distances_and_edges_are_exactly_those_of_breadth_first_search(system: TransitionSystem) -> None:
    system = replace(system, bad=FALSE)
    marks = system.preferences
    explicit = ExplicitStates(system, marks)
    explicit.explore(in_an_hour())
    assert dict(zip(explicit.states, explicit.distances, strict=True)) == distances(system)
    assert len(set(explicit.states)) == len(explicit.states)
    assert explicit.distances == sorted(explicit.distances)
    found = {
        (explicit.states[number], lane, explicit.states[edge.target], edge.marks)
        for number, edges in enumerate(explicit.edges)
        for edge in edges
        for lane in range(2 ** len(system.inputs))
        if edge.lanes >> lane & 1
    }
    assert found == edges_of(system, explicit.states, marks)


def edges_of(system: TransitionSystem, states: list[int], marks: tuple[Literal, ...]) -> set[tuple[int, int, int, int]]:
    edges = set()
    for state in states:
        bits = tuple(bool(state >> place & 1) for place in range(len(system.registers)))
        for values in assignments(system, bits):
            if permitted(system, values):
                lane = spelled(tuple(values[variable] for variable in system.inputs))
                ones = spelled(tuple(system.graph.evaluate(marks, values)))
                edges.add((state, lane, spelled(following(system, values)), ones))
    return edges


@settings(deadline=None, max_examples=80)
@given(systems())
def test_the_verdict_is_right_the_invariant_exact_and_the_counterexample_shortest(system: TransitionSystem) -> None:
    system = system.cone_of_influence()
    decision = explicitly(system)
    shortest = shortest_counterexample(system)
    assert is_explicit(decision)
    if shortest is None:
        assert isinstance(decision, Unreachable)
        assert decision.about is None
        recheck(system, decision.invariant)
        assert is_invariant(decision.invariant, system)
        reachable = distances(system)
        for state in range(2 ** len(system.registers)):
            bits = tuple(bool(state >> place & 1) for place in range(len(system.registers)))
            assert holds(decision.invariant, system, bits) == (state in reachable)
    else:
        assert isinstance(decision, Reached)
        assert len(decision.counterexample) == shortest
        assert is_bad(system, replayed(system, decision.counterexample)[-1])


@settings(deadline=None, max_examples=60)
@given(systems())
def test_the_counterexample_is_the_very_one_that_bounded_search_gives(system: TransitionSystem) -> None:
    """Both keep the preferences in order and then every input 0, so there is one that both must find."""
    symbolic = search(system, depth=2 ** len(system.registers), limit_seconds=LIMIT)
    if isinstance(symbolic, Reached):
        found = explicitly(system.cone_of_influence())
        assert isinstance(found, Reached)
        assert _inputs(found.counterexample, system) == _inputs(symbolic.counterexample, system)


def _inputs(counterexample: Counterexample, system: TransitionSystem) -> list[list[bool]]:
    """Inputs that an engine left out, as they cannot matter, count as 0."""
    return [[frame.get(variable, False) for variable in system.inputs] for frame in counterexample.frames]


@settings(deadline=None, max_examples=60)
@given(systems())
def test_the_symbolic_engines_alone_agree_too(system: TransitionSystem) -> None:
    with nothing_is_small_enough():
        decision = Chooser().decide(system, limit_seconds=LIMIT)
    shortest = shortest_counterexample(system)
    if shortest is None:
        assert isinstance(decision, Unreachable)
        recheck(system, decision.invariant)
        assert is_invariant(decision.invariant, system)
    else:
        assert isinstance(decision, Reached)
        assert len(decision.counterexample) == shortest


@settings(deadline=None, max_examples=60)
@given(systems(), st.integers(0, 8))
def test_a_counterexample_beyond_the_depth_is_not_given(system: TransitionSystem, depth: int) -> None:
    system = system.cone_of_influence()
    decision = explicitly(system, depth)
    shortest = shortest_counterexample(system)
    if shortest is None:
        assert isinstance(decision, Unreachable)
    elif shortest > depth:
        assert isinstance(decision, Undecided)
        assert decision.searched_to == depth
        assert f"one of {shortest} instants exists" in decision.reason
    else:
        assert isinstance(decision, Reached)


@settings(deadline=None, max_examples=60)
@given(systems(), st.sampled_from(["MOST_STATES", "MOST_EDGES"]), st.integers(0, 10))
def test_when_it_gives_up_the_others_give_the_same_answer(system: TransitionSystem, limit: str, most: int) -> None:
    shortest = shortest_counterexample(system)
    with patch.object(explicit_states, limit, most):
        decision = Chooser().decide(system, limit_seconds=LIMIT)
    assert isinstance(decision, Unreachable if shortest is None else Reached)
    if isinstance(decision, Reached):
        assert len(decision.counterexample) == shortest
    if isinstance(decision, Unreachable):
        recheck(system, decision.invariant)


def test_more_states_than_it_looks_at_are_too_many() -> None:
    explicit = ExplicitStates(counter(12, top=4095, bad=4000))
    with pytest.raises(TooLarge):
        explicit.explore(in_an_hour())
    assert explicit_states.MOST_STATES <= len(explicit.states) <= explicit_states.MOST_STATES + 2


def test_it_stops_at_the_deadline() -> None:
    explicit = ExplicitStates(counter(10, top=1023, bad=1000, enable=True))
    with pytest.raises(TooLarge):
        explicit.explore(time.monotonic())
    assert search_explicitly(counter(10, top=1023, bad=1000), time.monotonic()) is None


def test_it_gives_up_early_when_the_states_that_wait_will_take_too_long() -> None:
    """The clock goes a second forward at each look; 31 looks are 31 states, of which there are hundreds."""
    ticks = iter(float(second) for second in range(10_000))
    explicit = ExplicitStates(shift_register(10))
    with patch.object(time, "monotonic", lambda: next(ticks)), pytest.raises(TooLarge):
        explicit.explore(explicit_states.LEAST_SAMPLE + 20.0)
    assert len(explicit.edges) <= explicit_states.LEAST_SAMPLE


@pytest.mark.parametrize(
    ("limit", "system"),
    [
        ("MOST_REGISTERS", shift_register(6)),
        ("MOST_INPUTS", arbiter(6, careful=True)),
        ("MOST_NODES", arbiter(6, careful=True)),
    ],
)
def test_a_system_beyond_a_limit_does_not_fit(limit: str, system: TransitionSystem) -> None:
    assert fits(system)
    with patch.object(explicit_states, limit, 5):
        assert not fits(system)
        assert search_explicitly(system, in_an_hour()) is None


def test_marks_count_as_nodes_too() -> None:
    system = shift_register(3)
    mark = system.graph.all_of(register.variable for register in system.registers)
    with patch.object(explicit_states, "MOST_NODES", len(system.graph.cone([mark])) - 1):
        assert fits(system)
        assert not fits(system, [mark])


def test_an_invariant_that_would_be_too_large_is_left_to_the_others() -> None:
    system = arbiter(6, careful=True)
    with patch.object(explicit_search, "MOST_CLAUSES", 5):
        assert explicitly(system) is None
        decision = Chooser().decide(system, limit_seconds=LIMIT)
    assert isinstance(decision, Unreachable)
    recheck(system, decision.invariant)


def test_preferences_are_kept_before_the_inputs_are_calm_and_both_in_order() -> None:
    """Bad when the levers differ in frame 2. Wanted first: lever 1 is low; then: the levers are both high."""
    graph = BitGraph()
    frames = register_bits(graph, "frame", 2)
    first, second = graph.variable("lever 1"), graph.variable("lever 2")
    bad = graph.conjunction(frames[1], graph.exclusive_or(first, second))
    plain = machine(graph, frames, [1, frames[0]], bad, inputs=[first, second])
    wishes = (first ^ 1, graph.conjunction(first, second), second)
    for preferences, expected in (((), [(0, 0), (0, 0), (0, 1)]), (wishes, [(0, 1)] * 3)):
        decision = explicitly(replace(plain, preferences=preferences))
        assert isinstance(decision, Reached)
        assert [(values[first], values[second]) for values in decision.counterexample.frames] == expected


def test_a_bad_frame_that_no_input_permits_is_none() -> None:
    graph = BitGraph()
    lever, count = graph.variable("lever"), register_bits(graph, "stroke", 2)
    bad = graph.conjunction(equals(graph, count, 1), lever)
    system = machine(graph, count, [count[0] ^ 1, FALSE], bad, inputs=[lever], constraints=[lever ^ 1])
    assert isinstance(explicitly(system), Unreachable)


@pytest.mark.parametrize("inputs", [0, 1, 11, 12])
def test_as_many_inputs_as_may_be_are_all_tried(inputs: int) -> None:
    """Bad when the last input is 1 in frame 1, and all others in frame 0."""
    graph = BitGraph()
    levers = [graph.variable(f"lever {i}") for i in range(inputs)]
    rang = graph.variable("rang")
    bad = graph.all_of([rang, *levers[-1:]])
    system = machine(graph, [rang], [graph.all_of(levers[:-1])], bad, inputs=levers)
    decision = explicitly(system)
    assert isinstance(decision, Reached)
    frames = [[values[lever] for lever in levers] for values in decision.counterexample.frames]
    assert frames == [
        [True] * max(inputs - 1, 0) + [False] * (inputs > 0),
        [False] * (inputs - 1) + [True] * (inputs > 0),
    ]


def test_a_wish_about_a_later_frame_is_kept_before_an_earlier_input_is_calm() -> None:
    """The lever leads to 1 when low and to 2 when high; both lead to 3, which is bad. Wanted: 2."""
    graph = BitGraph()
    lever, bits = graph.variable("lever"), register_bits(graph, "bell", 2)
    home = equals(graph, bits, 0)
    after = [graph.select(home, lever ^ 1, 1), graph.select(home, lever, 1)]
    plain = machine(graph, bits, after, equals(graph, bits, 3), inputs=[lever])
    for preferences, expected in (((), [False] * 3), ((equals(graph, bits, 2),), [True, False, False])):
        decision = explicitly(replace(plain, preferences=preferences))
        assert isinstance(decision, Reached)
        assert [values[lever] for values in decision.counterexample.frames] == expected
