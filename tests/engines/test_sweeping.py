"""Sweeping: the same system in every frame, with fewer nodes where some are equal."""

from __future__ import annotations

import itertools
import time
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engines.explicit import shortest_counterexample
from engines.random_systems import systems
from verifier.engines.sweeping import Sweeper, swept
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.logic.session import Answer, NoAnswerError
from verifier.logic.transition_system import Register, TransitionSystem

SMALL = systems(most_registers=4, most_inputs=3)


def roots_of(system: TransitionSystem) -> list[Literal]:
    roots = [system.bad, *(register.next for register in system.registers), *system.constraints]
    return [*roots, *system.preferences, *(system.fairness or ())]


def rebuilt(system: TransitionSystem, literals: list[Literal]) -> list[Literal]:
    """The same functions from other gates: each conjunction as `(a xor b) xor (a or b)`."""
    graph = system.graph
    twin: dict[int, Literal] = {}
    for node in graph.cone([*literals, FALSE]):
        if node == 0 or graph.is_variable(2 * node):
            twin[node] = 2 * node
        else:
            left, right = (twin[side >> 1] ^ (side & 1) for side in (graph.lefts[node], graph.rights[node]))
            twin[node] = graph.exclusive_or(graph.exclusive_or(left, right), graph.disjunction(left, right))
    return [twin[literal >> 1] ^ (literal & 1) for literal in literals]


def values_everywhere(system: TransitionSystem, literals: list[Literal]) -> list[list[bool]]:
    """The literals' values under every assignment of registers and inputs."""
    variables = [*(register.variable for register in system.registers), *system.inputs]
    assignments = itertools.product((False, True), repeat=len(variables))
    return [system.graph.evaluate(literals, dict(zip(variables, values, strict=True))) for values in assignments]


@given(SMALL)
def test_every_literal_has_the_same_value_under_every_assignment(system: TransitionSystem) -> None:
    sweeper = Sweeper(system.graph)
    after = sweeper.swept(system)
    after.check_invariants()
    sweeper.check_invariants()
    images = [sweeper.image(literal) for literal in roots_of(system)]
    assert values_everywhere(system, roots_of(system)) == values_everywhere(system, images)
    merged = [2 * node for node in sweeper.merges]
    assert values_everywhere(system, merged) == values_everywhere(system, [*sweeper.merges.values()])
    assert after.bad == images[0]
    assert [register.next for register in after.registers] == images[1 : 1 + len(system.registers)]
    assert {*after.constraints} == {sweeper.image(constraint) for constraint in system.constraints} - {TRUE}
    assert [register.variable for register in after.registers] == [register.variable for register in system.registers]
    assert after.inputs == system.inputs


@given(SMALL)
@settings(deadline=None)
def test_the_verdict_and_the_shortest_length_stay(system: TransitionSystem) -> None:
    bad, *following = rebuilt(system, [system.bad, *(register.next for register in system.registers)])
    registers = tuple(Register(r.variable, new) for r, new in zip(system.registers, following, strict=True))
    other = replace(system, bad=bad, registers=registers)
    assert shortest_counterexample(swept(other)) == shortest_counterexample(system)


@given(SMALL)
def test_the_same_functions_in_other_gates_fold_into_one(system: TransitionSystem) -> None:
    roots = roots_of(system)
    pairs = zip(roots, rebuilt(system, roots), strict=True)
    differences = tuple(system.graph.exclusive_or(one, other) for one, other in pairs)
    after = swept(replace(system, preferences=differences))
    assert set(after.preferences) <= {FALSE}


@given(SMALL, st.data())
def test_what_is_found_equal_is_what_is_equal(system: TransitionSystem, data: st.DataObject) -> None:
    roots = roots_of(system)
    one, other = (
        data.draw(st.sampled_from(roots)),
        data.draw(st.sampled_from(roots)) ^ data.draw(st.sampled_from((0, 1))),
    )
    after = swept(replace(system, preferences=(one, other)))
    same = all(first == second for first, second in values_everywhere(system, [one, other]))
    assert (after.preferences[0] == after.preferences[1]) == same


def levers(count: int) -> tuple[BitGraph, list[Literal]]:
    graph = BitGraph()
    return graph, [graph.variable(f"lever {i}") for i in range(count)]


def asking(graph: BitGraph, inputs: list[Literal], bad: Literal, **others: tuple[Literal, ...]) -> TransitionSystem:
    return TransitionSystem(graph=graph, registers=(), inputs=tuple(inputs), bad=bad, **others)


def test_what_is_true_of_one_assignment_alone_is_no_constant() -> None:
    graph, inputs = levers(200)
    rare = graph.all_of(inputs)
    assert swept(asking(graph, inputs, rare)).bad == rare


def test_what_is_true_of_nearly_all_assignments_is_no_constant() -> None:
    graph, inputs = levers(40)
    usual = graph.conjunction(graph.all_of(inputs[:20]) ^ 1, graph.all_of(inputs[20:]) ^ 1)
    assert swept(asking(graph, inputs, usual)).bad == usual


