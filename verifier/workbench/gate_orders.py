"""Orders of a gate and the answers to them, as they go to other processes and back. Plain data; nothing here is slow to
import.
"""

from __future__ import annotations

from dataclasses import dataclass

from verifier.errors import Diagnostic
from verifier.evidence.gate_outcome import CircuitOutcome, ClaimOutcome, Trouble


@dataclass(frozen=True, kw_only=True)
class GateTerms:
    """What holds for all files of a call."""

    version: str
    against: str | None = None
    """Path of the record of an earlier revision."""
    trust_unchanged: bool = False
    keeps_evidence: bool = False
    """Whether a record will be written."""
    depth: int | None = None
    allow_outside: bool = False


@dataclass(frozen=True, kw_only=True)
class Open:
    """An order: open this file."""

    path: str
    limit: float


@dataclass(frozen=True, kw_only=True)
class Decide:
    """An order: decide these claims of the file's circuit with this index."""

    path: str
    circuit: int
    name: str
    claims: tuple[str, ...]
    weight: int
    """How long it will take, in no unit."""
    limit: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Opened:
    path: str
    circuits: tuple[CircuitOutcome, ...] = ()
    """All of them; claims without a verdict so far are undecided."""
    left: tuple[Decide, ...] = ()
    troubles: tuple[Trouble, ...] = ()
    warnings: tuple[Diagnostic, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Decided:
    order: Decide
    claims: tuple[ClaimOutcome, ...] = ()
    troubles: tuple[Trouble, ...] = ()


Order = Open | Decide
Answer = Opened | Decided


def answer_with(order: Order, trouble: Trouble) -> Answer:
    """The answer to an order that could not be carried out."""
    match order:
        case Open(path=path):
            return Opened(path=path, troubles=(trouble,))
        case Decide():
            return Decided(order=order, troubles=(trouble,))
