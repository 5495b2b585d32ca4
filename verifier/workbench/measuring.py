"""The tightest number for a claim with a `?` (`grammar/README.md`, 33): a proof at it, and a run that breaks the next.

The search relies on one thing alone: that a claim which is proved with one number is proved with all larger ones, or
with all smaller ones (`claims/asked_number.py`). Both halves of the answer are judged like any claim.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

from verifier.claims.asked_number import Growing, asked_bound, growing, with_amount
from verifier.claims.claim import Claim, ClaimKind
from verifier.claims.formula import PulsesLast, Unit, walk
from verifier.claims.run import Run
from verifier.evidence.verdict import ClaimResult, Measured, Verdict

LARGEST = 1 << 14
"""Numbers beyond this are not tried."""

JudgeOne = Callable[[Claim], ClaimResult]
JudgeAt = Callable[[int], ClaimResult | None]
"""Judges with this number in place of every `?`; None when no run is permitted with it, so that nothing can be said."""

NO_WAY = "the `?` stands where a larger number neither always helps nor always hurts, so there is no tightest one"


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
    search = _Search(claim, unit, judge, min(largest, LARGEST))
    try:
        match easier:
            case Growing.MORE:
                return search.smallest()
            case Growing.FEWER:
                return search.largest()
            case _:
                return _without_number(claim, NO_WAY)
    except _Unanswered as unanswered:
        return dataclasses.replace(unanswered.result, claim=claim)


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


class _Unanswered(Exception):
    """A number could not be judged."""

    def __init__(self, result: ClaimResult) -> None:
        super().__init__(result.reason)
        self.result = result


class _Search:
    """Doubles a number until the verdict turns, then halves what lies between."""

    def __init__(self, claim: Claim, unit: Unit, judge: JudgeAt, most: int) -> None:
        self._claim, self._unit, self._judge, self._most = claim, unit, judge, most
        self._proved: tuple[int, ClaimResult] | None = None
        """The tightest number that is proved so far, and its result."""
        self._broken: ClaimResult | None = None
        """With the nearest number beyond."""

    def smallest(self) -> ClaimResult:
        """Pre: a larger number makes the claim easier."""
        low, high = self._turn(broken_at_first=True)
        return self._broken_up_to(low) if high is None else self._found(high, low)

    def largest(self) -> ClaimResult:
        """Pre: a larger number makes the claim harder."""
        low, high = self._turn(broken_at_first=False)
        return self._found(low, low + 1 if high is None else high)

    def _turn(self, *, broken_at_first: bool) -> tuple[int, int | None]:
        """The last number of the first kind (-1: 0 is none) and the next; None where the verdict never turned."""
        low, high = -1, 0
        while self._is_broken(high) is broken_at_first:
            if high >= self._most:
                return high, None
            low, high = high, max(1, 2 * high)
        while high - low > 1:
            middle = (low + high) // 2
            if self._is_broken(middle) is broken_at_first:
                low = middle
            else:
                high = middle
        return low, high

    def _is_broken(self, amount: int) -> bool:
        """Where nothing is permitted, nothing is broken: that lies on the side of the proofs. Raises _Unanswered."""
        result = self._judge(amount)
        if result is None:
            return False
        if result.verdict is Verdict.BROKEN:
            self._broken = result
            return True
        if result.verdict is not Verdict.PROVED:
            raise _Unanswered(result)
        self._proved = amount, result
        return False

    def _found(self, value: int, beyond: int) -> ClaimResult:
        if self._proved is not None and self._proved[0] == value:
            return _answer(self._claim, self._unit, value, beyond, self._proved[1], self._broken)
        if self._broken is not None and value < 0:
            return dataclasses.replace(self._broken, claim=self._claim, reason="it is broken with 0 already")
        return _without_number(self._claim, f"with {value} {self._unit.value} no run obeys the givens")

    def _broken_up_to(self, high: int) -> ClaimResult:
        reason = f"it is broken with 0, 1, 2, 4 and so on up to {high}; larger numbers were not tried"
        return _without_number(self._claim, reason)


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
