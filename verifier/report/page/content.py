"""Everything a page is made of, gathered before any markup is written. Plain data."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from verifier.claims.claim import Design
from verifier.evidence.verdict import DesignResult
from verifier.report.page.machine import Machine

ClaimKey = tuple[str, str, str]
"""File and name of a circuit, name of a claim."""


@dataclass(frozen=True, kw_only=True)
class Proof:
    """What a proof rests on, in words."""

    sentences: tuple[str, ...] = ()
    """The invariant, one sentence for each of its parts."""
    alone: bool = False
    """No invariant is needed: the claim holds in every state."""
    notes: tuple[str, ...] = ()
    """What else is to be said about it."""


@dataclass(frozen=True, kw_only=True)
class SweepPoint:
    given: int
    value: int | None
    """None: no number was proved at this given."""
    told: str
    """The same in words."""


@dataclass(frozen=True, kw_only=True)
class Sweep:
    """Tightest numbers against a given that was varied."""

    circuit: str
    claim: str
    text: str
    """The claim as written."""
    given: str
    """What was varied, in words."""
    unit: str
    """Of what was varied."""
    value_unit: str
    of: str = ""
    """What the `?` stands in, where that is not the claim."""
    points: tuple[SweepPoint, ...]


@dataclass(frozen=True, kw_only=True)
class Content:
    version: str
    path: str
    results: Sequence[DesignResult]
    refused: Sequence[Design] = ()
    machines: Mapping[tuple[str, str], Machine] = field(default_factory=dict)
    """By file and name of the circuit; circuits without one cannot be tried."""
    proofs: Mapping[ClaimKey, Proof] = field(default_factory=dict)
    sweeps: Sequence[Sweep] = ()
