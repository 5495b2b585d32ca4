"""Which claims the settled view can judge; the other views and the unbounded future have no engine yet.

It says which phrase is in the way and where it stands. What a phrase means stands in `grammar/README.md`, part III.
"""

from __future__ import annotations

from verifier.claims.claim import Claim, ClaimKind, Given, View
from verifier.claims.formula import (
    FUTURE_WORDS,
    AgainAndAgain,
    Always,
    Bound,
    Eventually,
    Formula,
    LeadsTo,
    Never,
    NeverGlitches,
    Next,
    OnlyWhen,
    PulsesLast,
    Settles,
    Tightest,
    Unit,
    Until,
    WithinTheLast,
    walk,
)
from verifier.errors import Span

Unsupported = tuple[str, Span | None]
"""The phrase, as it is written in claims, and where it stands."""

_WORDS: dict[type[Formula], str] = {
    Next: "next",
    Always: "always",
    Eventually: "eventually",
    Until: "until",
    AgainAndAgain: "again and again",
    NeverGlitches: "never glitches",
    PulsesLast: "pulses of ... last at least ... ns",
    Settles: "settles",
}


def unsupported(subject: Claim | Given | Formula) -> Unsupported | None:
    """The first phrase that the settled view cannot judge, or None when it can judge the whole.

    A bare formula is taken as a `must` claim of the settled view.
    """
    if isinstance(subject, Given):
        return _in_given(subject.formula)
    if isinstance(subject, Formula):
        return _in_must(subject)
    if subject.view is not View.SETTLED:
        return f"in {subject.view.value} view", subject.span
    if subject.kind is ClaimKind.CAN:
        return _in_can(subject.formula)
    return _in_must(subject.formula)


def _in_must(formula: Formula) -> Unsupported | None:
    if isinstance(formula, NeverGlitches | Settles):
        return None
    if isinstance(formula, Always):
        return _beyond_the_past(formula.operand)
    return _in_given(formula)


def _in_can(formula: Formula) -> Unsupported | None:
    return _beyond_the_past(formula.operand if isinstance(formula, Eventually) else formula)


def _in_given(formula: Formula) -> Unsupported | None:
    if isinstance(formula, OnlyWhen):
        return _beyond_the_past(formula.left) or _beyond_the_past(formula.right)
    if isinstance(formula, Never):
        return _beyond_the_past(formula.operand)
    if isinstance(formula, LeadsTo):
        return _in_leads_to(formula)
    return _beyond_the_past(formula)


def _in_leads_to(formula: LeadsTo) -> Unsupported | None:
    inner = _beyond_the_past(formula.left) or _beyond_the_past(formula.right)
    if inner is not None:
        return inner
    if formula.bound is None:
        return "leads to ... without `within`", formula.span
    return _bad_bound(formula.bound, formula.span) or (
        _beyond_the_past(formula.bound.of) if formula.bound.of is not None else None
    )


def _bad_bound(bound: Bound, span: Span | None) -> Unsupported | None:
    if bound.amount is Tightest.ASKED:
        return "?", span
    if bound.unit is Unit.NANOSECONDS:
        return "ns", span
    return None


def _beyond_the_past(formula: Formula) -> Unsupported | None:
    """The first phrase in the tree that does not look at the past alone."""
    for node in walk(formula):
        if isinstance(node, FUTURE_WORDS) or type(node) in _WORDS:
            return _WORDS[type(node)], node.span
        if isinstance(node, OnlyWhen | Never | LeadsTo):
            return "a pattern inside a formula", node.span
        if isinstance(node, WithinTheLast):
            bad = _bad_bound(node.bound, node.span)
            if bad is not None:
                return bad
    return None
