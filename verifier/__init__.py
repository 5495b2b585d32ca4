"""Edgewright: proves small sequential circuits right, or hands over the shortest input sequence that breaks them.

    import verifier

    result = verifier.check("specs/beat_source.wiring")
    for design in result.designs:
        for claim in design.claims:
            print(design.design.name, claim.claim.name, claim.verdict.value)

Importing this package loads next to nothing; each name below is fetched when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from verifier.claims.claim import Claim, ClaimKind, Design, View, WiringFile
    from verifier.claims.run import Run
    from verifier.errors import CallError, EdgewrightError, InternalDisagreement, SourceError
    from verifier.evidence.explanation import Explanation
    from verifier.evidence.gate_outcome import GateResult
    from verifier.evidence.verdict import ClaimResult, DesignResult, FileResult, Verdict
    from verifier.language import load
    from verifier.workbench.campaign import faults
    from verifier.workbench.certificates import recheck_saved, write_certificates
    from verifier.workbench.checking import check, check_design
    from verifier.workbench.equality import equal
    from verifier.workbench.explaining import explain
    from verifier.workbench.gate import gate
    from verifier.workbench.gate_orders import GateTerms
    from verifier.workbench.judge import Wishes
    from verifier.workbench.sequence import play_words

_HOME = {
    "CallError": "verifier.errors",
    "Claim": "verifier.claims.claim",
    "ClaimKind": "verifier.claims.claim",
    "ClaimResult": "verifier.evidence.verdict",
    "Design": "verifier.claims.claim",
    "DesignResult": "verifier.evidence.verdict",
    "EdgewrightError": "verifier.errors",
    "Explanation": "verifier.evidence.explanation",
    "FileResult": "verifier.evidence.verdict",
    "GateResult": "verifier.evidence.gate_outcome",
    "GateTerms": "verifier.workbench.gate_orders",
    "InternalDisagreement": "verifier.errors",
    "Run": "verifier.claims.run",
    "SourceError": "verifier.errors",
    "Verdict": "verifier.evidence.verdict",
    "View": "verifier.claims.claim",
    "Wishes": "verifier.workbench.judge",
    "WiringFile": "verifier.claims.claim",
    "check": "verifier.workbench.checking",
    "check_design": "verifier.workbench.checking",
    "equal": "verifier.workbench.equality",
    "explain": "verifier.workbench.explaining",
    "faults": "verifier.workbench.campaign",
    "gate": "verifier.workbench.gate",
    "load": "verifier.language",
    "play_words": "verifier.workbench.sequence",
    "recheck_saved": "verifier.workbench.certificates",
    "write_certificates": "verifier.workbench.certificates",
}
"""Public name to the module that defines it."""

__all__ = [
    "CallError",
    "Claim",
    "ClaimKind",
    "ClaimResult",
    "Design",
    "DesignResult",
    "EdgewrightError",
    "Explanation",
    "FileResult",
    "GateResult",
    "GateTerms",
    "InternalDisagreement",
    "Run",
    "SourceError",
    "Verdict",
    "View",
    "WiringFile",
    "Wishes",
    "check",
    "check_design",
    "equal",
    "explain",
    "faults",
    "gate",
    "load",
    "play_words",
    "recheck_saved",
    "write_certificates",
]


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("edgewright")
    home = _HOME.get(name)
    if home is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(home), name)


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
