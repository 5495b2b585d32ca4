"""Which claims the settled view can judge; the other views and the words that speak of nanoseconds have no engine yet.

It says which phrase is in the way and where it stands. What a phrase means stands in `grammar/README.md`, part III.
"""

from __future__ import annotations

from verifier.claims.claim import Claim, ClaimKind, Given, View
from verifier.claims.formula import (
    PATTERNS,
    Bound,
    Formula,
    LeadsTo,
    Never,
    NeverGlitches,
    OnlyWhen,
    PulsesLast,
    Settles,
    Tightest,
    Unit,
    WithinTheLast,
    walk,
)
from verifier.errors import Span

Unsupported = tuple[str, Span | None]
"""The phrase, as it is written in claims, and where it stands."""


def unsupported(subject: Claim | Given | Formula) -> Unsupported | None:
    """The first phrase that the settled view cannot judge, or None when it can judge the whole.

    A bare formula is taken as a `must` claim of the settled view.
    """
    outermost: tuple[type[Formula], ...] = PATTERNS
    match subject:
        case Claim():
            if subject.view is not View.SETTLED:
                return f"in {subject.view.value} view", subject.span
            formula = subject.formula
            outermost = () if subject.kind is ClaimKind.CAN else PATTERNS
        case Given():
            formula, outermost = subject.formula, (OnlyWhen, Never, LeadsTo)
        case _:
            formula = subject
    for node in walk(formula):
        if isinstance(node, PATTERNS) and not (node is formula and isinstance(node, outermost)):
            return _pattern(node), node.span
        found = _in_time(node)
        if found is not None:
            return found
    return None


def _pattern(node: Formula) -> str:
    match node:
        case NeverGlitches():
            return "never glitches"
        case Settles():
            return "settles"
        case PulsesLast():
            return "pulses of ... last at least ... ns"
        case _:
            return "a pattern inside a formula"


def _in_time(node: Formula) -> Unsupported | None:
    if isinstance(node, PulsesLast):
        return _pattern(node), node.span
    if isinstance(node, WithinTheLast | LeadsTo) and node.bound is not None:
        return _bad_bound(node.bound, node.span)
    return None


def _bad_bound(bound: Bound, span: Span | None) -> Unsupported | None:
    if bound.amount is Tightest.ASKED:
        return "?", span
    return ("ns", span) if bound.unit is Unit.NANOSECONDS else None
