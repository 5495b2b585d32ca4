"""Whether whole ns stand for real time where a claim is judged (`grammar/README.md`, 33).

They do while at most one distance must be strictly longer (or shorter) than a number for the claim to be breached. What
is counted here is the places where a formula says so; a place that is looked at in many instants counts as several.
"""

from __future__ import annotations

from verifier.claims import formula as tree
from verifier.claims.claim import Claim, ClaimKind, Given, View
from verifier.claims.formula import Bound, Formula, Operator, Unit
from verifier.claims.trigger import watched

SEVERAL = 2


def whole_ns_stand_for_real_time(claim: Claim, givens: tuple[Given, ...]) -> bool:
    """Whether a verdict on this claim, under the givens that restrict it, is one about real time as well."""
    if claim.view is not View.TIMED:
        return True
    strict = _strict(watched(claim), claim.kind is ClaimKind.CAN)
    return strict < SEVERAL and not any(_strict(given.formula, True) for given in givens)


def _strict(node: Formula, wanted: bool | None) -> int:
    """Strict bounds that have to be met for the node to have the wanted value; None: it may matter either way."""
    opposite = None if wanted is None else not wanted
    match node:
        case tree.Apply(operator=Operator.NOT, operands=(inner,)) | tree.Never(operand=inner):
            return _strict(inner, opposite)
        case tree.Apply(operator=Operator.AND | Operator.OR, operands=operands):
            return sum(_strict(inner, wanted) for inner in operands)
        case tree.Apply(operator=Operator.IMPLIES, operands=(left, right)) | tree.OnlyWhen(left=left, right=right):
            return _strict(left, opposite) + _strict(right, wanted)
        case tree.Before(operand=inner):
            return _strict(inner, wanted)
        case tree.WithinTheLast(operand=inner, bound=bound):
            return _in_time(bound) * (wanted is not True) + SEVERAL * _strict(inner, wanted)
        case tree.LeadsTo(left=left, right=right, bound=bound):
            late = _in_time(bound) * (wanted is not True) if bound is not None else 0
            return late + _strict(left, opposite) + SEVERAL * _strict(right, wanted)
        case tree.PulsesLast(at_least=bound):
            return _in_time(bound) * (wanted is not True)
        case tree.KeepsTiming():
            return int(wanted is not True)
        case _:
            return sum(SEVERAL * _strict(inner, None) for inner in node.children)


def _in_time(bound: Bound) -> int:
    return int(bound.unit is Unit.NANOSECONDS)
