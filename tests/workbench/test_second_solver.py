"""Every certificate of the shelf judged by a solver that took no part in finding it."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import cvc5
import pytest

import verifier

SHELF = sorted((Path(verifier.__file__).parent.parent / "specs").glob("*.wiring"))


def answers(script: str) -> list[str]:
    """What cvc5 says to the script, read by its own parser for SMT-LIB 2.6."""
    solver = cvc5.Solver()
    solver.setOption("incremental", "true")
    parser = cvc5.InputParser(solver)
    parser.setStringInput(cvc5.InputLanguage.SMT_LIB_2_6, script, "certificate")
    symbols = parser.getSymbolManager()
    said: list[str] = []
    while not (command := parser.nextCommand()).isNull():
        said += [word for word in [command.invoke(solver, symbols).strip()] if word]
    return said


def certificates(file: Path, folder: Path) -> list[str]:
    result = verifier.check(_untimed(file), limit=600.0, wishes=verifier.Wishes(certificates=True))
    proofs = [claim for design in result.designs for claim in design.claims if claim.invariant is not None]
    paths = verifier.write_certificates(folder, result.designs)
    assert len(paths) == len(proofs)
    return [path.read_text(encoding="ascii") for path in paths]


def _untimed(file: Path) -> verifier.WiringFile:
    """Without the claims of the timed view: the proof of one is a set of states, and no certificate."""
    loaded = verifier.load(file)
    kept = [
        (design, [claim for claim in design.claims if claim.view is not verifier.View.TIMED])
        for design in loaded.designs
    ]
    return replace(loaded, designs=tuple(replace(design, claims=tuple(claims)) for design, claims in kept))


def test_there_is_a_shelf() -> None:
    assert len(SHELF) > 10


@pytest.mark.parametrize("file", SHELF, ids=lambda path: path.stem)
def test_a_second_solver_agrees_with_every_proof_and_sees_through_damaged_ones(file: Path, tmp_path: Path) -> None:
    texts = certificates(file, tmp_path)
    assert texts
    for text in texts:
        assert answers(text) == ["unsat", "unsat", "unsat"]
        worse = re.sub(r"(define-fun bad \(\) Bool) .*\)", r"\1 true)", text)
        assert answers(worse) == ["unsat", "unsat", "sat"]


def test_claims_about_the_future_have_certificates_too(tmp_path: Path) -> None:
    beat_source = next(path for path in SHELF if path.stem == "beat_source")
    liveness = [text for text in certificates(beat_source, tmp_path) if "; rounds: " in text]
    assert len(liveness) == 6
    for text in liveness:
        assert answers(text) == ["unsat", "unsat", "unsat"]
        # An invariant without its clauses no longer excludes that the rounds are counted to their end.
        bare = re.sub(r"\(define-fun invariant(-next)? \(\) Bool .*\)", r"(define-fun invariant\1 () Bool true)", text)
        assert answers(bare) == ["unsat", "unsat", "sat"]
