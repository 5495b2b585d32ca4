"""What the timed specs measure, against the same numbers worked out by hand from the delays in the files.

A pulse that goes through gates loses at most the sum of their (high - low). A number in a given is the largest distance
that must be ruled out: the news takes its whole path to arrive, and what it should stop fires if it has had its own
lower bound by then, so the path less that bound.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pytest

import verifier
from verifier.evidence.verdict import Measured

SHELF = Path(__file__).resolve().parents[2] / "specs"


@dataclass(frozen=True)
class ByHand:
    """One measured claim and the number it must come to."""

    file: str
    circuit: str
    claim: str
    value: int
    of: str = ""
    """The given that was measured, where it is not the claim itself."""


NUMBERS = [
    # Only as long as the last gate can be quick.
    ByHand("beat_in_time", "plain_mux", "shortest_pulse", 1),
    # 14 ns of tempo, late into the pulse through AND and OR (2 + 2), early out of it (1 + 1).
    ByHand("beat_in_time", "two_registers", "shortest_pulse", 14 - (2 + 2) + (1 + 1)),
    # The register lets go late, 3 and 2 ns after tempo's fall; tempo is through early, 14 and then 1 and 1.
    ByHand("beat_in_time", "in_step", "shortest_pulse", (14 + 1 + 1) - (3 + 2)),
    # The lever's fall, late through two NANDs; tempo's rise, 15 ns after it and early through two NANDs.
    ByHand("hand_over_in_time", "three_terms", "shortest_pulse", 15 + (1 + 1) - (3 + 3)),
    # set_n, reset_n, on_lever, on_tempo one after the other; nand(tempo, on_tempo) must not have had its 1 ns.
    ByHand("hand_over_in_time", "asks_for_distance", "full_pulses", 4 * 3 - 1, of="choose_keeps_off"),
    # One AND decides how short a spike can be.
    ByHand("ripple_in_time", "decode_the_ripple", "shortest_stroke", 1),
    # A period of the fastest tempo, begun late and ended early by one flip-flop.
    ByHand("ripple_in_time", "decode_at_rest", "shortest_stroke", (16 + 16) - (3 - 1)),
    # Three toggles and the AND; the middle bit's inverter is quicker than a toggle.
    ByHand("ripple_in_time", "decode_at_rest", "ripple_takes", 3 + 3 + 3 + 2),
    # One AND for tempo, steady on its other side while tempo is high.
    ByHand("gated_in_time", "latch_and_gate", "shortest_pulse", 16 - (2 - 1)),
    ByHand("gated_in_time", "flipflop_and_gate", "shortest_pulse", 16 - (2 - 1)),
    # 2 ns before an edge is just the set-up: not to be relied on. Then two periods and one delay.
    ByHand("synchroniser_in_time", "two_stages", "comes_within", 2 + 24 + 24 + 3),
    ByHand("synchroniser_in_time", "one_stage", "comes_within", 2 + 24 + 3),
    # The first stage on tempo's fall: half a period from there to the second.
    ByHand("synchroniser_in_time", "on_both_edges", "comes_within", 2 + 24 + 12 + 3),
    # A touch goes once round the pair before the touched gate can let go again.
    ByHand("lever_in_time", "how_long_a_touch", "falls_from_below", 2 + 2 - 1, of="touches"),
]


def measured(path: Path, circuit: str, claim: str) -> Measured:
    (design,) = verifier.check(path, circuit=circuit, claim=claim, limit=600.0).designs
    (result,) = design.claims
    assert result.measured is not None, f"{result.verdict}: {result.reason}"
    return result.measured


@pytest.mark.parametrize("by_hand", NUMBERS, ids=lambda n: f"{n.file}-{n.circuit}-{n.claim}")
def test_a_measured_number_is_what_the_delays_add_up_to(by_hand: ByHand) -> None:
    found = measured(SHELF / f"{by_hand.file}.wiring", by_hand.circuit, by_hand.claim)
    assert (found.value, found.unit, found.of) == (by_hand.value, "ns", by_hand.of)
    assert found.beyond is not None
    assert abs(found.beyond - found.value) == 1
    assert found.run is not None


@pytest.mark.parametrize(("low", "high"), [(1, 1), (1, 2), (2, 2), (1, 3), (2, 3)])
def test_the_set_up_of_six_nands_is_two_gates_and_their_hold_is_one(tmp_path: Path, low: int, high: int) -> None:
    """Data's fall goes through `loaded` and `low_side` before the strobe; after it, `high_side` or `sampled` shuts."""
    path = respelt(tmp_path, "nands_in_time", "nand  takes 1..2 ns", f"nand  takes {low}..{high} ns")
    path.write_text(re.sub(r"(within|within the last) 8 ns", r"\1 12 ns", path.read_text()))
    found = measured(path, "set_up_of_the_nands", "takes_it")
    assert (found.value, found.of) == (2 * high - low, "steady_before")
    found = measured(path, "hold_of_the_nands", "takes_it")
    assert (found.value, found.of) == (high - low, "steady_after")


@pytest.mark.parametrize(("low", "high"), [(1, 1), (1, 2), (2, 2), (1, 3), (2, 3), (1, 4)])
def test_a_touch_has_to_go_once_round_the_pair(tmp_path: Path, low: int, high: int) -> None:
    path = respelt(tmp_path, "lever_in_time", "nand, not  takes 1..2 ns", f"nand, not  takes {low}..{high} ns")
    assert measured(path, "how_long_a_touch", "falls_from_below").value == 2 * high - low


@pytest.mark.parametrize(("low", "high"), [(1, 2), (2, 2), (2, 3)])
def test_the_choice_must_be_taken_over_before_tempo_moves(tmp_path: Path, low: int, high: int) -> None:
    path = respelt(tmp_path, "hand_over_in_time", "nand, xnor  takes 1..3 ns", f"nand, xnor  takes {low}..{high} ns")
    assert measured(path, "asks_for_distance", "full_pulses").value == 4 * high - low


def respelt(folder: Path, file: str, old: str, new: str) -> Path:
    """A copy of the spec in which a line is replaced that stands there once."""
    text = (SHELF / f"{file}.wiring").read_text()
    assert text.count(old) == 1
    path = folder / f"{file}.wiring"
    path.write_text(text.replace(old, new))
    return path
