"""Explanations of random circuits, held against the oracle, which shares no code with them.

What does not matter is set to everything it may be; sentences of invariants are judged at every reachable instant; a
claim is judged anew without what its proof was said not to lean on.
"""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from random import Random
from typing import Any

from oracle.comparison import Expected, expected
from oracle.search import Arrival, ContradictoryGivensError, Node, NoPowerUpStateError, Oracle, simplified
from oracle.targets import TooBigError, Work

from verifier.claims.claim import Claim, ClaimKind, Design, WiringFile
from verifier.claims.run import Instant
from verifier.evidence.explanation import Explanation, Kind, Leaning, Reason
from verifier.logic.transition_system import Clause, TransitionSystem
from verifier.workbench.explaining import explain
from verifier.workbench.invariant_words import invariant_formulas
from verifier.workbench.judge import Judge
from verifier.workbench.slim_invariant import slim_invariant
from verifier.workbench.what_matters import what_matters

SEEDS = 20
MOST_WORK = 400_000


def explained(wanted: Expected) -> Iterator[tuple[Design, Explanation]]:
    for claim in wanted.design.claims:
        design = replace(wanted.design, claims=(claim,))
        yield design, explain(WiringFile(design.file, (design,)), claim.name, limit=6.0)


def test_what_does_not_matter_may_be_anything_else() -> None:
    seen: Counter[str] = Counter()
    for seed in range(SEEDS):
        wanted = expected(Random(seed))
        if wanted.no_runs:
            continue
        judge = Judge(wanted.design, limit_seconds=60.0, depth=None)
        for claim in judge.design.claims:
            run = judge.judge(claim).run
            if run is None:
                continue
            reason = what_matters(judge.model, claim, run, time.monotonic() + 60.0)
            kept = _keeping(replace(wanted.design, claims=(claim,)), reason)
            seen["follow"] += sum(at.net not in wanted.design.netlist.input_nets for at in reason.nets)
            assert not kept, f"expected(Random({seed})), {claim.text}: kept by {kept}"
            seen["dimmed"] += len(reason.pins) < reason.candidates
            seen["not only by nets"] += bool(reason.unseen)
            seen["longer"] += len(run) > 2
    assert seen["dimmed"] > 8
    assert seen["not only by nets"] > 0
    assert seen["longer"] > 1
    assert seen["follow"] > 10


def _keeping(design: Design, reason: Reason) -> list[tuple[Instant, ...]]:
    """Input sequences that agree with the reason, after which the claim need not be broken (shown) at its last step."""
    if reason.unseen and design.givens:
        return []
    claim = design.claims[0]
    oracle = Oracle(replace(design, claims=(claim,)), Work(MOST_WORK))
    fates: dict[tuple[Instant, ...], set[bool]] = {}
    for sequence, node_fates in _fates(oracle, claim, reason).items():
        fates.setdefault(sequence, set()).update(node_fates)
    enough = any if reason.unseen else all
    return [sequence for sequence, ends in fates.items() if not enough(ends)]


def _fates(oracle: Oracle, claim: Claim, reason: Reason) -> dict[tuple[Instant, ...], set[bool]]:
    """Each permitted input sequence that agrees, to whether its ways end in a breach (a showing)."""
    netlist = oracle.design.netlist
    pins = {pin.name: pin.nets for pin in netlist.inputs}
    shown = reason.run.instants
    wanted = [{net for name, at in reason.pins if at == step for net in pins[name]} for step in range(len(shown))]
    wanted[0] |= {at.net for at in reason.chances if at.step == 0}

    def agrees(arrival: Arrival, step: int) -> bool:
        return all(arrival.instant[net] == shown[step][net] for net in wanted[step])

    together = any if reason.unseen else all
    open_ended = {at for at in reason.chances if at.step > 0}
    follow = reason.nets - open_ended
    is_can = claim.kind is ClaimKind.CAN
    level: dict[tuple[tuple[Instant, ...], Node | None], bool] = {((), None): False}
    for step in range(len(shown)):
        following: dict[tuple[tuple[Instant, ...], Node | None], bool] = {}
        for sequence, node in level:
            arrivals = oracle.behaviour.first() if node is None else oracle.behaviour.after(node.instant)
            fitting = [arrival for arrival in arrivals if agrees(arrival, step)]
            for reached, judged in oracle._judged(simplified(fitting, claim.formula), node, claim.formula):
                key = ((*sequence, reached.instant), reached)
                # One way to a node may race and another not: all must break the claim, or, as for sequences, some.
                following[key] = together([following.get(key, together is all), judged.holds == is_can])
        level = following
    fates: dict[tuple[Instant, ...], set[bool]] = {}
    for (sequence, _), broken in level.items():
        if not reason.unseen:
            assert all(sequence[at.step][at.net] == shown[at.step][at.net] for at in follow), claim.text
        inputs = tuple(tuple(instant[net] for net in netlist.input_nets) for instant in sequence)
        fates.setdefault(inputs, set()).add(broken)
    return fates


