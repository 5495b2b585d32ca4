"""The trigger of a `must`: what has to happen for the claim to ask for anything (`grammar/README.md`, section 21)."""

from __future__ import annotations

from verifier.claims.claim import Claim, ClaimKind
from verifier.claims.formula import Always, Apply, Eventually, Formula, LeadsTo, OnlyWhen, Operator


def watched(claim: Claim) -> Formula:
    """The formula to watch at every instant: `must always F` and `can eventually F` are `F` watched."""
    strips = Eventually if claim.kind is ClaimKind.CAN else Always
    return claim.formula.operand if isinstance(claim.formula, strips) else claim.formula


def trigger_of(claim: Claim) -> Formula | None:
    """None when the claim asks at every instant, or is no `must`."""
    if claim.kind is ClaimKind.CAN:
        return None
    formula = watched(claim)
    if isinstance(formula, OnlyWhen | LeadsTo):
        return formula.left
    if isinstance(formula, Apply) and formula.operator is Operator.IMPLIES:
        return formula.operands[0]
    return None


def trigger_claim(claim: Claim) -> Claim | None:
    """The claim that the trigger of this one can happen, if it has one."""
    trigger = trigger_of(claim)
    if trigger is None:
        return None
    text = f"the trigger of {claim.name}"
    return Claim(name=claim.name, kind=ClaimKind.CAN, formula=trigger, text=text, view=claim.view, span=claim.span)
