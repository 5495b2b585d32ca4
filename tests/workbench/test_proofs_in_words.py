"""Proofs of a whole report in words: each sentence is judged as a claim of the same circuit, and is proved."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import pytest

import verifier
from verifier.claims.claim import View
from verifier.evidence.verdict import FileResult, Verdict
from verifier.workbench.proofs_in_words import NOT_IN_TIME, NOT_TOLD, proofs_in_words

SPECS = Path(__file__).resolve().parents[2] / "specs"
NAMES = ("beat_source", "crank_interlock", "lever_in_time", "shift_register")


def judged(path: Path) -> FileResult:
    return verifier.check(path, view="settled", limit=300, processes=0, wishes=verifier.Wishes(certificates=True))


@pytest.mark.parametrize("name", NAMES)
def test_every_settled_proof_of_the_shelf_has_words(name: str) -> None:
    found = judged(SPECS / f"{name}.wiring")
    proofs = proofs_in_words(found.designs, time.monotonic() + 300)
    proved = {
        (result.design.file, result.design.name, claim.claim.name)
        for result in found.designs
        for claim in result.claims
        if claim.verdict in (Verdict.PROVED, Verdict.IMPOSSIBLE) and claim.claim.view is View.SETTLED
    }
    assert proofs.keys() == proved
    assert all(proof.sentences or proof.alone or proof.notes for proof in proofs.values())
    assert not any(NOT_TOLD in proof.notes for proof in proofs.values())


def test_each_sentence_is_a_true_claim_of_its_circuit(tmp_path: Path) -> None:
    path = SPECS / "beat_source.wiring"
    proofs = proofs_in_words(judged(path).designs, time.monotonic() + 300)
    text = path.read_text(encoding="utf-8")
    stated = 0
    for (_, circuit, claim), proof in proofs.items():
        lines = "".join(f"    must told_{place}: {told}\n" for place, told in enumerate(proof.sentences))
        if not lines:
            continue
        head = next(line for line in text.splitlines() if line.startswith(f"circuit {circuit} "))
        file = tmp_path / "told.wiring"
        file.write_text(text.replace(head, f"{head}\n{lines.rstrip()}"), encoding="utf-8")
        names = [f"told_{place}" for place in range(len(proof.sentences))]
        (result,) = verifier.check(file, circuit, names, limit=300, processes=0).designs
        assert [c.verdict for c in result.claims] == [Verdict.PROVED] * len(names), claim
        stated += len(names)
    assert stated > 10


def test_a_system_that_is_not_of_this_circuit_gets_no_words() -> None:
    found = judged(SPECS / "shift_register.wiring")
    first, second = found.designs[:2]
    mixed = replace(first, design=replace(first.design, netlist=second.design.netlist))
    proofs = proofs_in_words([mixed], time.monotonic() + 300)
    assert proofs
    assert all(proof.notes == (NOT_TOLD,) for proof in proofs.values())


def test_without_time_it_is_said_that_words_are_missing() -> None:
    found = judged(SPECS / "shift_register.wiring")
    assert {proof.notes for proof in proofs_in_words(found.designs, 0.0).values()} == {(NOT_IN_TIME,)}
