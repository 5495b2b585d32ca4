"""Outcomes of faults on random small circuits against brute force that walks every state of both circuits.

EDGEWRIGHT_RANDOM_FAULTS says on how many circuits (10 if it is not set).
"""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import replace
from random import Random

import pytest
from oracle.comparison import expected
from oracle.fault_truth import Pair
from oracle.search import ContradictoryGivensError, NoPowerUpStateError, Oracle
from oracle.targets import TooBigError, Work
from workbench.miswired import board_with, confirm

from verifier.circuit.fault import FaultClass, Technology
from verifier.circuit.netlist import Output
from verifier.circuit.single_faults import single_faults
from verifier.claims.claim import Design
from verifier.evidence.fault_outcome import FaultOutcome, Standing
from verifier.evidence.verdict import Verdict
from verifier.workbench.fault_judge import Batch, FaultJudge

CIRCUITS = int(os.environ.get("EDGEWRIGHT_RANDOM_FAULTS", "10"))
CHUNK = 5
FAULTS_OF_ONE_CIRCUIT = 3
MOST_WORK = 30_000


def drawn(seed: int) -> tuple[Batch, tuple[FaultClass, ...]] | None:
    """A batch of a random circuit with one or two outputs, and the faults to be judged; None: it has no runs."""
    random = Random(seed)
    wanted = expected(random)
    if wanted.no_runs:
        return None
    netlist = wanted.design.netlist
    inner = [net for net in range(len(netlist.nets)) if net not in netlist.input_nets]
    shown = random.sample(inner, min(len(inner), random.choice((1, 1, 2))))
    outputs = tuple(Output(f"bell_{number}", (net,)) for number, net in enumerate(shown))
    asked = [
        (claim, Verdict(answer.verdict))
        for claim, answer in zip(wanted.design.claims, wanted.answers, strict=True)
        if answer.verdict != "broken"
    ]
    design = replace(
        wanted.design, netlist=replace(netlist, outputs=outputs), claims=tuple(claim for claim, _ in asked)
    )
    faults = single_faults(design.netlist, random.choice(list(Technology)))
    chosen = tuple(random.sample(faults, min(FAULTS_OF_ONE_CIRCUIT, len(faults))))
    verdicts = tuple(verdict for _, verdict in asked)
    return Batch(design=design, verdicts=verdicts, faults=chosen, limit_seconds=20.0), chosen


def truth_of(board: Design) -> dict[str, str] | None:
    """Name of each claim to its verdict on the faulty circuit; None: it has no runs."""
    try:
        return {answer.name: answer.verdict for answer in Oracle(board, Work(MOST_WORK)).answers()}
    except (ContradictoryGivensError, NoPowerUpStateError):
        return None


def disagreement(batch: Batch, fault: FaultClass, outcome: FaultOutcome) -> str:
    """What brute force has to say against the outcome; nothing when they agree."""
    design, board = batch.design, board_with(batch.design, fault.representative)
    truth = truth_of(board)
    if outcome.standing is Standing.UNDECIDED:
        return ""
    if truth is None:
        return "the faulty circuit has no runs"
    if outcome.noticed is not None:
        told = truth[outcome.noticed.claim]
        return "" if told == outcome.noticed.verdict.value else f"{outcome.noticed.claim} is {told}"
    changed = [
        claim.name
        for claim, verdict in zip(design.claims, batch.verdicts, strict=True)
        if truth[claim.name] != verdict.value
    ]
    if changed:
        return f"not noticed, but {changed} change"
    if design.givens:
        return ""
    shortest = Pair(design.netlist, board.netlist, Work(MOST_WORK)).shortest_telling()
    if outcome.standing is Standing.HARMLESS:
        return "" if shortest is None else f"harmless, but {shortest} instants tell"
    if outcome.telling is None or shortest is None or len(outcome.telling.run) < shortest:
        return f"no run of {outcome.telling and len(outcome.telling.run)} instants tells; the shortest has {shortest}"
    return ""


@pytest.mark.parametrize("first_seed", range(0, CIRCUITS, CHUNK))
def test_outcomes_agree_with_brute_force(first_seed: int) -> None:
    met: Counter[Standing] = Counter()
    for seed in range(first_seed, min(first_seed + CHUNK, CIRCUITS)):
        found = drawn(seed)
        if found is None:
            continue
        batch, faults = found
        judge = FaultJudge(batch)
        for fault in faults:
            outcome = judge.judge(fault)
            if not batch.design.givens:
                confirm(batch.design, fault, outcome)
            try:
                against = disagreement(batch, fault, outcome)
            except TooBigError:
                continue
            assert not against, f"drawn({seed}), {fault.representative.name}: {against}"
            met[outcome.standing] += 1
    assert sum(met.values()) - met[Standing.UNDECIDED] > 0
