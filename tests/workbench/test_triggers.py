"""Whether the trigger of a claim can happen at all, and the run that shows it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from verifier.claims.meaning import evaluate
from verifier.claims.trigger import trigger_of
from verifier.cli import main
from verifier.errors import InternalDisagreement
from verifier.evidence.verdict import ClaimResult, Trigger, Verdict
from verifier.workbench import judge as judging
from verifier.workbench.checking import check
from verifier.workbench.judge import Wishes

BELLS = """\
circuit bells
    input  low_key, high_key
    output low_bell, high_bell
    must proper:  high_bell rises only when high_key rises or low_key falls
    must idle:    never (low_bell and high_bell)
    must vacant:  low_bell and high_bell only when low_key
    must wrong:   low_bell implies high_bell
    must waits:   low_key for good leads to low_bell for good
    can  ring:    low_bell
    low_bell  = low_key
    high_bell = high_key and not low_key
"""
EXPECTED = {
    "proper": (Verdict.PROVED, Trigger.HAPPENS),
    "idle": (Verdict.PROVED, Trigger.NONE),
    "vacant": (Verdict.PROVED, Trigger.NEVER),
    "wrong": (Verdict.BROKEN, Trigger.HAPPENS),
    "waits": (Verdict.PROVED, Trigger.HAPPENS),
    "ring": (Verdict.SHOWN, None),
    "settles": (Verdict.PROVED, None),
}


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "bells.wiring"
    path.write_text(BELLS)
    return path


def judged(file: Path, *, witnesses: bool) -> dict[str, ClaimResult]:
    (design,) = check(file, wishes=Wishes(witnesses=witnesses)).designs
    return {claim.claim.name: claim for claim in design.claims}


@pytest.mark.parametrize("witnesses", [False, True])
def test_each_must_says_whether_its_trigger_can_happen(file: Path, witnesses: bool) -> None:
    results = judged(file, witnesses=witnesses)
    assert {name: (result.verdict, result.trigger) for name, result in results.items()} == EXPECTED
    assert [name for name, result in results.items() if result.empty] == ["vacant"]


def test_a_witness_is_a_replayed_run_on_which_the_trigger_holds_at_the_last_instant_and_not_before(file: Path) -> None:
    results = judged(file, witnesses=True)
    assert {name for name, result in results.items() if result.witness is not None} == {"proper", "wrong", "waits"}
    for name in ("proper", "wrong"):
        run, trigger = results[name].witness, trigger_of(results[name].claim)
        assert run is not None
        assert trigger is not None
        assert evaluate(trigger, run) == (*[0] * (len(run) - 1), 1)
    endless = results["waits"].witness
    assert endless is not None
    assert endless.loop_from is not None


def test_no_witnesses_are_looked_for_unasked(file: Path) -> None:
    assert all(result.witness is None for result in judged(file, witnesses=False).values())


def test_a_broken_claim_whose_trigger_never_happens_would_be_a_disagreement(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def empty(model: judging.SettledModel, claim: object) -> judging.TransitionSystem:
        del claim
        return judging.dataclasses.replace(model.permitted_system(), bad=0)

    monkeypatch.setattr(judging.SettledModel, "trigger_system", empty)
    with pytest.raises(InternalDisagreement, match=r"claim wrong: .*can never happen"):
        check(file, claim="wrong", wishes=Wishes(witnesses=True))


def test_the_command_tells_the_triggers_and_prints_their_runs(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(file), "--witness", "--quiet"]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert "  proved      proper   (its trigger can happen)" in lines
    assert "  proved      idle     (no trigger: it asks at every instant)" in lines
    assert "  proved      vacant   (empty: its trigger can never happen)" in lines
    assert "bells: the trigger of proper can happen" in lines
    assert "    it happens at step 1: high_bell rises" in lines
    assert "    it happens: low_key stays high for ever from step 0 on" in lines
    assert sum("step  what to do" in line for line in lines) == 3


def test_the_record_has_triggers_and_witnesses_when_asked_for(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", str(file), "--witness", "--json", "-"])
    claims = {claim["name"]: claim for claim in json.loads(capsys.readouterr().out)["circuits"][0]["claims"]}
    assert {name: claim["trigger"] for name, claim in claims.items()} == {
        name: trigger and trigger.value for name, (_, trigger) in EXPECTED.items()
    }
    assert len(claims["proper"]["witness"]["steps"]) == 2
    assert claims["idle"]["witness"] is None
    main(["check", str(file), "--json", "-"])
    assert "witness" not in json.loads(capsys.readouterr().out)["circuits"][0]["claims"][0]
