"""What went wrong (or what was shown) on an endless run, in one sentence that points at steps of it.

The future words and the patterns each have their words; for parts about the past the words are those of `breach.py`.
Truth is not worked out here: the textbook meaning on loops is asked.
"""

from __future__ import annotations

from collections.abc import Callable

from verifier.claims import formula as tree
from verifier.claims.claim import Claim, ClaimKind
from verifier.claims.formula import FUTURE_WORDS, Formula, Operator, walk
from verifier.claims.lasso_meaning import evaluate_lasso, first_failure, unroll
from verifier.claims.run import Run
from verifier.report.pieces import listing
from verifier.report.wording import worded

Told = Callable[[Formula, Run], str]
"""Words for a formula about the past, at the last instant of a finite run."""


def what_happened_for_ever(claim: Claim, run: Run, *, holds: Told, fails: Told) -> str:
    """One sentence, without a full stop, about an endless run that breaks a `must` or shows a `can`.

    `holds` and `fails` tell a formula about the past as something that is so, or is not so.
    """
    return _Teller(run, holds, fails).sentence(claim)


class _Teller:
    def __init__(self, run: Run, holds: Told, fails: Told) -> None:
        if run.loop_from is None:
            raise ValueError("a finite run does not go on for ever")
        self._run = run
        self._loop_from = run.loop_from
        self._told_holds = holds
        self._told_fails = fails

    def sentence(self, claim: Claim) -> str:
        formula = claim.formula
        if claim.kind is ClaimKind.CAN:
            shown = formula.operand if isinstance(formula, tree.Eventually) else formula
            return self.holds(shown, self._first(shown, 0, value=True))
        instant = first_failure(formula, self._run)
        if instant is None:
            raise ValueError(f"the run does not break {claim.name}")
        return self.fails(formula, instant)

    def holds(self, formula: Formula, instant: int) -> str:
        """The formula, which is so at this instant, told as something that is so."""
        at = self._step(instant)
        match formula:
            case tree.Always(operand=tree.Signal(name=name, width=1)):
                return f"{name} stays high for ever from {at} on"
            case tree.Always(operand=tree.Apply(operator=Operator.NOT, operands=(tree.Signal(name=name, width=1),))):
                return f"{name} stays low for ever from {at} on"
            case tree.Always(operand=operand):
                return f"from {at} on this holds for ever: {worded(operand)}"
            case tree.AgainAndAgain(operand=operand):
                return f"this comes again and again: {worded(operand)}"
            case tree.Eventually(operand=operand):
                return self.holds(operand, self._first(operand, instant, value=True))
            case tree.Next(operand=operand):
                return self.holds(operand, instant + 1)
            case tree.Apply(operator=Operator.NOT, operands=(operand,)) if _about_the_future(operand):
                return self.fails(operand, instant)
            case tree.Apply(operator=Operator.AND, operands=operands) if _about_the_future(formula):
                return " and ".join(self.holds(operand, instant) for operand in operands)
            case _ if _about_the_future(formula):
                return f"at {at} this holds: {worded(formula)}"
            case _:
                return f"{self._told_holds(formula, self._up_to(instant))} at {at}"

    def fails(self, formula: Formula, instant: int) -> str:
        """The formula, which is not so at this instant, told as something that is not so."""
        at = self._step(instant)
        match formula:
            case tree.Settles() | tree.NeverGlitches():
                return f"at {at}, {self._told_fails(formula, self._up_to(instant))}"
            case tree.LeadsTo(left=left, right=right, bound=None):
                goal = right if isinstance(right, tree.Always | tree.Eventually) else tree.Eventually(operand=right)
                return f"{self.holds(left, instant)}, but {self.fails(goal, instant)}"
            case tree.LeadsTo(left=left, right=right):
                return f"{self.holds(left, instant)}, but in time this has not come: {worded(right)}"
            case tree.OnlyWhen(left=left, right=right):
                return f"{self.holds(left, instant)}, but {self.fails(right, instant)}"
            case tree.Never(operand=operand):
                return f"{self.holds(operand, instant)}, which must never be"
            case tree.Apply(operator=operator, operands=operands) if _about_the_future(formula):
                return self._applied_fails(formula, operator, operands, instant)
            case _ if _about_the_future(formula):
                return self._future_fails(formula, instant)
            case _:
                return f"{self._told_fails(formula, self._up_to(instant))} at {at}"

    def _applied_fails(self, formula: Formula, operator: Operator, operands: tuple[Formula, ...], instant: int) -> str:
        match operator:
            case Operator.NOT:
                return self.holds(operands[0], instant)
            case Operator.IMPLIES:
                return f"{self.holds(operands[0], instant)}, but {self.fails(operands[1], instant)}"
            case Operator.AND | Operator.OR:
                false_parts = [part for part in operands if not evaluate_lasso(part, self._run).at(instant)]
                return listing([self.fails(part, instant) for part in false_parts])
            case _:
                return f"at {self._step(instant)} this does not hold: {worded(formula)}"

    def _future_fails(self, formula: Formula, instant: int) -> str:
        at = self._step(instant)
        match formula:
            case tree.Next(operand=operand):
                return self.fails(operand, instant + 1)
            case tree.Always(operand=operand) if _about_the_future(operand):
                return self.fails(operand, self._first(operand, instant, value=False))
            case tree.Always(operand=operand):
                failure = self._last_failure(operand, instant)
                return f"{_short(operand)} does not hold for good: it fails at {self._place(failure)}"
            case tree.Eventually(operand=operand):
                return f"from {at} on this never comes: {worded(operand)}"
            case tree.AgainAndAgain(operand=operand):
                return f"this does not come again and again: {worded(operand)}; it never comes in the loop"
            case tree.Until(left=left, right=right):
                return self._until_fails(left, right, instant)
            case _:
                return f"at {at} this does not hold: {worded(formula)}"

    def _until_fails(self, left: Formula, right: Formula, instant: int) -> str:
        ends = evaluate_lasso(left, self._run)
        comes = evaluate_lasso(right, self._run)
        horizon = instant + len(ends.values) + len(comes.values)
        released = next((at for at in range(instant, horizon) if not ends.at(at) and not comes.at(at)), None)
        if released is None:
            return f"from {self._step(instant)} on this never comes: {worded(right)}"
        return f"{_short(left)} fails at {self._place(released)}, and this has not come by then: {worded(right)}"

    def _first(self, formula: Formula, instant: int, *, value: bool) -> int:
        """The first instant from this one on at which the formula has the value."""
        values = evaluate_lasso(formula, self._run)
        horizon = instant + len(values.values)
        return next((at for at in range(instant, horizon) if bool(values.at(at)) is value), instant)

    def _last_failure(self, formula: Formula, instant: int) -> int:
        """An instant at which the formula fails: one in the loop, if there is one, as it fails there for ever."""
        in_loop = self._first(formula, max(instant, self._loop_from), value=False)
        return (
            in_loop
            if not evaluate_lasso(formula, self._run).at(in_loop)
            else self._first(formula, instant, value=False)
        )

    def _place(self, instant: int) -> str:
        return self._step(instant) + (", in the loop" if instant >= self._loop_from else "")

    def _step(self, instant: int) -> str:
        """The row of the table at which the instant stands."""
        if instant < len(self._run):
            return f"step {instant}"
        row = self._loop_from + (instant - self._loop_from) % (len(self._run) - self._loop_from)
        return f"step {row} of a later round"

    def _up_to(self, instant: int) -> Run:
        rounds = 1 + max(0, instant - self._loop_from) // (len(self._run) - self._loop_from)
        whole = unroll(self._run, rounds)
        return Run(whole.instants[: instant + 1], whole.events[: instant + 1])


def _short(formula: Formula) -> str:
    return worded(formula) if isinstance(formula, tree.Signal | tree.Compare | tree.Step) else f"({worded(formula)})"


def _about_the_future(formula: Formula) -> bool:
    return any(isinstance(node, (*FUTURE_WORDS, tree.LeadsTo)) for node in walk(formula))
