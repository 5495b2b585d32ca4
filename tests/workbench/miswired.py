"""Circuits of the carillon for campaigns, and what the tests ask of a campaign's evidence."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from verifier.circuit.fault import Fault, FaultClass, Technology
from verifier.circuit.faulty import faulty
from verifier.circuit.single_faults import single_faults
from verifier.claims.claim import Design
from verifier.evidence.fault_outcome import CampaignResult, CircuitCampaign, FaultOutcome, Standing
from verifier.evidence.lasso_replay import replay_lasso
from verifier.evidence.replay import replay
from verifier.evidence.simulator import Simulator
from verifier.evidence.verdict import Verdict
from verifier.language import loads
from verifier.workbench.checking import check_design
from verifier.workbench.fault_judge import Batch

HELD_CHOICE = """\
circuit held_choice
    input  tempo  free running
    input  lever, choose by hand
    output beat
    must no_false_edge: beat changes only when tempo changes or lever changes
    can  run_from_tempo: beat rises and tempo rises
    can  run_from_lever: beat rises and lever rises
    agree    = xnor(tempo, lever)
    on_tempo = latch(choose) while agree high
    beat     = if on_tempo then tempo else lever
"""
TWO_BELLS = """\
circuit two_bells
    input  low_key, high_key
    output low_bell, high_bell
    must never_both: never (low_bell and high_bell)
    low_bell  = low_key
    high_bell = high_key and not low_key
"""


def design_of(text: str) -> Design:
    (design,) = loads(text, "miswired.wiring").designs
    return design


def batch_of(design: Design, faults: tuple[FaultClass, ...], limit_seconds: float = 20.0) -> Batch:
    good = check_design(design, limit=60.0).claims
    verdicts = tuple(result.verdict for result in good)
    assert Verdict.UNDECIDED not in verdicts
    return Batch(design=design, verdicts=verdicts, faults=faults, limit_seconds=limit_seconds)


def all_faults(design: Design, technology: Technology = Technology.TTL) -> tuple[FaultClass, ...]:
    return single_faults(design.netlist, technology)


def named(design: Design, name: str, technology: Technology = Technology.TTL) -> FaultClass:
    return next(one for one in all_faults(design, technology) if any(fault.name == name for fault in one.faults))


def board_with(design: Design, fault: Fault) -> Design:
    return replace(design, netlist=faulty(design.netlist, fault))


def confirm(design: Design, fault: FaultClass, outcome: FaultOutcome) -> None:
    """What an outcome carries is lived through once more by the plain simulator."""
    board = board_with(design, fault.representative)
    if outcome.noticed is not None and outcome.noticed.run is not None:
        run = outcome.noticed.run
        claim = next(claim for claim in design.claims if claim.name == outcome.noticed.claim)
        if run.loop_from is None:
            replay(board, run.instants, claim)
        else:
            replay_lasso(board, run.instants, run.loop_from, claim)
    if outcome.telling is not None:
        lived_through(board, outcome.telling.run.instants)
        lived_through(design, outcome.telling.good)
        faulty_outputs = [outputs(board, instant) for instant in outcome.telling.run.instants]
        good_outputs = [outputs(design, instant) for instant in outcome.telling.good]
        assert faulty_outputs[:-1] == good_outputs[:-1]
        assert faulty_outputs[-1] != good_outputs[-1]


def lived_through(design: Design, instants: tuple[tuple[bool, ...], ...]) -> None:
    simulator = Simulator(design.netlist)
    assert simulator.is_first_instant(instants[0]) is not None
    for before, after in pairwise(instants):
        assert simulator.permitted_change(before, after)
        assert simulator.outcomes_leading_to(before, after)


def outputs(design: Design, instant: tuple[bool, ...]) -> list[bool]:
    return [instant[net] for pin in design.netlist.outputs for net in pin.nets]


def standings(campaign: CircuitCampaign) -> dict[str, Standing]:
    """Name of each fault to what became of it."""
    return {fault.name: one.outcome.standing for one in campaign.judged for fault in one.fault.faults}


def verdicts_of(result: CampaignResult) -> list[tuple[str, str, Standing, str]]:
    """Circuit, fault, standing, and the claim that notices. Which of several runs is found hangs on the clock."""
    return [
        (
            campaign.design.name,
            fault.name,
            one.outcome.standing,
            one.outcome.noticed.claim if one.outcome.noticed else "",
        )
        for campaign in result.circuits
        for one in campaign.judged
        for fault in one.fault.faults
    ]