def test_every_sentence_of_an_invariant_holds_at_every_reachable_instant() -> None:
    sentences = 0
    for seed in range(SEEDS):
        wanted = expected(Random(seed))
        if wanted.no_runs:
            continue
        judge = Judge(wanted.design, limit_seconds=60.0, depth=None)
        for claim in judge.design.claims:
            result = judge.judge(claim)
            if result.invariant is None or result.certified is None:
                continue
            slim = slim_invariant(result.certified, result.invariant, None)
            assert slim.minimal
            formulas = invariant_formulas(judge.model, result.certified, slim.invariant)
            claims = tuple(
                Claim(name=f"sentence_{number}", kind=ClaimKind.MUST, formula=formula, text="")
                for number, formula in enumerate(formulas)
            )
            for answer in Oracle(replace(wanted.design, claims=claims), Work(MOST_WORK)).answers():
                assert answer.verdict == "proved", f"expected(Random({seed})), {claim.text}: {answer}"
                sentences += 1
    assert sentences > 10


def test_small_invariants_prove_their_claims_by_brute_force_over_all_states() -> None:
    tried = smaller = 0
    for seed in range(SEEDS):
        wanted = expected(Random(seed))
        if wanted.no_runs:
            continue
        judge = Judge(wanted.design, limit_seconds=60.0, depth=None)
        for claim in judge.design.claims:
            result = judge.judge(claim)
            system = result.certified
            if result.invariant is None or system is None or not _is_small(system):
                continue
            slim = slim_invariant(system, result.invariant, None).invariant
            assert _proves(system, slim.clauses), f"expected(Random({seed})), {claim.text}"
            for left_out in slim.clauses:
                assert not _proves(system, tuple(c for c in slim.clauses if c != left_out)), f"{seed} {claim.text}"
            tried += 1
            smaller += len(slim.clauses) < len(result.invariant.clauses)
    assert tried > 3
    assert smaller > 1


def _is_small(system: TransitionSystem) -> bool:
    return len(system.registers) + len(system.inputs) <= 9


def _proves(system: TransitionSystem, clauses: tuple[Clause, ...]) -> bool:
    """The three rules of an invariant, for every value of registers and inputs."""
    registers = [register.variable for register in system.registers]
    nexts = [register.next for register in system.registers]
    variables = [*registers, *system.inputs]

    def hold(values: dict[int, bool]) -> bool:
        return all(any(values[literal & ~1] != bool(literal & 1) for literal in clause) for clause in clauses)

    if not hold(dict.fromkeys(registers, False)):
        return False
    for bits in product((False, True), repeat=len(variables)):
        now = dict(zip(variables, bits, strict=True))
        if not hold(now):
            continue
        permitted = system.graph.evaluate(system.constraints, now)
        bad, *following = system.graph.evaluate([system.bad, *nexts], now)
        if all(permitted) and (bad or not hold(dict(zip(registers, following, strict=True)))):
            return False
    return True


def test_a_claim_is_proved_without_what_its_proof_does_not_lean_on() -> None:
    seen: Counter[str] = Counter()
    for seed in range(SEEDS):
        wanted = expected(Random(seed))
        if wanted.no_runs:
            continue
        for design, explanation in explained(wanted):
            for leaned in explanation.leaned:
                lighter = _without(design, leaned.kind, leaned.name)
                if lighter is None:
                    continue
                try:
                    (answer,) = Oracle(lighter, Work(MOST_WORK)).answers()
                except (TooBigError, ContradictoryGivensError, NoPowerUpStateError):
                    continue
                proved = answer.verdict == explanation.result.verdict.value
                told = f"expected(Random({seed})), {design.claims[0].text}, without {leaned.what}: {answer}"
                if leaned.leaning is not Leaning.OPEN:
                    assert proved == (leaned.leaning is Leaning.NOT), told
                seen[leaned.kind.value, leaned.leaning.value] += 1
    assert seen[Kind.GIVEN.value, Leaning.NOT.value] > 0
    assert seen[Kind.START.value, Leaning.NOT.value] > 3
    assert seen[Kind.START.value, Leaning.LEANS.value] > 0


def _without(design: Design, kind: Kind, name: str) -> Design | None:
    netlist = design.netlist
    if kind is Kind.GIVEN:
        return replace(design, givens=tuple(given for given in design.givens if given.name != name))
    if kind is Kind.START:
        (net,) = (net for net, described in enumerate(netlist.nets) if described.name == name)

        def freed(parts: tuple[Any, ...]) -> tuple[Any, ...]:
            return tuple(replace(part, start=None) if part.output == net else part for part in parts)

        whole = replace(
            netlist,
            gates=freed(netlist.gates),
            flip_flops=freed(netlist.flip_flops),
            latches=freed(netlist.latches),
            set_resets=freed(netlist.set_resets),
        )
        return replace(design, netlist=whole)
    if not name:
        return replace(design, netlist=replace(netlist, inputs_may_change_together=True))
    return None
