"""Claims that are still open after their first turn, and the terms on which they get another. Plain data."""

from __future__ import annotations

from dataclasses import dataclass

from verifier.claims.claim import Claim, Design
from verifier.evidence.verdict import ClaimResult
from verifier.workbench.judge import Wishes


@dataclass(frozen=True, kw_only=True)
class OpenClaim:
    """A claim without an answer so far."""

    design: Design
    claim: Claim
    so_far: ClaimResult


@dataclass(frozen=True, kw_only=True)
class Terms:
    """What holds for all of them."""

    deadline: float
    depth: int | None
    wishes: Wishes
    processes: int
