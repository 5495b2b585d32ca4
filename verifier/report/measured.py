"""The answer to a `?` in words: the number a claim is proved at, and the next one, at which it is broken."""

from __future__ import annotations

from verifier.claims.claim import Claim
from verifier.claims.formula import PulsesLast, walk
from verifier.evidence.verdict import Measured

ONE_OF = {"steps": "step", "rises": "rise", "falls": "fall"}


def amount(number: int, unit: str) -> str:
    """`5 ns`, `1 step`."""
    return f"{number} {ONE_OF.get(unit, unit) if number == 1 else unit}"


def tightest(measured: Measured, claim: Claim) -> str:
    """For the line of the verdict."""
    subject = f"tightest {measured.of}" if measured.of else "tightest"
    told = f"{subject}: {amount(measured.value, measured.unit)}"
    if measured.beyond is not None:
        return told
    if _asks_for_largest(claim):
        return f"{told} or more"
    return f"{told} (no distance is needed)" if measured.of and measured.value == 0 else told


def tightest_in_short(measured: Measured, claim: Claim) -> str:
    """For a cell of a table."""
    or_more = "+" if measured.beyond is None and _asks_for_largest(claim) else ""
    return amount(measured.value, measured.unit + or_more)


def text_at(text: str, number: int) -> str:
    """The text of a claim with the number in place of its `?`."""
    return text.replace("?", str(number))


def _asks_for_largest(claim: Claim) -> bool:
    return any(isinstance(node, PulsesLast) for node in walk(claim.formula))
