"""Claims about the future through the whole workbench: endless runs that the simulator confirms, and proofs."""

from __future__ import annotations

from pathlib import Path

import pytest

from verifier.evidence.verdict import ClaimResult, Verdict
from verifier.workbench import whole_loop
from verifier.workbench.checking import check

REGISTERS = """\
circuit two_registers
    input  tempo  free running
    input  lever  by hand
    input  choose by hand
    output beat
    must tempo_takes_over: choose for good leads to beat == tempo for good
    can  falls_silent:     not beat for good
    can  both_for_ever:    always (on_tempo and on_lever)
    on_tempo = flipflop(choose and not on_lever) on fall of tempo start 0
    on_lever = flipflop(not choose and not on_tempo) on fall of lever start 1
    beat     = (tempo and on_tempo) or (lever and on_lever)
"""
COUNTED = (
    REGISTERS
    + """\
    half  = flipflop(not half) on rise of tempo start 0
    third = flipflop(not third) on rise of half start 0
"""
)


def judged(folder: Path, text: str) -> dict[str, ClaimResult]:
    path = folder / "bells.wiring"
    path.write_text(text)
    (design,) = check(path).designs
    return {claim.claim.name: claim for claim in design.claims}


def test_an_endless_breach_and_a_showing_come_with_a_loop_and_a_proof_with_an_invariant(tmp_path: Path) -> None:
    results = judged(tmp_path, REGISTERS)
    assert {name: result.verdict for name, result in results.items()} == {
        "tempo_takes_over": Verdict.BROKEN,
        "falls_silent": Verdict.SHOWN,
        "both_for_ever": Verdict.IMPOSSIBLE,
        "settles": Verdict.PROVED,
    }
    for name in ("tempo_takes_over", "falls_silent"):
        run = results[name].run
        assert run is not None
        assert run.loop_from is not None
        assert run.instants[run.loop_from :] != run.instants[: run.loop_from]


def test_a_counter_beside_the_claim_has_come_round_when_the_loop_closes(tmp_path: Path) -> None:
    run = judged(tmp_path, COUNTED)["tempo_takes_over"].run
    assert run is not None
    assert run.loop_from is not None
    # `third` changes with every fourth change of tempo, so the whole circuit comes round with every eighth.
    assert (len(run) - run.loop_from) % 8 == 0


def test_a_circuit_that_takes_too_long_to_come_round_leaves_the_claim_undecided(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(whole_loop, "INSTANTS_AT_MOST", 6)
    result = judged(tmp_path, COUNTED)["tempo_takes_over"]
    assert result.verdict is Verdict.UNDECIDED
    assert result.run is None
    assert "do not come back" in result.reason
