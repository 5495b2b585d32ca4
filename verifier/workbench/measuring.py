"""The tightest number for a claim with a `?` (`grammar/README.md`, 33): a proof at it, and a run that breaks the next.

The claim gets easier to break as the number of `at least` grows, and harder as that of `within` grows; the search
relies on no more than that, and both halves of the answer are judged like any claim.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

from verifier.claims.claim import Claim
from verifier.claims.formula import Bound, Formula, PulsesLast, Tightest, Unit, walk
from verifier.claims.run import Run
from verifier.evidence.verdict import ClaimResult, Measured, Verdict

LARGEST = 1 << 14
"""Numbers beyond this are not tried."""

JudgeOne = Callable[[Claim], ClaimResult]
JudgeAt = Callable[[int], ClaimResult]
"""Judges with this number in place of every `?`."""


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

    No number beyond `largest` is tried for `at least`: with it, it is "or more".
    """
    bound = asked_bound(claim.formula)
    if bound is None:
        raise ValueError(f"{claim.name} asks for no number")
    if any(isinstance(node, PulsesLast) for node in walk(claim.formula)):
        return _largest(claim, bound.unit, judge, largest)
    return smallest(claim, bound.unit, lambda amount: judge(with_amount(claim, amount)))


def _largest(claim: Claim, unit: Unit, judge: JudgeOne, largest: int) -> ClaimResult:
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
        if amount == 0:
            return dataclasses.replace(broken, claim=claim, reason="there are pulses of no length at all")


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


def smallest(claim: Claim, unit: Unit, judge: JudgeAt) -> ClaimResult:
    """The smallest number with which the claim is proved: doubles until it is, then halves what is left."""
    broken: ClaimResult | None = None
    low, high = -1, 0
    best: ClaimResult | None = None
    while best is None:
        if high > LARGEST:
            reason = f"it is broken with 0, 1, 2, 4 and so on up to {low}; numbers in between were not tried"
            assert broken is not None
            return dataclasses.replace(broken, claim=claim, reason=reason)
        result = judge(high)
        if result.verdict is Verdict.PROVED:
            best = result
        elif result.verdict is Verdict.BROKEN:
            broken, low, high = result, high, max(1, 2 * high)
        else:
            return dataclasses.replace(result, claim=claim)
    while high - low > 1:
        middle = (low + high) // 2
        result = judge(middle)
        if result.verdict is Verdict.PROVED:
            high, best = middle, result
        elif result.verdict is Verdict.BROKEN:
            low, broken = middle, result
        else:
            return dataclasses.replace(result, claim=claim)
    return _answer(claim, unit, high, low, best, broken)


def _answer(
    claim: Claim, unit: Unit, value: int, beyond: int, best: ClaimResult | None, broken: ClaimResult | None
) -> ClaimResult:
    if best is None:
        assert broken is not None
        return dataclasses.replace(broken, claim=claim, reason="it is broken with the first number already")
    measured = Measured(
        value=value,
        unit=unit.value,
        beyond=None if broken is None else beyond,
        run=None if broken is None else broken.run,
    )
    return dataclasses.replace(best, claim=claim, measured=measured)
