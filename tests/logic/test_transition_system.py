"""Transition systems: roles are checked, and the cone of influence keeps what matters.

That it keeps verdicts is tested with the engines, on random systems.
"""

from __future__ import annotations

import pytest

from verifier.logic.bit_graph import FALSE, BitGraph
from verifier.logic.transition_system import Counterexample, Register, TransitionSystem


def test_the_cone_of_influence_keeps_what_bad_and_constraints_depend_on_through_time() -> None:
    graph = BitGraph()
    names = ("far", "near", "idle", "held", "lever", "unused")
    far, near, idle, held, lever, unused = (graph.variable(name) for name in names)
    system = TransitionSystem(
        graph=graph,
        registers=(Register(far, lever), Register(near, far), Register(idle, unused), Register(held, held)),
        inputs=(lever, unused),
        constraints=(held ^ 1,),
        bad=near,
        preferences=(idle, lever, graph.conjunction(lever, unused), held),
    )
    reduced = system.cone_of_influence()
    assert [register.variable for register in reduced.registers] == [far, near, held]
    assert reduced.inputs == (lever,)
    assert reduced.constraints == system.constraints
    assert reduced.bad == near
    assert reduced.preferences == (lever, held)


def test_a_system_without_anything_to_fear_has_an_empty_cone() -> None:
    graph = BitGraph()
    bell = graph.variable("bell")
    reduced = TransitionSystem(graph=graph, registers=(Register(bell, bell ^ 1),), inputs=()).cone_of_influence()
    assert (reduced.registers, reduced.inputs, reduced.bad) == ((), (), FALSE)


def test_a_variable_without_a_role_is_found() -> None:
    graph = BitGraph()
    bell, stray = graph.variable("bell"), graph.variable("stray")
    system = TransitionSystem(graph=graph, registers=(Register(bell, stray),), inputs=())
    with pytest.raises(ValueError, match="stray is neither a register nor an input"):
        system.check_invariants()


def test_a_variable_with_two_roles_is_found() -> None:
    graph = BitGraph()
    bell = graph.variable("bell")
    system = TransitionSystem(graph=graph, registers=(Register(bell, bell),), inputs=(bell,))
    with pytest.raises(ValueError, match="bell is register and input"):
        system.check_invariants()


def test_a_negated_literal_is_no_register() -> None:
    graph = BitGraph()
    bell = graph.variable("bell")
    with pytest.raises(ValueError, match="not the positive literal of a variable"):
        TransitionSystem(graph=graph, registers=(Register(bell ^ 1, bell),), inputs=()).check_invariants()


def test_the_length_of_a_counterexample_is_the_number_of_its_frames() -> None:
    assert len(Counterexample(({}, {2: True}))) == 2
