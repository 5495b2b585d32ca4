"""A recorded verdict judged again about the present circuit: a proof by a fresh solver, a run by the plain simulator.

Nothing that a record says is believed. Whatever cannot be confirmed here is None, and the claim is decided anew; so a
record that was altered, or is about another circuit, costs time and nothing else.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

from verifier.claims.asked_number import Growing, asked_bound, growing, with_amount
from verifier.claims.claim import Claim, ClaimKind, Design, View
from verifier.claims.formula import Settles
from verifier.claims.run import Instant, Run
from verifier.claims.support import restricts
from verifier.claims.trigger import trigger_claim
from verifier.errors import CallError, InternalDisagreement
from verifier.evidence.certificate import failed_check
from verifier.evidence.certificate_reading import matched_invariant, read_certificate
from verifier.evidence.delay_replay import replay_delayed
from verifier.evidence.gate_outcome import Evidence, Recorded, StoredRun
from verifier.evidence.lasso_replay import replay_lasso
from verifier.evidence.replay import Unconfirmed, replay
from verifier.evidence.simulator import Simulator
from verifier.evidence.verdict import ClaimResult, Measured, Trigger, Verdict
from verifier.workbench.certificates import question, rounds_said
from verifier.workbench.counted_rounds import certified_system

PROOF_ENGINE = "recorded proof, judged again"
RUN_ENGINE = "recorded run, played again"

Confirm = Callable[[Claim, StoredRun], Run | None]


def can_be_rejudged(design: Design, claim: Claim, recorded: Recorded) -> bool:
    """Whether the record has what is needed. A timed proof has no certificate: all its states would have to be kept."""
    if any(asked_bound(given.formula) is not None for given in design.givens if restricts(given, claim.view)):
        return False
    if claim.view is View.TIMED and any(pin.apart_asked for pin in design.netlist.inputs):
        return False
    evidence = recorded.evidence
    if asked_bound(claim.formula) is not None:
        return recorded.measured is not None and evidence.beyond is not None and _has_proof(claim, evidence)
    if recorded.verdict in (Verdict.BROKEN, Verdict.SHOWN):
        return evidence.run is not None
    return not recorded.empty and recorded.verdict is not Verdict.UNDECIDED and _has_proof(claim, evidence)


def _has_proof(claim: Claim, evidence: Evidence) -> bool:
    trigger_known = claim.kind is not ClaimKind.MUST or trigger_claim(claim) is None or evidence.witness is not None
    return claim.view is not View.TIMED and bool(evidence.proof) and trigger_known


class Rejudging:
    """Judges recorded verdicts about one design, whose permitted runs somebody has made sure of."""

    def __init__(self, design: Design, limit: float) -> None:
        """`limit` is in seconds, for each check."""
        self._design = design
        self._limit = limit
        self._simulator = Simulator(design.netlist)

    def result(self, claim: Claim, recorded: Recorded) -> ClaimResult | None:
        """The verdict, once it is confirmed; None when it is not, whatever the reason."""
        if not can_be_rejudged(self._design, claim, recorded):
            return None
        try:
            if asked_bound(claim.formula) is not None:
                return self._measured(claim, recorded)
            if recorded.verdict in (Verdict.BROKEN, Verdict.SHOWN):
                return self._by_run(claim, recorded.evidence.run)
            return self._by_proof(claim, recorded.evidence)
        except (InternalDisagreement, Unconfirmed, CallError, ValueError):
            return None

    def _by_run(self, claim: Claim, stored: StoredRun | None) -> ClaimResult | None:
        if stored is None:
            return None
        run = self._played(claim, stored)
        is_can = claim.kind is ClaimKind.CAN
        has_trigger = claim.kind is ClaimKind.MUST and trigger_claim(claim) is not None
        return ClaimResult(
            claim=claim,
            verdict=Verdict.SHOWN if is_can else Verdict.BROKEN,
            engine=RUN_ENGINE,
            seconds=0.0,
            run=run,
            trigger=(Trigger.HAPPENS if has_trigger else Trigger.NONE) if claim.kind is ClaimKind.MUST else None,
        )

    def _by_proof(self, claim: Claim, evidence: Evidence) -> ClaimResult | None:
        saved = read_certificate(evidence.proof, "the recorded proof")
        system = certified_system(question(self._design, claim), rounds_said(saved))
        if system is None:
            return None
        invariant = matched_invariant(saved, system)
        if isinstance(invariant, str) or failed_check(system, invariant, self._limit) is not None:
            return None
        proved = ClaimResult(
            claim=claim,
            verdict=Verdict.IMPOSSIBLE if claim.kind is ClaimKind.CAN else Verdict.PROVED,
            engine=PROOF_ENGINE,
            seconds=0.0,
            invariant=invariant,
            certified=system,
        )
        if claim.kind is not ClaimKind.MUST:
            return proved
        trigger = trigger_claim(claim)
        if trigger is None:
            return dataclasses.replace(proved, trigger=Trigger.NONE)
        if evidence.witness is None:
            return None
        witness = self._played(trigger, evidence.witness)
        return dataclasses.replace(proved, trigger=Trigger.HAPPENS, witness=witness)

    def _measured(self, claim: Claim, recorded: Recorded) -> ClaimResult | None:
        """Proved at the number, and broken at the very next: that makes it the tightest."""
        number, beyond = recorded.measured, recorded.evidence.beyond
        if number is None or beyond is None or number.of:
            return None
        further = _next(claim, number.value)
        if further is None or number.beyond != further:
            return None
        proved = self._by_proof(with_amount(claim, number.value), recorded.evidence)
        broken = self._by_run(with_amount(claim, further), beyond)
        bound = asked_bound(claim.formula)
        if proved is None or broken is None or bound is None:
            return None
        measured = Measured(value=number.value, unit=bound.unit.value, beyond=further, run=broken.run)
        return dataclasses.replace(proved, claim=claim, measured=measured)

    def _played(self, claim: Claim, stored: StoredRun) -> Run:
        """Raises InternalDisagreement, Unconfirmed or ValueError when the run does not do what it is stored for."""
        instants = tuple(_instant(digits) for digits in stored.instants)
        givens = tuple(given for given in self._design.givens if restricts(given, claim.view))
        design = dataclasses.replace(self._design, givens=givens)
        if claim.view is View.SETTLED:
            if stored.loop_from is None:
                return replay(design, instants, claim, self._simulator)
            return replay_lasso(design, instants, stored.loop_from, claim, self._simulator)
        if stored.loop_from is not None:
            raise ValueError("a run of a delay view is not endless")
        is_timed = claim.view is View.TIMED
        times = stored.times if is_timed else tuple(0 for _ in instants)
        if times is None or (is_timed and isinstance(claim.formula, Settles)):
            raise ValueError("a timed run without times")
        return replay_delayed(design, instants, times, claim, timed=is_timed)


def _next(claim: Claim, value: int) -> int | None:
    """The number one further on the harder side; None where there is no such side."""
    return {Growing.MORE: value - 1, Growing.FEWER: value + 1}.get(growing(claim.formula) or Growing.UNCLEAR)


def _instant(digits: str) -> Instant:
    if set(digits) - {"0", "1"}:
        raise ValueError("an instant is written in the digits 0 and 1")
    return tuple(digit == "1" for digit in digits)


def stored_run(run: Run | None) -> StoredRun | None:
    """The run as it is kept in a record."""
    if run is None:
        return None
    instants = tuple("".join("1" if value else "0" for value in instant) for instant in run.instants)
    return StoredRun(instants=instants, times=run.times, loop_from=run.loop_from)
