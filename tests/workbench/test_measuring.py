"""What a `?` comes to: where it may stand, which way it is looked for, and what is said when there is no number."""

from __future__ import annotations

import pytest
from workbench.bell_tower import BELL_TOWER, bell_tower

import verifier
from verifier import ClaimResult, Verdict
from verifier.claims.asked_number import Growing, growing
from verifier.language import loads
from verifier.report.verdicts import run_lines


def judged(text: str, head: str = BELL_TOWER) -> ClaimResult:
    design = bell_tower(text, head=head)
    (result,) = verifier.check_design(design, limit=120.0, claims=["asked"]).claims
    return result


@pytest.mark.parametrize(
    ("claim", "value"),
    [
        # The rope's inverter may take 2 ns; then 8 ns may pass before tempo's has caught up (5..6 and 1..2 more).
        ("rope rises leads to bell == chime within ? ns", 9),
        # A pulse of the rope, 20 ns and more, begun late and ended early.
        ("pulses of chime last at least ? ns", 20 - 2 + 1),
        ("chime falls only when rope rises within the last ? ns", 2),
        # Under a negation the largest is the tightest: bell rises 1 ns or more after tempo's fall, and tempo's rise was
        # 5 ns or more before that.
        ("bell rises only when not (tempo rises within the last ? ns)", 5),
    ],
)
def test_the_tightest_number_is_the_one_before_the_first_that_fails(claim: str, value: int) -> None:
    result = judged(f"must asked: {claim}")
    assert result.verdict is Verdict.PROVED
    assert result.measured is not None
    assert result.measured.value == value
    assert result.measured.beyond in (value - 1, value + 1)
    assert result.measured.run is not None


def test_the_run_beyond_is_told_with_its_number() -> None:
    design = bell_tower("must asked: pulses of chime last at least ? ns")
    (result,) = verifier.check_design(design, limit=120.0, claims=["asked"]).claims
    told = "\n".join("".join(piece.text for piece in row) for row in run_lines(design, result, width=80))
    assert "must pulses of chime last at least 20 ns" in told
    assert "?" not in told


def test_a_pulse_of_no_width_makes_it_nought() -> None:
    result = judged("must asked: pulses of spike last at least ? ns\nspike = tempo and bell takes 0..1 ns")
    assert (result.verdict, result.measured and result.measured.value) == (Verdict.PROVED, 0)


def test_what_never_comes_is_given_up_early_with_the_numbers_that_were_tried() -> None:
    result = judged("must asked: rope rises leads to (bell and not bell) within ? ns")
    assert result.verdict is Verdict.UNDECIDED
    assert "it is broken with 0, 1, 2, 4 and so on up to" in result.reason


RIPPLE = """
circuit slow_bell
    input tempo free running high 2..3 ns, low 2..3 ns
    output eighth
    half    = toggle(1) on rise of tempo start 0 takes 1 ns
    quarter = toggle(1) on fall of half start 0 takes 1 ns
    eighth  = toggle(1) on fall of quarter start 0 takes 1 ns
    must soon: eighth falls leads to eighth rises within ? ns
"""


def test_a_counter_may_wait_much_longer_than_its_delays_add_up_to() -> None:
    """From a fall to the next rise four periods of the input pass: 4 * (3 + 3) ns."""
    (result,) = verifier.check(loads(RIPPLE, "ripple.wiring"), claim="soon").designs[0].claims
    assert (result.verdict, result.measured and result.measured.value) == (Verdict.PROVED, 24)


def test_where_a_larger_number_neither_always_helps_nor_hurts_there_is_no_answer() -> None:
    result = judged("must asked: (bell xor (rope changes within the last ? ns)) or chime or bell")
    assert result.verdict is Verdict.UNDECIDED
    assert "neither always helps" in result.reason


@pytest.mark.parametrize(
    ("given", "claim", "value"),
    [
        # Chime moves up to 2 ns after the rope: a tempo that moves at that very time must be ruled out, no later one.
        (
            "never ((rope changes within the last ? ns) and (tempo changes within the last ? ns))",
            "never (chime changes and (tempo changes within the last 1 ns))",
            2,
        ),
        # The inverter takes up to 2 of the 4 ns.
        ("rope changes only when tempo changes within the last ? ns", "chime changes only when due", 2),
    ],
)
def test_a_given_is_asked_for_the_loosest_world_in_which_the_claim_is_proved(
    given: str, claim: str, value: int
) -> None:
    due = "let due = tempo changes within the last 4 ns"
    result = judged(f"{due}\ngiven leaned_on: {given}\nmust asked in timed view: {claim}")
    assert result.measured is not None
    assert (result.verdict, result.measured.value, result.measured.of) == (Verdict.PROVED, value, "leaned_on")


def test_the_distance_of_hands_is_named_by_its_inputs() -> None:
    result = judged("must asked: pulses of chime last at least 7 ns", BELL_TOWER.replace("apart 20 ns", "apart ? ns"))
    assert result.measured is not None
    # 7 ns, and what the inverter takes from a pulse.
    assert (result.measured.value, result.measured.of) == (7 + 2 - 1, "apart of rope")


@pytest.mark.parametrize(
    ("formula", "way"),
    [
        ("bell rises within the last ? ns", Growing.MORE),
        ("never (bell rises within the last ? ns)", Growing.FEWER),
        ("bell only when not (bell rises within the last ? ns)", Growing.FEWER),
        ("(bell rises within the last ? ns) only when bell", Growing.FEWER),
        ("bell leads to chime within ? ns", Growing.MORE),
        ("pulses of bell last at least ? ns", Growing.FEWER),
        ("(bell rises within the last ? ns) xor bell", Growing.UNCLEAR),
        ("bell at the last (bell rises within the last ? ns)", Growing.UNCLEAR),
        ("never ((bell rises within the last ? ns) and not (bell falls within the last ? ns))", Growing.UNCLEAR),
        ("bell == chime", None),
    ],
)
def test_which_way_a_formula_goes_follows_from_where_its_number_stands(formula: str, way: Growing | None) -> None:
    design = bell_tower(f"must asked in timed view: {formula}")
    asked = next(claim for claim in design.claims if claim.name == "asked")
    assert growing(asked.formula) is way
