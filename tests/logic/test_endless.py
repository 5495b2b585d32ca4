"""The two transformations themselves, without any engine: bad exactly when there is a lasso, or so many rounds."""

from __future__ import annotations

from dataclasses import replace

import pytest
from engines.endless_oracle import check_lasso, reachable_steps, shortest_lasso_length
from engines.explicit import shortest_counterexample
from engines.random_systems import systems
from hypothesis import given, settings

from verifier.engines.bounded_search import search
from verifier.engines.decision import Reached
from verifier.logic.bit_graph import TRUE, BitGraph
from verifier.logic.endless import CountingSystem, RepeatingSystem, repeating
from verifier.logic.transition_system import Register, TransitionSystem

FEW = 4


@settings(deadline=None, max_examples=60)
@given(systems(most_registers=2, most_inputs=2, most_fairness=2))
def test_the_shortest_bad_run_of_a_repeating_system_is_one_longer_than_the_shortest_lasso(
    system: TransitionSystem,
) -> None:
    transformed = repeating(system)
    transformed.system.check_invariants()
    shortest = shortest_lasso_length(system)
    assert shortest_counterexample(transformed.system) == (None if shortest is None else shortest + 1)
    if shortest is not None:
        check_found_lasso(system, transformed, shortest)


def check_found_lasso(system: TransitionSystem, transformed: RepeatingSystem, shortest: int) -> None:
    found = search(transformed.system, shortest + 1, 60.0)
    assert isinstance(found, Reached)
    lasso = transformed.lasso_of(found.counterexample)
    assert len(lasso.frames) == shortest
    check_lasso(system, Reached(counterexample=lasso.frames, loop_from=lasso.loop_from, engine=""))


def test_what_was_seen_on_the_way_alone_is_not_seen_in_the_loop() -> None:
    """A bell that rings from instant 1 on was silent once, and never again."""
    graph = BitGraph()
    bell = graph.variable("bell")
    system = TransitionSystem(graph=graph, registers=(Register(bell, TRUE),), inputs=(), fairness=(bell ^ 1,))
    assert shortest_counterexample(repeating(system).system) is None
    assert shortest_counterexample(repeating(replace(system, fairness=(bell,))).system) == 3


def most_rounds(system: TransitionSystem, enough: int) -> int:
    """The most rounds that are over on some run, or `enough`: all frontiers of runs, with what each saw this round."""
    every = frozenset(range(len(system.fairness or ())))
    steps = reachable_steps(system)
    state = next((before for before, _, _ in steps if not any(before)), None)
    layer, seen = {(state, frozenset[int](), 0)}, {(state, frozenset[int](), 0)}
    most = 0
    while layer:
        after = set()
        for place, met, rounds in layer:
            for before, ones, target in steps:
                if before == place:
                    over = met | ones == every
                    after.add((target, frozenset() if over else met | ones, min(rounds + over, enough)))
        layer = after - seen
        seen |= layer
        most = max([most, *(rounds for _, _, rounds in layer)])
    return most


@pytest.mark.parametrize("counted", ["after", "below"])
def test_bad_is_reached_exactly_when_so_many_rounds_can_be_over(counted: str) -> None:
    @settings(deadline=None, max_examples=80)
    @given(systems(most_registers=3, most_inputs=2, most_fairness=2))
    def property_holds(system: TransitionSystem) -> None:
        counting = CountingSystem(system)
        most = most_rounds(system, FEW + 1)
        for rounds in range(1, FEW + 1):
            about = getattr(counting, counted)(rounds)
            about.check_invariants()
            bad_is_reached = shortest_counterexample(_with_a_last_frame(about)) is not None
            assert bad_is_reached == (most >= rounds)

    property_holds()


def _with_a_last_frame(about: TransitionSystem) -> TransitionSystem:
    """Bad is seen in the frame after the one in which the round was over; here that frame need not be permitted."""
    graph = about.graph
    nexts = {register.variable: register.next for register in about.registers}
    return TransitionSystem(
        graph=graph,
        registers=about.registers,
        inputs=about.inputs,
        constraints=about.constraints,
        bad=graph.substitute([about.bad], nexts)[0],
    )


def test_more_rounds_in_unary_are_the_same_registers_and_some_more() -> None:
    @settings(deadline=None, max_examples=20)
    @given(systems(most_fairness=2))
    def property_holds(system: TransitionSystem) -> None:
        counting = CountingSystem(system)
        three, five = counting.after(3), counting.after(5)
        assert five.registers[: len(three.registers)] == three.registers
        assert counting.after(3) == three

    property_holds()
