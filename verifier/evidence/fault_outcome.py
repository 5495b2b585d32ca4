"""What came of one fault of a campaign, as plain data."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from verifier.circuit.fault import FaultClass, Technology
from verifier.claims.claim import Design
from verifier.claims.run import Run
from verifier.evidence.telling import Telling
from verifier.evidence.verdict import Verdict


class Standing(Enum):
    NOTICED = "noticed"
    """Some claim gets another verdict than on the good circuit."""
    HARMLESS = "harmless"
    """Proved: whatever the faulty circuit shows at its outputs, the good one can show too."""
    UNNOTICED = "unnoticed"
    """Every claim keeps its verdict, and yet there are steps after which the outputs differ."""
    UNDECIDED = "undecided"


@dataclass(frozen=True, kw_only=True)
class Noticed:
    """The claim that notices the fault, and how."""

    claim: str
    verdict: Verdict
    """On the faulty circuit."""
    run: Run | None
    """The replayed run of the faulty circuit, where the verdict has one; a `can` that is impossible has a proof."""


@dataclass(frozen=True, kw_only=True)
class FaultOutcome:
    standing: Standing
    seconds: float
    noticed: Noticed | None = None
    telling: Telling | None = None
    """Unnoticed: the run that tells."""
    suggestion: str = ""
    """Unnoticed: a claim that is proved on the good circuit and broken by that run, as text; empty: none was found."""
    reason: str = ""
    """Why it is undecided, or how it was found harmless."""


@dataclass(frozen=True)
class JudgedFault:
    fault: FaultClass
    outcome: FaultOutcome


@dataclass(frozen=True, kw_only=True)
class CircuitCampaign:
    """All faults of one circuit, in the order of the fault model, and those of them that were judged."""

    design: Design
    """The good circuit, with the claims that were asked: those whose verdict on it says something."""
    left_out: tuple[tuple[str, str], ...]
    """Names of the other claims, each with the reason."""
    faults: tuple[FaultClass, ...]
    judged: tuple[JudgedFault, ...]
    resumed: int = 0
    """How many of them were judged in an earlier call."""

    def with_standing(self, standing: Standing) -> tuple[JudgedFault, ...]:
        return tuple(one for one in self.judged if one.outcome.standing is standing)


@dataclass(frozen=True, kw_only=True)
class CampaignResult:
    path: str
    technology: Technology
    circuits: tuple[CircuitCampaign, ...]
    interrupted: bool = False
