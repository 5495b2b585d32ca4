"""Records that lie: whatever is edited in one, no claim gets a verdict that deciding it anew would not give it."""

from __future__ import annotations

import base64
import dataclasses
import json
import zlib
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import pytest
from oracle.random_designs import random_design

import verifier
from verifier.claims.claim import Claim, Design
from verifier.errors import SourceError
from verifier.evidence.gate_outcome import Evidence, GateResult, How, Recorded, StoredRun
from verifier.evidence.verdict import ClaimResult, DesignResult, Verdict
from verifier.workbench import gate_record
from verifier.workbench.gate_judging import _evidence
from verifier.workbench.judge import Judge
from verifier.workbench.rejudging import Rejudging

RING = """\
contract two_bells
    input  tempo free running
    output low_bell, high_bell
    must never_both: never (low_bell and high_bell)
    must one_waits:  low_bell falls only when once high_bell
    must rings:      low_bell again and again
    must answered:   low_bell leads to high_bell within ? rises of tempo
    can  low_rings:  low_bell rises

circuit ring fits two_bells
    low_bell  = flipflop(high_bell) on rise of tempo start 1
    high_bell = flipflop(low_bell) on rise of tempo start 0
"""
STUCK = RING.replace("flipflop(low_bell)", "flipflop(low_bell or high_bell)")
"""Both bells ring for ever after the second step."""


def gated(folder: Path, text: str, against: dict[str, Any] | None = None, *, trust: bool = False) -> GateResult:
    (folder / "bells.wiring").write_text(text)
    record = folder / "record.json"
    if against is not None:
        record.write_text(json.dumps(against))
    terms = verifier.GateTerms(
        version="1",
        against=None if against is None else str(record),
        keeps_evidence=True,
        trust_unchanged=trust,
    )
    return verifier.gate([str(folder / "bells.wiring")], terms, processes=1)


def recorded(result: GateResult) -> dict[str, Any]:
    from verifier.workbench.content_key import own_digest

    content: dict[str, Any] = json.loads(
        gate_record.record_text(gate_record.record_of(result.files, "1", own_digest()))
    )
    return content


def sealed(content: dict[str, Any]) -> dict[str, Any]:
    """With the checksum that goes with it, as a careful forger would have it."""
    content.pop("sum", None)
    return content | {"sum": gate_record._sum(content)}


def verdicts(result: GateResult) -> dict[str, tuple[str, int | None]]:
    return {
        claim.recorded.claim: (
            claim.verdict.value,
            None if claim.recorded.measured is None else claim.recorded.measured.value,
        )
        for claim in result.claims
    }


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    return recorded(gated(tmp_path_factory.mktemp("good"), RING))


@pytest.fixture(scope="module")
def stuck(tmp_path_factory: pytest.TempPathFactory) -> GateResult:
    return gated(tmp_path_factory.mktemp("stuck"), STUCK)


def copy_of(content: dict[str, Any]) -> dict[str, Any]:
    copied: dict[str, Any] = json.loads(json.dumps(content))
    return copied


def test_an_honest_record_is_judged_again_and_not_decided_anew(good: dict[str, Any], tmp_path: Path) -> None:
    result = gated(tmp_path, RING, good)
    assert {claim.how for claim in result.claims} == {How.REJUDGED}
    assert verdicts(result) == {
        "never_both": ("proved", None),
        "one_waits": ("proved", None),
        "rings": ("proved", None),
        "answered": ("proved", 1),
        "low_rings": ("shown", None),
        "settles": ("proved", None),
    }


def test_the_record_of_another_circuit_under_the_keys_of_this_one_changes_no_verdict(
    good: dict[str, Any], stuck: GateResult, tmp_path: Path
) -> None:
    """What a collision of digests, or a forger, would come to."""
    keys = {claim.recorded.claim: claim.recorded.key for claim in stuck.claims}
    forged = copy_of(good)
    for claim in forged["circuits"][0]["claims"]:
        claim["key"] = keys[claim["claim"]]
    result = gated(tmp_path, STUCK, sealed(forged))
    assert verdicts(result) == verdicts(stuck)
    assert verdicts(result)["never_both"] == ("broken", None)


def unpacked(claim: dict[str, Any]) -> str:
    return zlib.decompress(base64.b64decode(claim["proof"])).decode()


