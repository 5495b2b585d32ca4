"""Verdicts as plain frozen data: what the reports print, what `verifier.check` returns."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from typing import NoReturn

from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.run import Run
from verifier.errors import Diagnostic
from verifier.logic.transition_system import Invariant, TransitionSystem


class Verdict(Enum):
    """`PROVED`, `BROKEN`, `UNDECIDED` for `must`; `SHOWN`, `IMPOSSIBLE`, `UNDECIDED` for `can`."""

    PROVED = "proved"
    BROKEN = "broken"
    SHOWN = "shown"
    IMPOSSIBLE = "impossible"
    UNDECIDED = "undecided"

    def __bool__(self) -> NoReturn:
        raise TypeError("a verdict has three values; compare it with a member of Verdict")


class Trigger(Enum):
    """Whether a `must` ever asks for anything."""

    NONE = "none"
    """It has no trigger: it asks at every instant."""
    HAPPENS = "can happen"
    NEVER = "can never happen"
    OPEN = "not found out"


@dataclass(frozen=True, kw_only=True)
class Measured:
    """The answer to a `?`: proved at `value`, and broken one further."""

    value: int
    unit: str
    beyond: int | None
    """The next number, at which it is broken; None where no number at all breaks it."""
    run: Run | None
    """The replayed run that breaks it there."""
    of: str = ""
    """What the `?` stands in, where that is not the claim: `apart`, or the name of a given."""


@dataclass(frozen=True, kw_only=True)
class ClaimResult:
    claim: Claim
    verdict: Verdict
    engine: str
    seconds: float
    empty: bool = False
    """Proved, but only because its trigger can never happen."""
    reason: str = ""
    """Why it is undecided."""
    run: Run | None = None
    """For `broken` and `shown`: the replayed run, the breach or the showing at its last instant."""
    invariant: Invariant | None = None
    """For `proved` and `impossible`: re-checked by a fresh solver."""
    certified: TransitionSystem | None = field(default=None, repr=False, compare=False)
    """What the invariant is an invariant of."""
    trigger: Trigger | None = None
    """None: the claim is no `must`."""
    witness: Run | None = None
    """Where asked for: a replayed run that shows the trigger."""
    measured: Measured | None = None
    """For a proved claim with a `?`."""
    states: int | None = None
    """For a timed proof: how many states there are, all of them looked at twice."""

    @property
    def expected(self) -> Verdict:
        """What the file expects: to hold, unless the circuit's `breaks` list names it."""
        if self.claim.kind is ClaimKind.CAN:
            return Verdict.IMPOSSIBLE if self.claim.expected_to_break else Verdict.SHOWN
        return Verdict.BROKEN if self.claim.expected_to_break else Verdict.PROVED

    @property
    def as_expected(self) -> bool:
        return self.verdict is self.expected


@dataclass(frozen=True, kw_only=True)
class DesignResult:
    design: Design
    claims: tuple[ClaimResult, ...]
    assumes: tuple[str, ...]
    """Everything about the outside world and the view that the verdicts rest on, one sentence each."""
    interrupted: bool = False


@dataclass(frozen=True, kw_only=True)
class FileResult:
    path: str
    designs: tuple[DesignResult, ...]
    warnings: tuple[Diagnostic, ...] = ()


class Fit(Enum):
    """How a saved proof stands to the present circuit."""

    FITS = "fits"
    NO_LONGER = "no longer fits"
    MISSING = "missing"
    OPEN = "not found out"


@dataclass(frozen=True, kw_only=True)
class Rechecked:
    circuit: str
    claim: str
    file: str
    """Name of the certificate in its folder."""
    fit: Fit
    why: str = ""
