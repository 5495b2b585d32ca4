"""The tightest number for a claim with a `?` (`grammar/README.md`, 33): a proof at it, and a run that breaks the next.

The search relies on one thing alone: that a claim which is proved with one number is proved with all larger ones, or
with all smaller ones (`monotone.py`). Both halves of the answer are judged like any claim.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

from verifier.claims.claim import Claim, ClaimKind
from verifier.claims.formula import Bound, Formula, PulsesLast, Tightest, Unit, walk
from verifier.claims.run import Run
from verifier.evidence.verdict import ClaimResult, Measured, Verdict
from verifier.workbench.monotone import Growing, growing

LARGEST = 1 << 14
"""Numbers beyond this are not tried."""

JudgeOne = Callable[[Claim], ClaimResult]
JudgeAt = Callable[[int], ClaimResult | None]
"""Judges with this number in place of every `?`; None when no run is permitted with it, so that nothing can be said."""

NO_WAY = "the `?` stands where a larger number neither always helps nor always hurts, so there is no tightest one"


def asked_bound(formula: Formula) -> Bound | None:
    """The bound with a `?`, if there is one."""
    for node in walk(formula):
        for name in node.__dataclass_fields__:
            value = getattr(node, name)
            if isinstance(value, Bound) and value.amount is Tightest.ASKED:
                return value
    return None


def with_amount(claim: Claim, amount: int) -> Claim:
    """The claim with the number in place of its `?`."""
    return dataclasses.replace(claim, formula=replaced(claim.formula, amount))


def replaced(node: Formula, amount: int) -> Formula:
    """The formula with the number in place of every `?`."""
    changed: dict[str, object] = {}
    for name in node.__dataclass_fields__:
        value = getattr(node, name)
        if isinstance(value, Bound) and value.amount is Tightest.ASKED:
            changed[name] = dataclasses.replace(value, amount=amount)
        elif isinstance(value, Formula):
            changed[name] = replaced(value, amount)
        elif isinstance(value, tuple) and any(isinstance(item, Formula) for item in value):
            changed[name] = tuple(replaced(item, amount) if isinstance(item, Formula) else item for item in value)
    return dataclasses.replace(node, **changed) if changed else node  # type: ignore[arg-type]


def measure(claim: Claim, judge: JudgeOne, largest: int = LARGEST) -> ClaimResult:
    """The result for the claim with its `?`: proved with what was measured, broken, or undecided.

    No number beyond `largest` is tried.
    """
    bound = asked_bound(claim.formula)
    if bound is None:
        raise ValueError(f"{claim.name} asks for no number")
    if claim.kind is ClaimKind.CAN:
        return _without_number(claim, "a number is measured for `must` alone")
    if isinstance(claim.formula, PulsesLast):
        return _widest(claim, bound.unit, judge, largest)
    return tightest(
        claim, bound.unit, growing(claim.formula), lambda amount: judge(with_amount(claim, amount)), largest
    )


def tightest(claim: Claim, unit: Unit, easier: Growing | None, judge: JudgeAt, largest: int = LARGEST) -> ClaimResult:
    """The tightest number with which the claim is proved, when growing makes that easier (or harder)."""
    match easier:
        case Growing.MORE:
            return _Search(claim, unit, judge, min(largest, LARGEST)).smallest()
        case Growing.FEWER:
            return _Search(claim, unit, judge, min(largest, LARGEST)).largest()
        case _:
            return _without_number(claim, NO_WAY)


def _widest(claim: Claim, unit: Unit, judge: JudgeOne, largest: int) -> ClaimResult:
    """From above: every run that breaks a number has a pulse of its own width, and that is the next number to try."""
    broken: ClaimResult | None = None
    amount = min(largest, LARGEST)
    while True:
        result = judge(with_amount(claim, amount))
        if result.verdict is Verdict.PROVED:
            return _answer(claim, unit, amount, amount + 1, result, broken)
        if result.verdict is not Verdict.BROKEN or result.run is None:
            return dataclasses.replace(result, claim=claim)
        broken, amount = result, _last_width(claim, result.run)


def _last_width(claim: Claim, run: Run) -> int:
    """ns from the last change but one to the last, of the bit that changes last."""
    (pulses,) = (node for node in walk(claim.formula) if isinstance(node, PulsesLast))
    if run.times is None:
        raise ValueError("a pulse has a width in the timed view alone")
    widths: list[int] = []
    for net in pulses.signal.nets:
        changes = [at for at in range(1, len(run)) if run.instants[at][net] != run.instants[at - 1][net]]
        if len(changes) > 1 and changes[-1] == len(run) - 1:
            widths.append(run.times[changes[-1]] - run.times[changes[-2]])
    return min(widths)


class _Search:
    """Doubles a number until the verdict turns, then halves what lies between."""

    def __init__(self, claim: Claim, unit: Unit, judge: JudgeAt, most: int) -> None:
        self._claim, self._unit, self._judge, self._most = claim, unit, judge, most
        self._best: ClaimResult | None = None
        """With the tightest number that is proved so far."""
        self._broken: ClaimResult | None = None
        """With the nearest number beyond."""
        self._proved_at = -1
        self._unanswered = _without_number(claim, "")

    def smallest(self) -> ClaimResult:
        low, high = -1, 0
        while (verdict := self._verdict_at(high)) is Verdict.BROKEN:
            if high >= self._most:
                return self._broken_up_to(high)
            low, high = high, max(1, 2 * high)
        if verdict is Verdict.UNDECIDED:
            return self._unanswered
        while high - low > 1:
            middle = (low + high) // 2
            match self._verdict_at(middle):
                case Verdict.BROKEN:
                    low = middle
                case Verdict.UNDECIDED:
                    return self._unanswered
                case _:
                    high = middle
        return self._found(high, low)

    def largest(self) -> ClaimResult:
        low, high = -1, 0
        while (verdict := self._verdict_at(high)) is not Verdict.BROKEN:
            if verdict is Verdict.UNDECIDED:
                return self._unanswered
            low = high
            if high >= self._most:
                return self._found(low, low + 1)
            high = max(1, 2 * high)
        while high - low > 1:
            middle = (low + high) // 2
            match self._verdict_at(middle):
                case Verdict.BROKEN:
                    high = middle
                case Verdict.UNDECIDED:
                    return self._unanswered
                case _:
                    low = middle
        return self._found(low, high)

    def _verdict_at(self, amount: int) -> Verdict | None:
        """None when nothing is permitted with it: that is looser or tighter than any answer, as a proof would be."""
        result = self._judge(amount)
        if result is None:
            return None
        if result.verdict is Verdict.PROVED:
            self._best, self._proved_at = result, amount
        elif result.verdict is Verdict.BROKEN:
            self._broken = result
        else:
            self._unanswered = dataclasses.replace(result, claim=self._claim)
            return Verdict.UNDECIDED
        return result.verdict

    def _found(self, value: int, beyond: int) -> ClaimResult:
        if self._best is not None and self._proved_at == value:
            return _answer(self._claim, self._unit, value, beyond, self._best, self._broken)
        if self._broken is not None and value < 0:
            return dataclasses.replace(self._broken, claim=self._claim, reason="it is broken with 0 already")
        return _without_number(self._claim, f"with {value} {self._unit.value} no run obeys the givens")

    def _broken_up_to(self, high: int) -> ClaimResult:
        reason = f"it is broken with 0, 1, 2, 4 and so on up to {high}; larger numbers were not tried"
        assert self._broken is not None
        return dataclasses.replace(self._broken, claim=self._claim, reason=reason)


def _without_number(claim: Claim, reason: str) -> ClaimResult:
    return ClaimResult(claim=claim, verdict=Verdict.UNDECIDED, engine="", seconds=0.0, reason=reason)


def _answer(
    claim: Claim, unit: Unit, value: int, beyond: int, best: ClaimResult, broken: ClaimResult | None
) -> ClaimResult:
    measured = Measured(
        value=value,
        unit=unit.value,
        beyond=None if broken is None else beyond,
        run=None if broken is None else broken.run,
    )
    return dataclasses.replace(best, claim=claim, measured=measured)
