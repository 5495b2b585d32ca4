"""Every engine against the explicit oracle, on random transition systems: the verdict and the shortest length."""

from __future__ import annotations

import networkx
from hypothesis import given, settings
from hypothesis import strategies as st

from engines.explicit import (
    assignments,
    following,
    is_bad,
    is_invariant,
    longest_permitted_run,
    permitted,
    replayed,
    shortest_counterexample,
    start,
)
from engines.random_systems import systems
from verifier.engines.bounded_search import search
from verifier.engines.chooser import Chooser
from verifier.engines.decision import Decision, Reached, Undecided, Unreachable
from verifier.engines.endless import Contradictory, Endless, permitted_forever
from verifier.engines.property_directed import CounterexampleLength, PropertyDirectedReachability, prove
from verifier.evidence.certificate import recheck
from verifier.logic.transition_system import TransitionSystem

LIMIT = 60.0
DEEPER_THAN_ANY_STATE_SPACE_HERE = 2**6 + 1


def agrees(decision: Decision, system: TransitionSystem) -> None:
    shortest = shortest_counterexample(system)
    if shortest is None:
        assert isinstance(decision, Unreachable)
        recheck(system, decision.invariant)
        assert is_invariant(decision.invariant, system)
    else:
        assert isinstance(decision, Reached)
        assert len(decision.counterexample) == shortest
        assert is_bad(system, replayed(system, decision.counterexample)[-1])


@settings(deadline=None, max_examples=150)
@given(systems())
def test_the_chooser_agrees_with_explicit_search(system: TransitionSystem) -> None:
    agrees(Chooser().decide(system, limit_seconds=LIMIT), system)


@settings(deadline=None, max_examples=150)
@given(systems(), st.integers(0, 8))
def test_at_any_depth_limit_the_chooser_gives_the_right_verdict_or_none(system: TransitionSystem, depth: int) -> None:
    decision = Chooser().decide(system, limit_seconds=LIMIT, depth=depth)
    shortest = shortest_counterexample(system)
    if shortest is not None and shortest > depth:
        assert isinstance(decision, Undecided)
        assert depth <= decision.searched_to < shortest
    else:
        agrees(decision, system)


@settings(deadline=None, max_examples=100)
@given(systems(), st.data())
def test_claims_that_share_a_circuit_do_not_disturb_each_other(system: TransitionSystem, data: st.DataObject) -> None:
    chooser = Chooser()
    nodes = st.integers(0, 2 * len(system.graph) - 1)
    for _ in range(4):
        other = TransitionSystem(
            graph=system.graph,
            registers=system.registers,
            inputs=system.inputs,
            constraints=system.constraints,
            bad=system.graph.conjunction(data.draw(nodes), data.draw(nodes)),
        )
        agrees(chooser.decide(other, limit_seconds=LIMIT), other)


@settings(deadline=None, max_examples=150)
@given(systems())
def test_property_directed_reachability_alone_agrees_with_explicit_search(system: TransitionSystem) -> None:
    answer = prove(system, LIMIT)
    shortest = shortest_counterexample(system)
    if isinstance(answer, CounterexampleLength):
        assert shortest is not None
        assert shortest <= answer.frames
    else:
        agrees(answer, system)


@settings(deadline=None, max_examples=50)
@given(systems())
def test_property_directed_reachability_keeps_its_invariants_at_every_step(system: TransitionSystem) -> None:
    attempt = PropertyDirectedReachability(system)
    shortest = shortest_counterexample(system)
    while attempt.result is None:
        attempt.advance()
        attempt.check_invariants()
        assert shortest is None or attempt.searched_to < shortest


@settings(deadline=None, max_examples=100)
@given(systems())
def test_bounded_search_alone_agrees_with_explicit_search(system: TransitionSystem) -> None:
    decision = search(system, DEEPER_THAN_ANY_STATE_SPACE_HERE, LIMIT)
    shortest = shortest_counterexample(system)
    if shortest is None:
        assert isinstance(decision, Undecided)
        assert decision.searched_to == DEEPER_THAN_ANY_STATE_SPACE_HERE
    else:
        agrees(decision, system)


@settings(deadline=None, max_examples=100)
@given(systems(most_registers=4))
def test_the_verdict_is_that_of_shortest_paths_in_an_explicit_graph(system: TransitionSystem) -> None:
    """networkx, a general graph library, knows the distance from the start to the nearest bad frame."""
    graph = networkx.DiGraph()
    pending = [start(system)]
    graph.add_node(pending[0])
    while pending:
        state = pending.pop()
        for values in filter(lambda values: permitted(system, values), assignments(system, state)):
            after = following(system, values)
            if after not in graph:
                pending.append(after)
            graph.add_edge(state, after)
            if is_bad(system, values):
                graph.add_edge(state, "bad")
    decision = Chooser().decide(system, limit_seconds=LIMIT)
    if graph.has_node("bad"):
        assert isinstance(decision, Reached)
        assert len(decision.counterexample) == networkx.shortest_path_length(graph, start(system), "bad")
    else:
        assert isinstance(decision, Unreachable)


@settings(deadline=None, max_examples=100)
@given(systems())
def test_leaving_out_what_cannot_matter_keeps_verdict_and_length(system: TransitionSystem) -> None:
    reduced = system.cone_of_influence()
    reduced.check_invariants()
    assert shortest_counterexample(reduced) == shortest_counterexample(system)


@settings(deadline=None, max_examples=150)
@given(systems(most_registers=4))
def test_whether_the_constraints_allow_an_endless_run_agrees_with_explicit_search(system: TransitionSystem) -> None:
    permission = permitted_forever(system, LIMIT)
    longest = longest_permitted_run(system)
    if longest is not None:
        assert permission == Contradictory(longest)
        return
    assert isinstance(permission, Endless)
    frames = replayed(system, permission.run)
    constraining = {register.variable for register in _constraining(system).registers}
    last = following(system, frames[-1])
    after = {register.variable: value for register, value in zip(system.registers, last, strict=True)}
    assert all(frames[permission.loop_from][variable] == after[variable] for variable in constraining)


def _constraining(system: TransitionSystem) -> TransitionSystem:
    return TransitionSystem(
        graph=system.graph, registers=system.registers, inputs=system.inputs, constraints=system.constraints
    ).cone_of_influence()
