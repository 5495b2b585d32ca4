"""What went wrong (or what was shown) at the last instant of a run, in one sentence.

It says which halves of the claim hold there and which do not, going two levels down and no further. Truth is not
worked out here: the textbook meaning of the claim is asked.
"""

from __future__ import annotations

from verifier.claims import formula as tree
from verifier.claims.claim import Claim, ClaimKind
from verifier.claims.formula import Formula, Operator, StepWord
from verifier.claims.meaning import evaluate
from verifier.claims.run import Run
from verifier.report.endless_breach import what_happened_for_ever
from verifier.report.pieces import listing
from verifier.report.wording import worded

UNTRUE_STEP = {
    StepWord.CHANGES: "does not change",
    StepWord.RISES: "does not rise",
    StepWord.FALLS: "does not fall",
    StepWord.STEADY: "changes",
}


def what_happened(claim: Claim, run: Run) -> str:
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
    match judged:
        case tree.Settles() | tree.NeverGlitches():
            return _fails_or_pattern_fails(judged, run)
        case tree.Never(operand=operand):
            return f"{happens(operand)}, which must never be"
        case tree.OnlyWhen(left=left, right=right) | tree.Apply(operator=Operator.IMPLIES, operands=(left, right)):
            return f"{happens(left)}, but {_fails(right, run)}"
        case tree.LeadsTo(left=left, right=right):
            since, last = _trigger(judged, run), len(run) - 1
            return f"{happens(left)} at step {since}, but up to step {last} this has not come: {worded(right)}"
        case _:
            return _fails(judged, run)


def _fails_or_pattern_fails(formula: Formula, run: Run) -> str:
    match formula:
        case tree.Settles():
            return _unsettled(run)
        case tree.NeverGlitches(signal=signal):
            return _glitch(signal, run)
        case _:
            return _fails(formula, run)


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


def _trigger(formula: tree.LeadsTo, run: Run) -> int:
    """The latest instant at which the left side held and after which the right side never came, up to the deadline."""
    came, last = evaluate(formula.right, run), len(run) - 1
    quiet_from = max((index + 1 for index, value in enumerate(came) if value), default=0)
    held = evaluate(formula.left, run)
    waiting = [index for index in range(quiet_from, last + 1) if held[index]]
    overdue = [index for index in waiting if _overdue(formula.bound, index, run)]
    return max(overdue or waiting or [last])


def _overdue(bound: tree.Bound | None, since: int, run: Run) -> bool:
    if bound is None or isinstance(bound.amount, tree.Tightest):
        return True
    if bound.of is None:
        return len(run) - 1 - since >= bound.amount
    word = StepWord.RISES if bound.unit is tree.Unit.RISES else StepWord.FALLS
    return sum(evaluate(tree.Step(word=word, operand=bound.of), run)[since + 1 :]) >= bound.amount


def happens(formula: Formula) -> str:
    """The formula told as something that is so."""
    match formula:
        case tree.Apply(operator=Operator.AND, operands=operands):
            return " and ".join(_simple_truth(part) for part in operands)
        case tree.Signal() | tree.Apply(operator=Operator.NOT):
            return _simple_truth(formula)
        case _:
            return worded(formula)


def _simple_truth(formula: Formula) -> str:
    match formula:
        case tree.Signal(name=name, width=1):
            return f"{name} is high"
        case tree.Apply(operator=Operator.NOT, operands=(tree.Signal(name=name, width=1),)):
            return f"{name} is low"
        case tree.Step() | tree.Compare() | tree.Slice():
            return worded(formula)
        case _:
            return f"({worded(formula)})"


def _fails(formula: Formula, run: Run) -> str:
    """The formula, which does not hold at the last instant, told as something that is not so."""
    match formula:
        case tree.Apply(operator=Operator.AND, operands=operands):
            false_parts = [part for part in operands if not evaluate(part, run)[-1]]
            return " and ".join(_simple_untruth(part) for part in false_parts) or _simple_untruth(formula)
        case tree.Apply(operator=Operator.OR, operands=(left, right)):
            return f"neither {_simple_truth(left)} nor {_simple_truth(right)}"
        case tree.Apply(operator=Operator.OR, operands=operands) if len(operands) > 2:
            return "none of these is so: " + ", ".join(_simple_truth(part) for part in operands)
        case tree.Apply(operator=Operator.IMPLIES, operands=(left, right)):
            return f"{_simple_truth(left)} and {_simple_untruth(right)}"
        case _:
            return _simple_untruth(formula)


def _simple_untruth(formula: Formula) -> str:
    match formula:
        case tree.Signal(name=name, width=1):
            return f"{name} is low"
        case tree.Apply(operator=Operator.NOT, operands=(operand,)):
            return _simple_truth(operand)
        case tree.Step(word=word, operand=tree.Signal(name=name)):
            return f"{name} {UNTRUE_STEP[word]}"
        case tree.Compare():
            return f"{worded(formula)} does not hold"
        case _:
            return f"not ({worded(formula)})"
