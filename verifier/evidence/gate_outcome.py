"""What a gate finds out about claims, circuits and files, and what changed since an earlier record. Plain frozen data.

It holds no circuit and no formula, so it goes through a pipe and into a file as it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any

from verifier.errors import Diagnostic, Span
from verifier.evidence.verdict import Verdict

FULFILLED = frozenset({Verdict.PROVED, Verdict.SHOWN})
FAILING = frozenset({Verdict.BROKEN, Verdict.IMPOSSIBLE})


class How(Enum):
    """How a verdict of this run came about."""

    JUDGED = "judged"
    """Decided now."""
    REJUDGED = "re-judged"
    """A recorded proof was judged by a fresh solver, or a recorded run lived through by the simulator, now."""
    TRUSTED = "taken from the record"
    """Nothing was judged now: the circuit is the one of the record, and the record was to be trusted."""


@dataclass(frozen=True, kw_only=True)
class Number:
    """What was measured for a `?`."""

    value: int
    unit: str
    beyond: int | None
    of: str
    smaller_is_better: bool


@dataclass(frozen=True, kw_only=True)
class Restriction:
    """One thing that narrows the runs a claim speaks of, in a form that can be compared."""

    subject: str
    words: str
    spans: tuple[tuple[int, int | None], ...] = ()
    """Closed ranges of whole ns that are permitted; None: without end."""

    @property
    def told(self) -> str:
        spans = ", ".join(f"{low} ns or more" if high is None else f"{low}..{high} ns" for low, high in self.spans)
        return f"{self.subject}: {self.words}" + (f" ({spans})" if spans else "")


@dataclass(frozen=True, kw_only=True)
class StoredRun:
    """A run as it is kept: one text of binary digits an instant, the digits in the order of the nets."""

    instants: tuple[str, ...]
    times: tuple[int, ...] | None = None
    loop_from: int | None = None


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """What a verdict can be judged by again."""

    proof: str = ""
    """A certificate as SMT-LIB text."""
    run: StoredRun | None = None
    """Of a broken or shown claim."""
    witness: StoredRun | None = None
    """Shows the trigger of a proved claim."""
    beyond: StoredRun | None = None
    """Breaks the claim at the number beyond the measured one."""


NO_EVIDENCE = Evidence()


@dataclass(frozen=True, kw_only=True)
class Recorded:
    """What is kept of a claim from one run to the next."""

    claim: str
    kind: str
    view: str
    says: str
    """The claim as written."""
    stated: str
    """The same with every name that stands for a formula written out."""
    key: str
    """Digest of everything that the verdict hangs on."""
    verdict: Verdict
    empty: bool = False
    measured: Number | None = None
    restrictions: tuple[Restriction, ...] = ()
    evidence: Evidence = NO_EVIDENCE


@dataclass(frozen=True, kw_only=True)
class ClaimOutcome:
    recorded: Recorded
    expected: Verdict
    how: How
    reason: str = ""
    span: Span | None = None
    """Where the claim stands; for one that is always there, the circuit."""
    tells: str = ""
    """The run of a broken claim, or of one that was shown against expectation, laid out as `check` prints it."""
    record: dict[str, Any]
    """The claim in the form that `--json` has."""

    @property
    def verdict(self) -> Verdict:
        return self.recorded.verdict

    @property
    def is_open(self) -> bool:
        return self.verdict is Verdict.UNDECIDED

    @property
    def is_surprise(self) -> bool:
        return not self.is_open and self.verdict is not self.expected


@dataclass(frozen=True, kw_only=True)
class CircuitOutcome:
    name: str
    file: str
    claims: tuple[ClaimOutcome, ...]
    span: Span | None = None


class TroubleKind(Enum):
    INPUT = "wrong input"
    DISAGREEMENT = "internal disagreement"
    FAILURE = "internal error"
    LOST = "without an answer"


@dataclass(frozen=True, kw_only=True)
class Trouble:
    """Why a file, or some circuit in it, was not judged."""

    kind: TroubleKind
    text: str
    hint: str = ""
    findings: tuple[Diagnostic, ...] = ()
    circuit: str = ""
    """The one it is about; empty: the whole file."""


@dataclass(frozen=True, kw_only=True)
class FileOutcome:
    path: str
    circuits: tuple[CircuitOutcome, ...] = ()
    troubles: tuple[Trouble, ...] = ()
    warnings: tuple[Diagnostic, ...] = ()

    @property
    def claims(self) -> tuple[ClaimOutcome, ...]:
        return tuple(claim for circuit in self.circuits for claim in circuit.claims)


class ChangeKind(Enum):
    """How a verdict differs from that of the record; the values are what `--fail-on` takes."""

    NEWLY_BROKEN = "newly-broken"
    UNDECIDED = "undecided"
    DISAPPEARED = "disappeared"
    WEAKENED = "weakened"
    REWORDED = "reworded"
    STRENGTHENED = "strengthened"
    NEWLY_PROVED = "newly-proved"
    APPEARED = "appeared"


@dataclass(frozen=True, kw_only=True)
class Change:
    kind: ChangeKind
    file: str
    circuit: str
    claim: str = ""
    """Empty: the whole circuit."""
    why: tuple[str, ...]
    """What exactly is different, one phrase each."""
    span: Span | None = None


@dataclass(frozen=True, kw_only=True)
class GateResult:
    files: tuple[FileOutcome, ...]
    """In the order in which they were named or found."""
    changes: tuple[Change, ...] = ()
    fail_on: frozenset[ChangeKind] = frozenset()
    against: str | None = None
    """The record that was compared with."""
    notices: tuple[str, ...] = ()
    """About the record: what of it could not be used, and why."""
    interrupted: bool = False

    @property
    def claims(self) -> tuple[ClaimOutcome, ...]:
        return tuple(claim for file in self.files for claim in file.claims)

    @property
    def troubles(self) -> tuple[Trouble, ...]:
        return tuple(trouble for file in self.files for trouble in file.troubles)

    @property
    def failing(self) -> tuple[Change, ...]:
        return tuple(change for change in self.changes if change.kind in self.fail_on)
