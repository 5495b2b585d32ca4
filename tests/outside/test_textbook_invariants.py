"""Textbook examples of inductive invariants: what `explain` is left with after making an invariant small.

Ring counter and mutual exclusion are textbook material, from memory; the invariant of s27 is own computation on the
published netlist (`test_s27.py`).
"""

from __future__ import annotations

from itertools import combinations

import pytest

from outside.judging import design_of, verdicts
from outside.test_s27 import NEVER_BOTH, s27
from verifier.claims.claim import WiringFile
from verifier.evidence.explanation import Explanation, Leaning, ProofWords
from verifier.workbench.explaining import explain

LIMIT_SECONDS = 60.0


def explained(text: str, claim: str) -> tuple[Explanation, ProofWords]:
    design = design_of(text)
    explanation = explain(WiringFile(design.file, (design,)), claim, limit=LIMIT_SECONDS)
    assert explanation.proof is not None
    assert explanation.proof.minimal
    return explanation, explanation.proof


def ring(stages: int, claim: str) -> str:
    names = [f"stage_{number}" for number in range(stages)]
    rows = [
        f"    {name} = flipflop({names[number - 1]}) on rise of tempo start {int(number == 0)}"
        for number, name in enumerate(names)
    ]
    return "\n".join(["circuit ring", "    input tempo free running", f"    output {', '.join(names)}", claim, *rows])


@pytest.mark.parametrize("stages", [3, 4, 5])
def test_a_ring_counter_keeps_at_most_one_stage_high(stages: int) -> None:
    pairs = " or ".join(f"(stage_{a} and stage_{b})" for a, b in combinations(range(stages), 2))
    _, proof = explained(ring(stages, f"    must one_hot: never ({pairs})"), "one_hot")
    names = ", ".join(f"stage_{number}" for number in range(stages))
    assert proof.sentences == (f"at most one of {names} is high",)
    assert proof.clauses == stages * (stages - 1) // 2


def test_that_some_stage_of_a_ring_counter_is_high_is_inductive_as_it_stands() -> None:
    _, proof = explained(ring(3, "    must alive: stage_0 or stage_1 or stage_2"), "alive")
    assert proof.sentences == ("stage_0 or stage_1 or stage_2",)


def test_neighbours_apart_in_a_ring_of_four_need_no_word_about_stages_that_face_each_other() -> None:
    _, proof = explained(ring(4, "    must neighbours: never (stage_0 and stage_1)"), "neighbours")
    assert set(proof.sentences) == {
        "never (stage_0 and stage_1)",
        "never (stage_1 and stage_2)",
        "never (stage_2 and stage_3)",
        "never (stage_0 and stage_3)",
    }


PETERSON = """\
circuit two_players
    input  clock free running
    input  second by hand
    input  wants_a by hand
    input  wants_b by hand
    output rings_a, rings_b
    must exclusion: never (rings_a and rings_b)
    must whose_turn_a: (rings_a and waits_b) only when turn_a
    must whose_turn_b: (rings_b and waits_a) only when not turn_a
    a_moves = not second
    b_moves = second
    idle_a  = not asks_a and not waits_a and not rings_a
    idle_b  = not asks_b and not waits_b and not rings_b
    flag_a  = asks_a or waits_a or rings_a
    flag_b  = asks_b or waits_b or rings_b
    enter_a = waits_a and (not flag_b or turn_a)
    enter_b = waits_b and (not flag_a or not turn_a)
    asks_a  = flipflop(if a_moves then idle_a and wants_a else asks_a) on rise of clock start 0
    waits_a = flipflop(if a_moves then asks_a or (waits_a and not enter_a) else waits_a) on rise of clock start 0
    rings_a = flipflop(if a_moves then enter_a else rings_a) on rise of clock start 0
    asks_b  = flipflop(if b_moves then idle_b and wants_b else asks_b) on rise of clock start 0
    waits_b = flipflop(if b_moves then asks_b or (waits_b and not enter_b) else waits_b) on rise of clock start 0
    rings_b = flipflop(if b_moves then enter_b else rings_b) on rise of clock start 0
    given_a = a_moves and asks_a
    given_b = b_moves and asks_b
    turn_a  = flipflop((turn_a and not given_a) or given_b) on rise of clock start 0
"""
"""Peterson's rule for two ("Myths about the mutual exclusion problem", 1981, from memory). Each rise of the clock is
one step of the player that `second` names: raise the flag, give the turn away, wait, ring. `turn_a`: A has the turn."""


@pytest.fixture(scope="module")
def petersons_rule() -> tuple[Explanation, ProofWords]:
    return explained(PETERSON, "exclusion")


def test_the_lines_about_petersons_rule_prove_each_other_when_put_into_the_file(
    petersons_rule: tuple[Explanation, ProofWords],
) -> None:
    _, proof = petersons_rule
    assert proof.as_claims
    assert any("turn_a" in sentence for sentence in proof.sentences)
    assert all(name in " ".join(proof.sentences) for name in ("rings_a", "rings_b", "waits_a", "waits_b"))
    lines = [f"    must line_{number}: {sentence}\n" for number, sentence in enumerate(proof.sentences)]
    judged = verdicts(PETERSON + "".join(lines))
    assert {judged[f"line_{number}"].removesuffix(" (empty)") for number in range(len(lines))} == {"proved"}
    assert {judged[name] for name in ("exclusion", "whose_turn_a", "whose_turn_b")} == {"proved"}


def test_petersons_rule_leans_on_no_choice_of_who_has_the_turn_first(
    petersons_rule: tuple[Explanation, ProofWords],
) -> None:
    explanation, _ = petersons_rule
    leaning = {one.name: one.leaning.value for one in explanation.leaned}
    assert leaning["turn_a"] == "does not lean on"


# Own computation: G5 and G6 are never both high, as G10 and G11, which they take over, never are.
def test_the_invariant_of_s27_is_that_two_of_its_registers_are_apart() -> None:
    explanation, proof = explained(s27(0, NEVER_BOTH), "never_both")
    assert proof.sentences == ("never (G5 and G6)",)
    (given,) = (one for one in explanation.leaned if one.name == "still_at_the_clock")
    assert given.leaning is Leaning.LEANS