def packed(text: str) -> str:
    return base64.b64encode(zlib.compress(text.encode())).decode()


def anything_goes(proof: str) -> str:
    """The certificate with the invariant that says nothing."""
    rows = proof.splitlines()
    return "\n".join(
        "(define-fun invariant () Bool true)" if row.startswith("(define-fun invariant ()") else row for row in rows
    )


def nothing_goes(proof: str) -> str:
    """With the invariant that no state fulfils: it would prove anything, if the start were not looked at."""
    rows = proof.splitlines()
    return "\n".join(
        "(define-fun invariant () Bool (and true false))" if row.startswith("(define-fun invariant ()") else row
        for row in rows
    )


@pytest.mark.parametrize("edit", [anything_goes, nothing_goes, lambda proof: proof[:200], lambda proof: "", str.upper])
def test_an_edited_invariant_is_proved_anew(edit: Callable[[str], str], good: dict[str, Any], tmp_path: Path) -> None:
    forged = copy_of(good)
    for claim in forged["circuits"][0]["claims"]:
        if "proof" in claim:
            claim["proof"] = packed(edit(unpacked(claim)))
    result = gated(tmp_path, RING, sealed(forged))
    assert verdicts(result)["never_both"] == ("proved", None)
    hows = {claim.recorded.claim: claim.how for claim in result.claims}
    assert hows["never_both"] is How.JUDGED
    assert hows["low_rings"] is How.REJUDGED


@pytest.mark.parametrize("proof", [None, "", "not base 64", packed("(check-sat)")])
def test_a_verdict_edited_to_proved_is_not_believed(proof: str | None, stuck: GateResult, tmp_path: Path) -> None:
    forged = recorded(stuck)
    for claim in forged["circuits"][0]["claims"]:
        claim["verdict"] = "shown" if claim["kind"] == "can" else "proved"
        if proof is not None:
            claim["proof"] = proof
    result = gated(tmp_path, STUCK, sealed(forged))
    assert verdicts(result) == verdicts(stuck)


def test_a_proof_of_one_claim_under_the_name_of_another_is_not_believed(
    good: dict[str, Any], stuck: GateResult, tmp_path: Path
) -> None:
    forged = recorded(stuck)
    claims = {claim["claim"]: claim for claim in forged["circuits"][0]["claims"]}
    for name in ("never_both", "rings", "answered"):
        claims[name] |= {"verdict": "proved", "proof": claims["settles"]["proof"]}
    assert verdicts(gated(tmp_path, STUCK, sealed(forged))) == verdicts(stuck)


@pytest.mark.parametrize("measured", [{"value": 5, "beyond": 4}, {"value": 2, "beyond": 1}, {"value": 1, "beyond": 5}])
def test_an_edited_number_is_measured_anew(measured: dict[str, int], good: dict[str, Any], tmp_path: Path) -> None:
    forged = copy_of(good)
    (claim,) = (claim for claim in forged["circuits"][0]["claims"] if claim["claim"] == "answered")
    claim["measured"] |= measured
    assert verdicts(gated(tmp_path, RING, sealed(forged)))["answered"] == ("proved", 1)


def test_a_changed_circuit_is_not_recognised(good: dict[str, Any], stuck: GateResult, tmp_path: Path) -> None:
    result = gated(tmp_path, STUCK, good)
    assert {claim.how for claim in result.claims} == {How.JUDGED}
    assert verdicts(result) == verdicts(stuck)


def test_givens_that_contradict_each_other_are_refused_whatever_the_record_says(
    good: dict[str, Any], tmp_path: Path
) -> None:
    contradiction = "    given nothing: tempo and not tempo\n    must never_both"
    text = RING.replace("    must never_both", contradiction)
    before = gated(tmp_path, text)
    assert [trouble.kind.value for trouble in before.troubles] == ["wrong input"]
    design = verifier.load(tmp_path / "bells.wiring").designs[0]
    from verifier.workbench.content_key import ClaimKeys

    keys = ClaimKeys(design, "1")
    forged = copy_of(good)
    for claim in forged["circuits"][0]["claims"]:
        claim["key"] = keys.key(next(one for one in design.claims if one.name == claim["claim"]))
    after = gated(tmp_path, text, sealed(forged))
    assert [trouble.kind.value for trouble in after.troubles] == ["wrong input"]
    assert after.claims == ()


