"""What the page of `explain` says, on circuits of our own."""

from __future__ import annotations

from pathlib import Path

import verifier
from verifier.evidence.explanation import Explanation, Reason
from verifier.report.explain_page import explain_lines
from verifier.report.pieces import plain_text

STROKE_REGISTER = """\
circuit stroke_register
    input  tempo free running
    input  strike by hand
    input  hush by hand
    output first, second, bell
    must slow: bell rises only when not before before strike
    first  = flipflop(strike) on rise of tempo start 0
    second = flipflop(first and not hush) on rise of tempo start 0
    bell   = second
"""
ROUND = """\
circuit round_of_three
    input  tempo free running
    output a, b, c
    must one_at_a_time: never (a and b)
    must goes_round: a again and again
    a = flipflop(c) on rise of tempo start 1
    b = flipflop(a) on rise of tempo start 0
    c = flipflop(b) on rise of tempo start 0
"""


def page(folder: Path, text: str, claim: str, width: int = 80) -> str:
    return plain_text(explain_lines(_explanation(folder, text, claim), width=width))


def _explanation(folder: Path, text: str, claim: str) -> Explanation:
    path = folder / "bells.wiring"
    path.write_text(text)
    return verifier.explain(verifier.load(path), claim)


def test_each_step_says_what_it_comes_of(tmp_path: Path) -> None:
    told = page(tmp_path, STROKE_REGISTER, "slow")
    assert "second rises: clocked, as tempo rises; before, first is high and hush is low" in " ".join(told.split())
    assert "first rises: clocked, as tempo rises; before, strike is high" in " ".join(told.split())
    assert "bell rises, as second rises" in told


def test_what_does_not_matter_is_a_dot_and_stands_in_no_brackets(tmp_path: Path) -> None:
    told = page(tmp_path, STROKE_REGISTER, "slow")
    rows = [row for row in told.splitlines() if row.strip()[:1].isdigit() and "  " in row.strip()]
    assert any(" . " in row for row in rows)
    assert "[.]" not in told


def test_three_bits_of_which_one_is_high_are_told_as_one_sentence(tmp_path: Path) -> None:
    assert "at most one of a, b, c is high" in page(tmp_path, ROUND, "one_at_a_time")


def test_a_proof_about_endless_runs_says_how_many_rounds_it_counts(tmp_path: Path) -> None:
    told = " ".join(page(tmp_path, ROUND, "goes_round").split())
    assert "None gets through" in told
    assert (
        "leans on tempo free running: it keeps changing for ever (without it an endless run breaks the claim)" in told
    )


def test_nothing_is_wider_than_the_page(tmp_path: Path) -> None:
    for claim in ("slow",):
        assert max(map(len, page(tmp_path, STROKE_REGISTER, claim, 60).splitlines()[1:])) <= 60
    for claim in ("one_at_a_time", "goes_round"):
        assert max(map(len, page(tmp_path, ROUND, claim, 60).splitlines()[1:])) <= 60


def test_causes_are_told_before_what_comes_of_them(tmp_path: Path) -> None:
    explanation = _explanation(tmp_path, STROKE_REGISTER, "slow")
    assert isinstance(explanation.reason, Reason)
    places = {link.at: place for place, link in enumerate(explanation.reason.links)}
    assert places
    for link in explanation.reason.links:
        assert all(places[cause] < places[link.at] for cause in link.because)
    steps = [link.at.step for link in explanation.reason.links]
    assert steps == sorted(steps)


def test_dots_that_the_rules_leave_no_choice_about_do_not_claim_to_be_free(tmp_path: Path) -> None:
    text = (
        "circuit rude\n    input low_key, high_key\n    output rung\n    given one_hand: never (low_key and high_key)\n"
        "    must silent: not rung\n    rung = high_key\n"
    )
    told = " ".join(page(tmp_path, text, "silent").split())
    assert "by the rules about inputs and the givens; no other input sequence has these values" in told
    assert "may be either way" not in told
    free = " ".join(
        page(tmp_path, text.replace("    given one_hand: never (low_key and high_key)\n", ""), "silent").split()
    )
    assert "may be either way" in free
    assert "no other input sequence" not in free


def test_a_broken_claim_of_the_any_delay_view_is_printed_once_and_a_proved_one_too(tmp_path: Path) -> None:
    text = """\
circuit striker
    input  low_key, high_key by hand
    output bell, hush
    must clean in any delay view: bell never glitches
    must calm in any delay view: hush never glitches
    bell = low_key and not low_key
    hush = low_key and high_key
"""
    for claim, says in (("clean", "must bell never glitches"), ("calm", "must hush never glitches")):
        assert page(tmp_path, text, claim).count(says) == 1
