"""Identities of what stands on the page, and the few words and marks that its parts share."""

from __future__ import annotations

from verifier.claims.claim import Claim, View
from verifier.evidence.verdict import ClaimResult, Verdict
from verifier.report.page.markup import Markup, element

MARKS = {
    Verdict.PROVED: "\u25cf",
    Verdict.SHOWN: "\u25cf",
    Verdict.BROKEN: "\u25c6",
    Verdict.IMPOSSIBLE: "\u25c6",
    Verdict.UNDECIDED: "\u25cb",
}
"""Disc, diamond, ring: a verdict is told by its word and its shape, never by colour alone."""

TONES = {
    Verdict.PROVED: "good",
    Verdict.SHOWN: "good",
    Verdict.BROKEN: "bad",
    Verdict.IMPOSSIBLE: "bad",
    Verdict.UNDECIDED: "open",
}


def circuit_id(circuit: int) -> str:
    return f"circuit-{circuit}"


def claim_id(circuit: int, claim: int) -> str:
    return f"claim-{circuit}-{claim}"


def badge(verdict: Verdict) -> Markup:
    mark = element("span", MARKS[verdict], aria_hidden="true")
    return element("span", mark, " ", verdict.value, class_=f"verdict {TONES[verdict]}")


def in_words(result: ClaimResult) -> str:
    """What else a reader must know beside the verdict; empty when it is all as the file says."""
    told = []
    if result.empty:
        told.append("empty: its trigger can never happen")
    if result.verdict is not Verdict.UNDECIDED and not result.as_expected:
        told.append(f"not as expected: should be {result.expected.value}")
    elif result.claim.expected_to_break:
        told.append("as expected")
    return ", ".join(told)


def view_told(claim: Claim) -> str:
    return "" if claim.view is View.SETTLED else f"{claim.view.value} view"