def test_an_altered_record_is_not_trusted(good: dict[str, Any], tmp_path: Path) -> None:
    forged = copy_of(good)
    for claim in forged["circuits"][0]["claims"]:
        claim.pop("proof", None)
    result = gated(tmp_path, RING, forged, trust=True)
    assert How.TRUSTED not in {claim.how for claim in result.claims}
    assert any("altered" in notice for notice in result.notices)


def test_a_record_by_another_build_is_not_trusted(good: dict[str, Any], tmp_path: Path) -> None:
    forged = copy_of(good) | {"made_by": "0" * 64}
    for claim in forged["circuits"][0]["claims"]:
        claim.pop("proof", None)
    result = gated(tmp_path, RING, sealed(forged), trust=True)
    assert How.TRUSTED not in {claim.how for claim in result.claims}
    assert any("another build" in notice for notice in result.notices)


# Random circuits, random forgeries


def judged(design: Design) -> DesignResult | None:
    """By the judge itself: the alarm of a whole call would ring in the middle of a slow test run."""
    wishes = verifier.Wishes(witnesses=True, certificates=True)
    try:
        judge = Judge(design, limit_seconds=20.0, depth=None, wishes=wishes)
    except SourceError:
        return None
    claims = tuple(judge.judge(claim, 5.0) for claim in judge.design.claims)
    return DesignResult(design=judge.design, claims=claims, assumes=())


def as_recorded(claim: Claim, result: ClaimResult, evidence: Evidence) -> Recorded:
    return Recorded(
        claim=claim.name,
        kind=claim.kind.value,
        view=claim.view.value,
        says="",
        stated="",
        key="",
        verdict=result.verdict,
        empty=result.empty,
        evidence=evidence,
    )


def forged(recorded: Recorded, others: list[Recorded], random: Random) -> Recorded:
    other = random.choice(others)
    match random.randrange(5):
        case 0:
            return dataclasses.replace(recorded, verdict=random.choice(list(Verdict)), empty=False)
        case 1:
            return dataclasses.replace(recorded, verdict=other.verdict, evidence=other.evidence, empty=False)
        case 2:
            mixed = dataclasses.replace(recorded.evidence, proof=other.evidence.proof, witness=other.evidence.witness)
            return dataclasses.replace(recorded, verdict=Verdict.PROVED, evidence=mixed, empty=False)
        case 3:
            run = random.choice([recorded.evidence.run, other.evidence.run, other.evidence.witness])
            changed = dataclasses.replace(recorded.evidence, run=_with_a_flip(run, random))
            return dataclasses.replace(recorded, verdict=Verdict.BROKEN, evidence=changed)
        case _:
            proof = recorded.evidence.proof
            changed = dataclasses.replace(recorded.evidence, proof=proof.replace("(not ", "(and ", 1))
            return dataclasses.replace(recorded, verdict=Verdict.IMPOSSIBLE, evidence=changed, empty=False)


def _with_a_flip(run: StoredRun | None, random: Random) -> StoredRun | None:
    if run is None:
        return None
    rows = list(run.instants)
    at, place = random.randrange(len(rows)), random.randrange(len(rows[0]))
    rows[at] = rows[at][:place] + ("0" if rows[at][place] == "1" else "1") + rows[at][place + 1 :]
    return dataclasses.replace(run, instants=tuple(rows))


def test_no_forgery_gives_a_random_circuit_another_verdict() -> None:
    random = Random(7)
    honest = confirmed = refused = 0
    for _ in range(14):
        result = judged(random_design(random))
        if result is None:
            continue
        truth = {claim.claim.name: claim.verdict for claim in result.claims}
        records = [as_recorded(claim.claim, claim, _evidence(result, claim)) for claim in result.claims]
        rejudging = Rejudging(result.design, 5.0)
        for claim, record in zip(result.claims, records, strict=True):
            again = rejudging.result(claim.claim, record)
            assert again is None or again.verdict is claim.verdict
            honest += again is not None
            for _ in range(5):
                lie = rejudging.result(claim.claim, forged(record, records, random))
                confirmed, refused = confirmed + (lie is not None), refused + (lie is None)
                assert lie is None or truth[claim.claim.name] in (lie.verdict, Verdict.UNDECIDED)
    assert honest > 15
    assert confirmed > 5
    assert refused > 30
