"""A campaign as a machine-readable record: what `faults --json` writes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from verifier.circuit.faulty import faulty
from verifier.claims.claim import Design
from verifier.evidence.fault_outcome import CampaignResult, CircuitCampaign, JudgedFault, Standing
from verifier.report.records import Record, Refused, refused_record, trace_record
from verifier.report.signals import shown_signals


def campaign_record(version: str, result: CampaignResult, refused: Sequence[Refused] = ()) -> Record:
    """`interrupted` and `refused` are there only where they apply."""
    record: Record = {
        "edgewright": version,
        "technology": result.technology.value,
        "circuits": [_circuit(campaign) for campaign in result.circuits],
    }
    if result.interrupted:
        record["interrupted"] = True
    if refused:
        record["refused"] = [refused_record(design, error) for design, error in refused]
    return record


def _circuit(campaign: CircuitCampaign) -> Record:
    count = Counter(one.outcome.standing for one in campaign.judged for _ in one.fault.faults)
    return {
        "name": campaign.design.name,
        "file": campaign.design.file,
        "claims_asked": [claim.name for claim in campaign.design.claims],
        "claims_not_asked": [{"name": name, "why": why} for name, why in campaign.left_out],
        "faults": sum(len(fault.faults) for fault in campaign.faults),
        **{standing.value: count[standing] for standing in Standing},
        "outcomes": [_outcome(campaign.design, one) for one in campaign.judged],
    }


def _outcome(good: Design, one: JudgedFault) -> Record:
    outcome = one.outcome
    record: Record = {
        "faults": [{"name": fault.name, "kind": fault.kind.value} for fault in one.fault.faults],
        "standing": outcome.standing.value,
        "seconds": round(outcome.seconds, 3),
        "noticed_by": None,
        "verdict": None,
        "trace": None,
        "good_trace": None,
        "suggestion": outcome.suggestion or None,
        "reason": outcome.reason or None,
    }
    netlist = faulty(good.netlist, one.fault.representative)
    if outcome.noticed is not None:
        claim = next(claim for claim in good.claims if claim.name == outcome.noticed.claim)
        record |= {"noticed_by": claim.name, "verdict": outcome.noticed.verdict.value}
        if outcome.noticed.run is not None:
            record["trace"] = trace_record(outcome.noticed.run, shown_signals(netlist, claim))
    if outcome.telling is not None:
        run = outcome.telling.run
        record["trace"] = trace_record(run, shown_signals(netlist))
        good_run = type(run)(outcome.telling.good, run.events)
        record["good_trace"] = trace_record(good_run, shown_signals(good.netlist))
    return record
