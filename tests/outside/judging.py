"""Judges wiring text through the public face, and reads verdicts and lengths off the results."""

from __future__ import annotations

from pathlib import Path

import verifier
from verifier import ClaimResult, Design, Verdict
from verifier.language import loads

HERE = Path(__file__).resolve().parent
LIMIT_SECONDS = 20.0


def design_of(text: str) -> Design:
    """The only circuit in this text; the text must give no warning."""
    found = loads(text, "outside.wiring")
    assert found.warnings == (), found.warnings
    (design,) = found.designs
    return design


def judged(design: Design) -> dict[str, ClaimResult]:
    """Claim name to result; nothing may be left undecided."""
    results = {result.claim.name: result for result in verifier.check_design(design, limit=LIMIT_SECONDS).claims}
    undecided = {name: result.reason for name, result in results.items() if result.verdict is Verdict.UNDECIDED}
    assert not undecided
    return results


def verdicts(text: str) -> dict[str, str]:
    """Claim name to verdict, with `(empty)` behind it where its trigger can never happen."""
    return words(judged(design_of(text)))


def words(results: dict[str, ClaimResult]) -> dict[str, str]:
    return {name: result.verdict.value + (" (empty)" if result.empty else "") for name, result in results.items()}


def lengths(text: str) -> dict[str, int | None]:
    """Claim name to the number of instants in the run that comes with the verdict, or None when there is no run."""
    results = judged(design_of(text))
    return {name: None if result.run is None else len(result.run) for name, result in results.items()}


def circuits_of(file_name: str) -> dict[str, Design]:
    """Circuit name to design, of a file in this folder; the file must give no warning."""
    found = verifier.load(HERE / file_name)
    assert found.warnings == (), found.warnings
    return {design.name: design for design in found.designs}


def expected_words(design: Design) -> dict[str, str]:
    """What the file itself expects: every claim holds, except those in the circuit's `breaks` list."""
    kept = {"must": "proved", "always there": "proved", "can": "shown"}
    lost = {"must": "broken", "always there": "broken", "can": "impossible"}
    return {c.name: (lost if c.expected_to_break else kept)[c.kind.value] for c in design.claims}
