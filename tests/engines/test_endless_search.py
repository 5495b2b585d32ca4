"""Deciding endless runs, the whole and each way alone, against an explicit oracle; and what its proofs are about."""

from __future__ import annotations

import time
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engines.endless_oracle import check_lasso, has_fair_run, shortest_lasso_length
from engines.explicit import assignments, following, is_invariant, permitted, shortest_counterexample, start
from engines.forcing import everything_is_small_enough, is_explicit, nothing_is_small_enough
from engines.machines import constant, counter, equals, machine, plus_one, register_bits, shift_register
from engines.random_systems import systems
from verifier.engines.decision import Decision, Reached, Undecided, Unreachable
from verifier.engines.endless_search import decide_endless
from verifier.engines.explicit_search import search_endless_explicitly
from verifier.evidence.certificate import recheck
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph
from verifier.logic.endless import CountingSystem
from verifier.logic.transition_system import TransitionSystem

LIMIT = 60.0
SMALL_ENOUGH_TO_LOOK_AT_EVERY_STATE = 10


def agrees(decision: Decision, system: TransitionSystem) -> None:
    system = system.cone_of_influence()
    shortest = shortest_lasso_length(system)
    assert (shortest is not None) == has_fair_run(system)
    if shortest is None:
        assert isinstance(decision, Unreachable)
        check_proof(decision, system)
    else:
        assert isinstance(decision, Reached)
        assert len(decision.counterexample) == shortest
        check_lasso(system, decision)


def check_proof(decision: Unreachable, system: TransitionSystem) -> None:
    about = decision.about
    assert about is not None
    about.check_invariants()
    recheck(about, decision.invariant)
    assert shortest_counterexample(about) is None
    if len(about.registers) <= SMALL_ENOUGH_TO_LOOK_AT_EVERY_STATE:
        assert is_invariant(decision.invariant, about)
    assert_only_adds_observers(about, system)
    assert_bad_counts_rounds(about, system)


def assert_only_adds_observers(about: TransitionSystem, system: TransitionSystem) -> None:
    """Without the added registers it is the given system, and nothing of that depends on them: same runs."""
    assert about.registers[: len(system.registers)] == system.registers
    assert about.inputs == system.inputs
    assert about.constraints == system.constraints
    assert about.fairness is None
    added = {register.variable >> 1 for register in about.registers[len(system.registers) :]}
    roots = [*(register.next for register in system.registers), *system.constraints]
    assert added.isdisjoint(system.graph.cone(roots))


def assert_bad_counts_rounds(about: TransitionSystem, system: TransitionSystem) -> None:
    """On a run that may break the rules, by ignoring constraints: bad comes when all fairness was seen so often.

    With every literal 1 in every frame, a round is one frame.
    """
    fairness = system.fairness or ()
    images = {literal & ~1: (literal & 1) ^ TRUE for literal in fairness if about.graph.is_variable(literal & ~1)}
    if len({literal & ~1 for literal in fairness}) < len(fairness) or len(images) < len(fairness):
        return  # the literals cannot be made 1 by hand
    added = about.registers[len(system.registers) :]
    state = {register.variable: False for register in added}
    rounds = 0
    while about.graph.evaluate([about.bad], state) != [True]:
        values = state | {variable: image == TRUE for variable, image in images.items()}
        state = dict(zip(state, about.graph.evaluate([register.next for register in added], values), strict=True))
        rounds += 1
        assert rounds <= 2 ** len(added), "so many rounds never make it bad"
    assert rounds >= 1


@settings(deadline=None, max_examples=80)
@given(systems(most_fairness=3))
def test_the_whole_agrees_with_explicit_search(system: TransitionSystem) -> None:
    agrees(decide_endless(system, limit_seconds=LIMIT), system)


@settings(deadline=None, max_examples=80)
@given(systems(most_fairness=3))
def test_the_explicit_way_alone_agrees_and_decides_every_small_system(system: TransitionSystem) -> None:
    system = system.cone_of_influence()
    with everything_is_small_enough():
        decision = search_endless_explicitly(system, CountingSystem(system), time.monotonic() + LIMIT)
    assert decision is not None
    assert is_explicit(decision)
    agrees(decision, system)


@settings(deadline=None, max_examples=60)
@given(systems(most_fairness=3, most_registers=5))
def test_the_symbolic_way_alone_agrees_with_explicit_search(system: TransitionSystem) -> None:
    with nothing_is_small_enough():
        decision = decide_endless(system, limit_seconds=LIMIT)
    assert not is_explicit(decision)
    agrees(decision, system)


@pytest.mark.parametrize("way", [nothing_is_small_enough, everything_is_small_enough])
def test_at_any_depth_the_verdict_is_right_or_there_is_none(way) -> None:  # type: ignore[no-untyped-def]
    @settings(deadline=None, max_examples=40)
    @given(systems(most_fairness=2, most_registers=4), st.integers(0, 6))
    def property_holds(system: TransitionSystem, depth: int) -> None:
        with way():
            decision = decide_endless(system, limit_seconds=LIMIT, depth=depth)
        shortest = shortest_lasso_length(system.cone_of_influence())
        if shortest is not None and shortest > depth:
            assert isinstance(decision, Undecided)
            assert decision.searched_to == depth
        else:
            agrees(decision, system)

    property_holds()


