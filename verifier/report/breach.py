"""What went wrong (or what was shown) at the last instant of a run, in one sentence.

It says which halves of the claim hold there and which do not, going two levels down and no further. Truth is not
worked out here: the textbook meaning of the claim is asked.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from verifier.circuit.netlist import Netlist
from verifier.claims import formula as tree
from verifier.claims.claim import Claim, ClaimKind, View
from verifier.claims.formula import Formula, Operator, StepWord
from verifier.claims.meaning import Values, evaluate
from verifier.claims.run import Run
from verifier.claims.timed_meaning import evaluate_in_time, with_every_tick
from verifier.report.changes import moment
from verifier.report.delay_breach import broken_in_time
from verifier.report.endless_breach import what_happened_for_ever
from verifier.report.pieces import listing
from verifier.report.wording import worded, worded_as_one

UNTRUE_STEP = {
    StepWord.CHANGES: "does not change",
    StepWord.RISES: "does not rise",
    StepWord.FALLS: "does not fall",
}


def what_happened(claim: Claim, run: Run, netlist: Netlist) -> str:
    """One sentence, without a full stop, about the last instant of a run that breaks a `must` or shows a `can`.

    About an endless run it speaks of the steps that matter.
    """
    if run.loop_from is not None:
        return what_happened_for_ever(
            claim, run, holds=lambda formula, _: happens(formula), fails=_fails_or_pattern_fails
        )
    judged = claim.formula
    if isinstance(judged, tree.Always | tree.Eventually):  # outermost, these say no more than that it is watched
        judged = judged.operand
    if claim.kind is ClaimKind.CAN:
        return happens(judged)
    return _Breach(netlist, run, claim.view).told(judged)


def _fails_or_pattern_fails(formula: Formula, run: Run) -> str:
    """The formula of a settled view, which does not hold at the last instant of the run."""
    match formula:
        case tree.Settles():
            return _unsettled(run)
        case tree.NeverGlitches(signal=signal):
            return _glitch(signal, run)
        case _:
            return _fails(formula, lambda part: evaluate(part, run))


def _unsettled(run: Run) -> str:
    where = "this step" if len(run) > 1 else "power-up"
    if run.events[-1].oscillated:
        return f"after {where} the circuit may never come to rest"
    return f"{where} is a race: which state it ends in hangs on which part is faster"


def _glitch(signal: tree.Signal, run: Run) -> str:
    glitching = run.events[-1].may_glitch
    bits = [bit for bit, net in enumerate(signal.nets) if net in glitching]
    name = signal.name if signal.width == 1 else listing([f"{signal.name}[{bit}]" for bit in bits])
    return f"{name} may glitch here: it ends where it began, but may change and change back on the way"


class _Breach:
    """A run, ticks included, whose last instant breaks a claim."""

    def __init__(self, netlist: Netlist, run: Run, view: View) -> None:
        self._netlist = netlist
        self._run = with_every_tick(run).run
        self._view = view

    def told(self, formula: Formula) -> str:
        if self._view is not View.SETTLED:
            in_time = broken_in_time(formula, self._run, self._netlist)
            if in_time is not None:
                return in_time
        match formula:
            case tree.Settles() | tree.NeverGlitches():
                return _fails_or_pattern_fails(formula, self._run)
            case tree.Never(operand=operand):
                return f"{happens(operand)}, which must never be"
            case tree.OnlyWhen(left=left, right=right) | tree.Apply(operator=Operator.IMPLIES, operands=(left, right)):
                return f"{happens(left)}, but {_fails(right, self._values)}"
            case tree.LeadsTo(left=left, right=right):
                since, last = moment(self._run, self._trigger(formula)), moment(self._run, len(self._run) - 1)
                return f"{happens(left)} at {since}, but up to {last} this has not come: {worded(right)}"
            case _:
                return _fails(formula, self._values)

    def _values(self, formula: Formula) -> Values:
        return evaluate_in_time(formula, self._run, self._netlist)

    def _trigger(self, formula: tree.LeadsTo) -> int:
        """The latest instant at which the left side held and after which the right side never came, up to the deadline.

        When the number is asked for, the earliest: the run ends when that becomes late.
        """
        came, last = self._values(formula.right), len(self._run) - 1
        quiet_from = max((index + 1 for index, value in enumerate(came) if value), default=0)
        held = self._values(formula.left)
        waiting = [index for index in range(quiet_from, last + 1) if held[index]]
        if formula.bound is not None and isinstance(formula.bound.amount, tree.Tightest):
            return min(waiting or [last])
        overdue = [index for index in waiting if self._overdue(formula.bound, index)]
        return max(overdue or waiting or [last])

    def _overdue(self, bound: tree.Bound | None, since: int) -> bool:
        if bound is None or isinstance(bound.amount, tree.Tightest):
            return True
        if bound.of is None:
            return len(self._run) - 1 - since >= bound.amount
        word = StepWord.RISES if bound.unit is tree.Unit.RISES else StepWord.FALLS
        return sum(self._values(tree.Step(word=word, operand=bound.of))[since + 1 :]) >= bound.amount


def happens(formula: Formula) -> str:
    """The formula told as something that is so."""
    match formula:
        case tree.Apply(operator=Operator.AND, operands=operands):
            return " and ".join(_told(part) for part in operands)
        case tree.Apply(operator=Operator.OR, operands=operands):
            return " or ".join(_told(part) for part in operands)
        case tree.Apply(operator=Operator.NOT, operands=(tree.Apply(operator=Operator.OR, operands=operands),)):
            return _none_of(operands)
        case _:
            return _told(formula)


def _fails(formula: Formula, values: Callable[[Formula], Values]) -> str:
    """The formula, which does not hold at the last instant, told as something that is not so."""
    match formula:
        case tree.Apply(operator=Operator.AND, operands=operands):
            false_parts = [part for part in operands if not values(part)[-1]]
            return " and ".join(_told(part, so=False) for part in false_parts) or _told(formula, so=False)
        case tree.Apply(operator=Operator.OR, operands=operands):
            return _none_of(operands)
        case tree.Apply(operator=Operator.IMPLIES, operands=(left, right)):
            return f"{_told(left)} and {_told(right, so=False)}"
        case tree.Apply(operator=Operator.NOT, operands=(operand,)):
            return happens(operand)
        case _:
            return _told(formula, so=False)


def _none_of(operands: Sequence[Formula]) -> str:
    if len(operands) == 2:
        return f"neither {_told(operands[0])} nor {_told(operands[1])}"
    if len(operands) == 1:
        return _told(operands[0], so=False)
    return "none of these is so: " + ", ".join(_told(part) for part in operands)


def _told(formula: Formula, *, so: bool = True) -> str:
    """A piece of a sentence that stays whole beside others: that the formula is so, or is not so."""
    match formula:
        case tree.Apply(operator=Operator.NOT, operands=(operand,)):
            return _told(operand, so=not so)
        case tree.Signal() | tree.Slice():
            return f"{worded(formula)} is {_level(so)}"
        case tree.Step(word=StepWord.STEADY, operand=operand):
            return f"{worded_as_one(operand)} {'is steady' if so else 'changes'}"
        case tree.Step(word=word, operand=operand):
            return f"{worded_as_one(operand)} {word.value if so else UNTRUE_STEP[word]}"
        case tree.Compare():
            return worded(formula) if so else f"{worded(formula)} does not hold"
        case tree.Before(operand=tree.Apply(operator=Operator.NOT, operands=(operand,))):
            return _told(tree.Before(operand=operand), so=not so)
        case tree.Before(operand=tree.Signal() | tree.Slice() as operand):
            return f"{worded(operand)} was {_level(so)} before"
        case tree.Before(operand=operand):
            return f"{worded_as_one(operand)} {'held' if so else 'did not hold'} before"
        case tree.Once(operand=tree.Signal() | tree.Slice() as operand):
            return f"{worded(operand)} has {'' if so else 'never '}been high"
        case tree.Once(operand=operand):
            return f"{worded_as_one(operand)} has {'' if so else 'never '}held"
        case _:
            return f"{worded_as_one(formula)} {'holds' if so else 'does not hold'}"


def _level(high: bool) -> str:
    return "high" if high else "low"
