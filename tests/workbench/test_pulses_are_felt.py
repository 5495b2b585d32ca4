"""Pulses that begin and end within one round (12.7): these circuits once had claims proved that a board breaks."""

from __future__ import annotations

import pytest

from verifier.evidence.verdict import Verdict
from verifier.language import loads
from verifier.workbench.checking import check_design


def verdicts(circuit: str) -> dict[str, Verdict]:
    (design,) = loads(circuit, "pulses.wiring").designs
    return {result.claim.name: result.verdict for result in check_design(design, processes=0).claims}


def test_a_flip_flop_that_clears_itself_may_clock_another() -> None:
    found = verdicts(
        """
circuit one_shot
    input press by hand
    output struck
    q = flipflop(1) on rise of press clear when q high start 0
    struck = flipflop(1) on rise of q start 0
    must clean: q never glitches
    must never_struck: not struck
    can strikes: struck
"""
    )
    assert found == {
        "clean": Verdict.BROKEN,
        "never_struck": Verdict.BROKEN,
        "strikes": Verdict.SHOWN,
        "settles": Verdict.BROKEN,
    }


def test_a_flip_flop_that_presets_itself_pulses_low() -> None:
    found = verdicts(
        """
circuit low_shot
    input press by hand
    output r
    q = flipflop(0) on rise of press preset when (not q) high start 1
    r = toggle(1) on fall of q start 0
    must clean: q never glitches
    can turns: r
"""
    )
    assert found == {"clean": Verdict.BROKEN, "turns": Verdict.SHOWN, "settles": Verdict.BROKEN}


def test_a_decoded_clear_pulses_what_hangs_on_it() -> None:
    found = verdicts(
        """
circuit phases
    input a, b by hand
    output x
    up = flipflop(1) on rise of a clear when w high start 0
    dn = flipflop(1) on rise of b clear when w high start 0
    w = up and dn
    x = toggle(1) on rise of w start 0
    must never_both: never w
    must clean: w never glitches
    can counts: x
"""
    )
    assert found["clean"] is Verdict.BROKEN
    assert found["counts"] is Verdict.SHOWN
    assert found["settles"] is Verdict.BROKEN
    assert found["never_both"] is Verdict.PROVED  # between steps it is never there


def test_a_pulse_outside_loops_is_felt_as_well() -> None:
    found = verdicts(
        """
circuit taken_away
    input clk by hand
    output z
    a = flipflop(1) on rise of clk start 0
    q = flipflop(1) on rise of clk clear when a high start 0
    z = toggle(1) on rise of q start 0
    can turns: z
"""
    )
    assert found == {"turns": Verdict.SHOWN, "settles": Verdict.BROKEN}


@pytest.mark.parametrize("stages", [2, 3, 4])
def test_a_plain_ripple_counter_settles_and_counts(stages: int) -> None:
    lines = ["circuit ripple", "    input clk by hand", f"    output n[{stages}]"]
    before = "clk"
    for stage in range(stages):
        lines.append(f"    n[{stage}] = toggle(1) on fall of {before} start 0")
        before = f"n[{stage}]"
    lines.append("    must counts: n == before n or n == before n + 1")
    found = verdicts("\n".join(lines) + "\n")
    assert found == {"counts": Verdict.PROVED, "settles": Verdict.PROVED}
