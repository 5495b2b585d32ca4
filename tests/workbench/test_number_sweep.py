"""A number of the file varied: every point is what judging the varied file gives."""

from __future__ import annotations

from pathlib import Path

import pytest

import verifier
from verifier.errors import CallError
from verifier.workbench.number_sweep import asked_sweep, sweeps

GATED = """
family brisk
    and    takes 1..2 ns
    latch  takes 1..3 ns

circuit gated
    delays from brisk
    input  tempo free running high 16..18 ns, low 16..18 ns
    input  play  by hand apart 20 ns
    output beat
    given play_rests: never (play changes and play changes within the last 3 ns)
    must shortest_pulse: pulses of beat last at least ? ns
    open = latch(play) while tempo low
    beat = tempo and open
"""


def load(tmp_path: Path, text: str) -> verifier.WiringFile:
    file = tmp_path / "gated.wiring"
    file.write_text(text, encoding="utf-8")
    return verifier.load(file)


def test_a_whole_pulse_of_tempo_less_the_spread_of_the_gate(tmp_path: Path) -> None:
    """By hand: a pulse of `beat` is one of tempo, 2 - 1 ns shorter at most; a pause is one of 16 ns, 1 ns shorter."""
    (sweep,) = sweeps(load(tmp_path, GATED).designs, [asked_sweep("high of tempo 8..20 step 4")], limit=300)
    assert (sweep.circuit, sweep.claim, sweep.value_unit) == ("gated", "shortest_pulse", "ns")
    assert [(point.given, point.value) for point in sweep.points] == [
        (high, min(high, 16) - 1) for high in (8, 12, 16, 20)
    ]


def test_every_point_is_what_the_varied_file_gives(tmp_path: Path) -> None:
    (sweep,) = sweeps(load(tmp_path, GATED).designs, [asked_sweep("apart of play 10..20 step 10")], limit=300)
    for point in sweep.points:
        varied = load(tmp_path, GATED.replace("apart 20", f"apart {point.given}"))
        (result,) = verifier.check(varied, claim="shortest_pulse", limit=300).designs
        (claim,) = result.claims
        assert claim.measured is not None
        assert claim.measured.value == point.value


def test_what_is_not_decided_in_time_is_said_to_be_so(tmp_path: Path) -> None:
    (sweep,) = sweeps(load(tmp_path, GATED).designs, [asked_sweep("high of tempo 8..9")], limit=1e-6)
    assert [point.value for point in sweep.points] == [None, None]
    assert all(point.told.startswith("undecided") for point in sweep.points)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("tempo 8..20", "no sweep"),
        ("high of tempo 20..8", "no numbers"),
        ("high of tempo 1..2000", "2000 points"),
        ("high of tempo 8..9 step 0", "no numbers"),
    ],
)
def test_what_is_no_sweep_is_refused_with_a_hint(text: str, told: str) -> None:
    with pytest.raises(CallError, match=told) as refused:
        asked_sweep(text)
    assert refused.value.hint


@pytest.mark.parametrize("text", ["high of tempos 8..9", "apart of tempo 8..9", "given play_rest 2..3"])
def test_a_number_that_no_circuit_has_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(CallError, match="no circuit has a number"):
        sweeps(load(tmp_path, GATED).designs, [asked_sweep(text)], limit=60)


def test_the_number_of_a_given_can_be_varied(tmp_path: Path) -> None:
    (sweep,) = sweeps(load(tmp_path, GATED).designs, [asked_sweep("given play_rests 3..4")], limit=300)
    assert [point.given for point in sweep.points] == [3, 4]
    assert [point.value for point in sweep.points] == [15, 15]


def test_a_circuit_without_a_question_mark_has_nothing_to_plot(tmp_path: Path) -> None:
    with pytest.raises(CallError, match=r"has a claim with a `\?`"):
        sweeps(load(tmp_path, GATED.replace("? ns", "12 ns")).designs, [asked_sweep("high of tempo 8..9")], limit=60)
