"""The second opinion on proofs: right invariants pass, corrupted ones are refused at the check they break."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from engines.machines import factors_of
from hypothesis import given, settings
from hypothesis import strategies as st

from verifier.errors import InternalDisagreement
from verifier.evidence.certificate import certificate_text, recheck
from verifier.evidence.replay import Unconfirmed
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph
from verifier.logic.session import judge_script
from verifier.logic.transition_system import Invariant, Register, TransitionSystem


def two_hammers(names: tuple[str, str, str] = ("left hammer", "right hammer", "lever")) -> TransitionSystem:
    """The lever sends the left hammer, and the left hammer, released, the right one; bad when both strike."""
    graph = BitGraph()
    left, right, lever = (graph.variable(name) for name in names)
    return TransitionSystem(
        graph=graph,
        registers=(
            Register(left, graph.conjunction(lever, right ^ 1)),
            Register(right, graph.conjunction(left, lever ^ 1)),
        ),
        inputs=(lever,),
        bad=graph.conjunction(left, right),
    )


def never_both(system: TransitionSystem) -> Invariant:
    left, right = (register.variable for register in system.registers)
    return Invariant(((left ^ 1, right ^ 1),))


def test_a_right_invariant_passes() -> None:
    system = two_hammers()
    recheck(system, never_both(system))


def test_an_invariant_that_the_start_breaks_is_refused_at_start() -> None:
    system = two_hammers()
    left, right = (register.variable for register in system.registers)
    with pytest.raises(InternalDisagreement, match="`start` is sat"):
        recheck(system, Invariant((*never_both(system).clauses, (left, right))))


def test_an_invariant_that_a_step_breaks_is_refused_at_step() -> None:
    system = two_hammers()
    right = system.registers[1].variable
    with pytest.raises(InternalDisagreement, match="`step` is sat"):
        recheck(system, Invariant((*never_both(system).clauses, (right ^ 1,))))


def test_an_invariant_that_allows_bad_is_refused_at_claim() -> None:
    with pytest.raises(InternalDisagreement, match="`claim` is sat"):
        recheck(two_hammers(), Invariant(()))


def test_an_invariant_of_another_system_is_refused() -> None:
    system = two_hammers()
    lever = system.inputs[0]
    other = replace(system, bad=system.graph.conjunction(system.registers[0].variable, lever))
    with pytest.raises(InternalDisagreement, match="`claim` is sat"):
        recheck(other, never_both(system))


def test_an_invariant_is_no_answer_to_a_question_about_endless_runs() -> None:
    system = replace(two_hammers(), fairness=())
    with pytest.raises(InternalDisagreement, match="endless runs"):
        recheck(system, never_both(system))


def test_an_invariant_about_an_input_is_refused() -> None:
    system = two_hammers()
    with pytest.raises(InternalDisagreement, match="no register"):
        recheck(system, Invariant(((system.inputs[0],),)))


def test_the_empty_clause_holds_nowhere_and_is_refused_at_start() -> None:
    with pytest.raises(InternalDisagreement, match="`start` is sat"):
        recheck(two_hammers(), Invariant(((),)))


def test_constraints_are_counted_on_in_step_and_claim() -> None:
    system = two_hammers()
    left, right, lever = (register.variable for register in system.registers), None, system.inputs[0]
    left_variable, right_variable = left
    assert right is None
    lever_low = replace(system, constraints=(lever ^ 1,))
    recheck(lever_low, Invariant(((left_variable ^ 1,), (right_variable ^ 1,))))
    with pytest.raises(InternalDisagreement, match="`step` is sat"):
        recheck(system, Invariant(((left_variable ^ 1,), (right_variable ^ 1,))))
    recheck(replace(system, constraints=(FALSE,), bad=TRUE), Invariant(()))


def test_a_bad_bit_that_is_0_needs_no_clause_and_one_that_is_1_has_no_invariant() -> None:
    recheck(replace(two_hammers(), bad=FALSE), Invariant(()))
    with pytest.raises(InternalDisagreement, match="`claim`"):
        recheck(replace(two_hammers(), bad=TRUE), Invariant(()))


def test_a_check_that_takes_too_long_leaves_the_proof_unconfirmed() -> None:
    with pytest.raises(Unconfirmed, match="`claim`"):
        recheck(factors_of(2**61 - 1, 32), Invariant(()), limit_seconds=0.5)


AWKWARD_NAMES = [
    ("n4", "permitted", "bad"),
    ("true", "false", "and"),
    ("x", "x", "x"),
    ("x (2)", "x", "x"),
    ("bar|bell", "back\\slash", "two\nlines"),
    ("", " ", "Glocke \u00fc"),
    ("invariant", "invariant-next", ")(check-sat)"),
]


@pytest.mark.parametrize("names", AWKWARD_NAMES, ids=range(len(AWKWARD_NAMES)))
def test_awkward_names_change_nothing(names: tuple[str, str, str]) -> None:
    system = two_hammers(names)
    recheck(system, never_both(system))
    with pytest.raises(InternalDisagreement, match="`claim` is sat"):
        recheck(system, Invariant(()))


def test_the_script_is_plain_smt_lib_that_stands_alone() -> None:
    system = two_hammers()
    text = certificate_text(system, never_both(system))
    assert text.isascii()
    assert text.count("(check-sat)") == text.count("(push 1)") == text.count("(pop 1)") == 3
    assert [line for line in text.splitlines() if line in ("; start", "; step", "; claim")] == [
        "; start",
        "; step",
        "; claim",
    ]
    commands = set(re.findall(r"^\(([a-z-]+)", text, re.MULTILINE))
    # The commands of the SMT-LIB standard 2.6, section 3.9 (from memory), and only those.
    assert commands == {"set-logic", "declare-fun", "define-fun", "push", "assert", "check-sat", "pop"}
    assert "|left hammer|" in text
    assert judge_script(text) == ["unsat", "unsat", "unsat"]


@settings(deadline=None, max_examples=100)
@given(st.data())
def test_the_word_of_the_fresh_solver_is_that_of_looking_at_every_state(data: st.DataObject) -> None:
    """Random clauses on a fixed machine: accepted exactly when all three conditions hold, tried one by one."""
    system = two_hammers()
    left, right = (register.variable for register in system.registers)
    literal = st.sampled_from((left, left ^ 1, right, right ^ 1))
    clauses = tuple(data.draw(st.lists(st.lists(literal, min_size=1, max_size=2).map(tuple), max_size=3)))

    def holds(state: tuple[bool, bool]) -> bool:
        values = dict(zip((left, right), state, strict=True))
        return all(any(values[one & ~1] != bool(one & 1) for one in clause) for clause in clauses)

    states = [(a, b) for a in (False, True) for b in (False, True)]
    right_invariant = (
        holds((False, False))
        and all(
            holds((lever and not b, a and not lever)) for a, b in states if holds((a, b)) for lever in (False, True)
        )
        and not holds((True, True))
    )
    if right_invariant:
        recheck(system, Invariant(clauses))
    else:
        with pytest.raises(InternalDisagreement):
            recheck(system, Invariant(clauses))