def strokes(width: int, top: int) -> TransitionSystem:
    """Counts strokes of the lever up to the top and stays there; fair: it counts again and again. It cannot."""
    graph = BitGraph()
    lever, count = graph.variable("lever"), register_bits(graph, "stroke", width)
    counts = graph.conjunction(lever, equals(graph, count, top) ^ 1)
    after = [graph.select(counts, new, old) for new, old in zip(plus_one(graph, count), count, strict=True)]
    return replace(machine(graph, count, after, FALSE, inputs=[lever]), fairness=(counts,))


@pytest.mark.parametrize("top", [0, 1, 5, 15])
@pytest.mark.parametrize("way", [nothing_is_small_enough, everything_is_small_enough])
def test_what_can_happen_a_number_of_times_but_not_for_ever_is_proved(way, top: int) -> None:  # type: ignore[no-untyped-def]
    system = strokes(4, top)
    with way():
        decision = decide_endless(system, limit_seconds=LIMIT)
    agrees(decision, system)
    assert isinstance(decision, Unreachable)


@pytest.mark.parametrize("way", [nothing_is_small_enough, everything_is_small_enough])
def test_a_lasso_with_a_way_and_a_loop_of_known_lengths(way) -> None:  # type: ignore[no-untyped-def]
    """Counts 0 1 2 3 4 5 6, then 3 again; fair: 6 and 5 are passed. Three instants of way, four of loop."""
    graph = BitGraph()
    count = register_bits(graph, "stroke", 3)
    back = equals(graph, count, 6)
    after = [graph.select(back, c, n) for c, n in zip(constant(3, 3), plus_one(graph, count), strict=True)]
    system = replace(machine(graph, count, after, FALSE), fairness=(back, equals(graph, count, 5)))
    with way():
        decision = decide_endless(system, limit_seconds=LIMIT)
    assert isinstance(decision, Reached)
    assert (len(decision.counterexample), decision.loop_from) == (7, 3)
    check_lasso(system, decision)


def test_a_fairness_literal_that_is_the_constant_0_is_refused_with_a_proof_that_says_why() -> None:
    system = replace(shift_register(3), fairness=(TRUE, FALSE))
    decision = decide_endless(system, limit_seconds=LIMIT)
    agrees(decision, system)
    assert isinstance(decision, Unreachable)
    assert decision.about is not None
    assert decision.about.bad != FALSE
    recheck(decision.about, decision.invariant)


def test_a_constraint_that_is_the_constant_0_is_refused_with_a_proof_that_says_why() -> None:
    system = replace(shift_register(3), constraints=(FALSE,), fairness=())
    decision = decide_endless(system, limit_seconds=LIMIT)
    agrees(decision, system)
    assert isinstance(decision, Unreachable)
    assert decision.about is not None
    assert decision.about.bad != FALSE


def test_without_fairness_literals_any_endless_run_will_do() -> None:
    system = replace(counter(3, top=5, bad=7), fairness=())
    decision = decide_endless(system, limit_seconds=LIMIT)
    agrees(decision, system)


@pytest.mark.parametrize("depth", [0, 3])
def test_a_fair_run_beyond_the_depth_ends_the_symbolic_way_before_its_limit(depth: int) -> None:
    """The counter passes its top every fourth instant, so any number of rounds can happen."""
    system = counter(2, top=3, bad=0)
    ring = replace(system, fairness=(equals(system.graph, [r.variable for r in system.registers], 3),))
    with nothing_is_small_enough():
        decision = decide_endless(ring, limit_seconds=LIMIT, depth=depth)
    assert isinstance(decision, Undecided)
    assert decision.searched_to == depth
    assert decision.reason.startswith("every fairness literal can be 1 24 times over")


def test_the_runs_of_a_counting_system_are_those_of_the_system() -> None:
    """Every step of the one, with the added registers forgotten, is a step of the other, and the other way round."""
    system = replace(strokes(3, 5), constraints=(TRUE,))
    counting = CountingSystem(system)
    for about in (counting.plain(), counting.below(4), counting.after(3)):
        assert _steps(about, len(system.registers)) == _steps(system, len(system.registers))


def _steps(system: TransitionSystem, kept: int) -> set[tuple[tuple[bool, ...], tuple[bool, ...], tuple[bool, ...]]]:
    pending, seen, steps = [start(system)], {start(system)}, set()
    while pending:
        state = pending.pop()
        for values in assignments(system, state):
            if permitted(system, values):
                after = following(system, values)
                steps.add((state[:kept], tuple(values[i] for i in system.inputs), after[:kept]))
                if after not in seen:
                    seen.add(after)
                    pending.append(after)
    return steps