def test_a_node_and_the_negation_of_another_become_one() -> None:
    graph, (a, b, c) = levers(3)
    three_levers = graph.exclusive_or(graph.exclusive_or(a, b), c)
    odd = graph.any_of(graph.all_of([a ^ i ^ j, b ^ i ^ 1, c ^ j ^ 1]) for i in (0, 1) for j in (0, 1))
    assert three_levers & 1 != odd & 1
    sweeper = Sweeper(graph)
    after = sweeper.swept(asking(graph, [a, b, c], graph.exclusive_or(three_levers, odd)))
    assert after.bad == FALSE
    assert any(other & 1 for other in sweeper.merges.values())
    for node, other in sweeper.merges.items():
        assert values_everywhere(after, [2 * node]) == values_everywhere(after, [other])


def test_two_rare_events_that_differ_stay_apart() -> None:
    graph, inputs = levers(20)
    one, other = graph.all_of(inputs), graph.all_of([inputs[0] ^ 1, *inputs[1:]])
    assert swept(asking(graph, inputs, graph.exclusive_or(one, other))).bad != FALSE


def test_a_hidden_constant_is_found() -> None:
    graph, (a, b, c) = levers(3)
    # Of three levers, two are always in the same place.
    somewhere = graph.any_of([graph.equivalence(a, b), graph.equivalence(b, c), graph.equivalence(a, c)])
    assert somewhere != TRUE
    after = swept(asking(graph, [a, b, c], somewhere, constraints=(somewhere,), fairness=(somewhere, a)))
    assert (after.bad, after.constraints, after.fairness) == (TRUE, (), (TRUE, a))


def test_the_two_sides_of_an_adder_written_twice_become_one() -> None:
    graph, inputs = levers(17)
    first, second = (_sum(graph, inputs, kind) for kind in ("selects", "majorities"))
    difference = graph.any_of(graph.exclusive_or(one, other) for one, other in zip(first, second, strict=True))
    sweeper = Sweeper(graph)
    assert sweeper.swept(asking(graph, inputs, difference)).bad == FALSE
    assert len(sweeper.merges) >= 8
    assert sweeper.doubts == 0


def _sum(graph: BitGraph, inputs: list[Literal], kind: str) -> list[Literal]:
    carry, digits = inputs[16], []
    for a, b in zip(inputs[:8], inputs[8:16], strict=True):
        half = graph.exclusive_or(a, b)
        digits.append(graph.exclusive_or(half, carry))
        if kind == "selects":
            carry = graph.select(half, carry, a)
        else:
            pairs = [graph.conjunction(a, b), graph.conjunction(a, carry), graph.conjunction(b, carry)]
            carry = graph.any_of(pairs)
    return [*digits, carry]


def hidden_constant() -> tuple[TransitionSystem, Literal]:
    graph, (a, b, c) = levers(3)
    somewhere = graph.any_of([graph.equivalence(a, b), graph.equivalence(b, c), graph.equivalence(a, c)])
    return asking(graph, [a, b, c], somewhere), somewhere


def test_after_the_deadline_everything_is_taken_as_it_is() -> None:
    system, somewhere = hidden_constant()
    assert swept(system, time.monotonic() - 1).bad == somewhere
    assert swept(system, time.monotonic() + 60).bad == TRUE


def test_a_candidate_without_an_answer_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    def no_answer(self: Sweeper, one: Literal, other: Literal) -> Answer:
        raise NoAnswerError("tired")

    monkeypatch.setattr(Sweeper, "_differ", no_answer)
    system, somewhere = hidden_constant()
    sweeper = Sweeper(system.graph)
    assert sweeper.swept(system).bad == somewhere
    assert sweeper.doubts > 0


def test_systems_of_one_graph_share_what_was_found() -> None:
    system, somewhere = hidden_constant()
    sweeper = Sweeper(system.graph)
    sweeper.swept(system)
    merges = dict(sweeper.merges)
    further = system.graph.variable("rope")
    both = system.graph.conjunction(further, somewhere)
    after = sweeper.swept(replace(system, inputs=(*system.inputs, further), bad=both))
    assert after.bad == further
    assert sweeper.merges == merges
    sweeper.check_invariants()


@pytest.mark.parametrize("damage", ["image", "samples", "leader"])
def test_damage_is_noticed(damage: str) -> None:
    system, somewhere = hidden_constant()
    sweeper = Sweeper(system.graph)
    sweeper.swept(system)
    sweeper.check_invariants()
    node = somewhere >> 1
    if damage == "image":
        sweeper._images[node] ^= 1
    elif damage == "samples":
        sweeper._samples[node] ^= 2
    else:
        sweeper._leaders[12345] = node
    with pytest.raises(ValueError, match=f"{node}"):
        sweeper.check_invariants()
