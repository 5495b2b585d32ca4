"""What `explain --json` writes: the record of the verdict, as `check` writes it, with the explanation added."""

from __future__ import annotations

from collections.abc import Iterable

from verifier.circuit.netlist import Netlist
from verifier.evidence.explanation import At, EndlessReason, Explanation, Leaned, Link, ProofWords, Reason
from verifier.evidence.verdict import DesignResult
from verifier.report.records import Record, trace_record, verdict_record
from verifier.report.signals import shown_signals


def explanation_record(version: str, explanation: Explanation) -> Record:
    judged = DesignResult(design=explanation.design, claims=(explanation.result,), assumes=explanation.assumes)
    record = verdict_record(version, [judged])
    record["circuits"][0]["claims"][0]["explanation"] = {
        "matters": _matters(explanation.design.netlist, explanation.reason),
        "proof": None if explanation.proof is None else _proof(explanation.proof),
        "assumptions": [_leaned(explanation, one) for one in explanation.leaned],
        "notes": list(explanation.notes),
    }
    return record


def _matters(netlist: Netlist, reason: Reason | EndlessReason | None) -> Record | None:
    """The values that matter, and the chain; `size` is one of `smallest`, `irreducible` and `loose`."""
    if reason is None:
        return None
    shared = {
        "size": reason.smallness.name.lower(),
        "of": reason.candidates,
        "decided_by": _places(netlist, reason.roots),
        "chain": [_link(netlist, link) for link in reason.links],
    }
    if isinstance(reason, EndlessReason):
        return {"endless": True, **shared, "moving": [netlist.nets[net].name for net in reason.moving]}
    tried = reason.tried
    return {
        "endless": False,
        "inputs": [{"at": step, "input": name} for name, step in reason.pins],
        "chances": _places(netlist, reason.chances),
        "ways_at": list(reason.unseen),
        **shared,
        "tried": None if tried is None else {"sequences": tried.runs, "other": tried.differing, "every": tried.every},
    }


def _places(netlist: Netlist, places: Iterable[At]) -> list[Record]:
    return [{"at": at.step, "net": netlist.nets[at.net].name} for at in places]


def _link(netlist: Netlist, link: Link) -> Record:
    return {
        "at": link.at.step,
        "net": netlist.nets[link.at.net].name,
        "how": link.how.value,
        "because": _places(netlist, link.because),
    }


def _proof(proof: ProofWords) -> Record:
    return {
        "sentences": list(proof.sentences),
        "as_claims": proof.as_claims,
        "clauses_found": proof.clauses_found,
        "clauses": proof.clauses,
        "literals": proof.literals,
        "minimal": proof.minimal,
        "untold_clauses": proof.hidden,
        "rounds": proof.rounds,
    }


def _leaned(explanation: Explanation, one: Leaned) -> Record:
    signals = shown_signals(explanation.design.netlist, explanation.result.claim)
    return {
        "kind": one.kind.value,
        "assumption": one.what,
        "name": one.name,
        "leaning": one.leaning.value,
        "given_up_with_the_others": one.together,
        "reason": one.reason,
        "trace_without": None if one.run is None else trace_record(one.run, signals),
    }
