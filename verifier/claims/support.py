"""Which claims a view can judge. What a phrase means stands in `grammar/README.md`, parts III and IV.

It says which phrase is in the way and where it stands.
"""

from __future__ import annotations

from verifier.claims.claim import Claim, ClaimKind, Given, View
from verifier.claims.formula import (
    FUTURE_WORDS,
    PATTERNS,
    AgainAndAgain,
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
    """The first phrase that the claim's view cannot judge, or None when it can judge the whole.

    A given is looked at by itself; in which views it counts says `restricts`. A bare formula is taken as a `must` claim
    of the settled view.
    """
    match subject:
        case Claim():
            outermost: tuple[type[Formula], ...] = () if subject.kind is ClaimKind.CAN else PATTERNS
            is_can = subject.kind is ClaimKind.CAN
            return _first_refused(subject.formula, outermost, subject.view, may_ask=not is_can)
        case Given():
            view = View.TIMED if speaks_of_time(subject.formula) else View.SETTLED
            # A number in a given is measured for each claim of the timed view.
            return _first_refused(subject.formula, (OnlyWhen, Never, LeadsTo), view, may_ask=view is View.TIMED)
        case _:
            return _first_refused(subject, PATTERNS, View.SETTLED, may_ask=True)


def speaks_of_time(formula: Formula) -> bool:
    """Some phrase in it counts ns."""
    return any(_counted_in(node) is Unit.NANOSECONDS for node in walk(formula))


def restricts(given: Given, view: View) -> bool:
    """Whether the given restricts the runs of this view: one that no run of the view can be asked about does not."""
    if view is View.SETTLED:
        return not speaks_of_time(given.formula)
    return _first_refused(given.formula, (OnlyWhen, Never, LeadsTo), view, may_ask=True) is None


def _first_refused(
    formula: Formula, outermost: tuple[type[Formula], ...], view: View, may_ask: bool
) -> Unsupported | None:
    for node in walk(formula):
        if isinstance(node, PATTERNS) and not (node is formula and isinstance(node, outermost)):
            return _pattern(node), node.span
        found = _out_of_view(node, view) or _asking(node, may_ask)
        if found:
            return found, node.span
    return None


def _out_of_view(node: Formula, view: View) -> str:
    unit = _counted_in(node)
    if view is View.SETTLED:
        return "" if unit is not Unit.NANOSECONDS else _pattern(node) if isinstance(node, PulsesLast) else "ns"
    if isinstance(node, FUTURE_WORDS) or (isinstance(node, LeadsTo) and node.bound is None):
        return _future(node)
    if view is View.ANY_DELAY and unit is Unit.NANOSECONDS:
        return "ns"
    if view is View.TIMED and unit is Unit.STEPS:
        return "steps"
    return "settles in timed view" if view is View.TIMED and isinstance(node, Settles) else ""


def _future(node: Formula) -> str:
    if isinstance(node, LeadsTo):
        return "leads to, without a bound, in a delay view"
    word = "again and again" if isinstance(node, AgainAndAgain) else type(node).__name__.lower()
    return f"{word} in a delay view"


def _asking(node: Formula, may_ask: bool) -> str:
    bound = bound_of(node)
    return "?" if bound is not None and bound.amount is Tightest.ASKED and not may_ask else ""


def _counted_in(node: Formula) -> Unit | None:
    bound = bound_of(node)
    return None if bound is None else bound.unit


def bound_of(node: Formula) -> Bound | None:
    """The number that a phrase counts to, and in what."""
    match node:
        case WithinTheLast(bound=bound) | LeadsTo(bound=bound):
            return bound
        case PulsesLast(at_least=bound):
            return bound
        case _:
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
