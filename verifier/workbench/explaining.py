"""Why a claim has the verdict it has: judged as always, then explained.

A broken (shown) claim: which values of the run matter. A proved (impossible) one: the invariant, minimised and judged
again, in words of the circuit's nets, and which assumptions the proof leans on. What is not explained is said.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

from verifier.claims.asked_number import asked_bound, with_amount
from verifier.claims.claim import Claim, Design, View, WiringFile
from verifier.claims.support import restricts
from verifier.errors import CallError, InternalDisagreement
from verifier.evidence.certificate import recheck
from verifier.evidence.explanation import EndlessReason, Explanation, ProofWords, Reason
from verifier.evidence.replay import Unconfirmed
from verifier.evidence.simulator import Simulator
from verifier.evidence.verdict import ClaimResult, Verdict
from verifier.logic.session import NoAnswerError
from verifier.logic.transition_system import Invariant, TransitionSystem
from verifier.views.settled import SettledModel
from verifier.workbench.assumptions import assumptions
from verifier.workbench.checking import DEFAULT_LIMIT_SECONDS, nothing
from verifier.workbench.counted_rounds import counted_rounds
from verifier.workbench.endless_matters import what_matters_for_ever
from verifier.workbench.invariant_words import invariant_in_words
from verifier.workbench.judge import Judge, OnDepth
from verifier.workbench.other_runs import other_runs
from verifier.workbench.selection import one_circuit, selected
from verifier.workbench.slim_invariant import slim_invariant
from verifier.workbench.used_givens import what_it_leans_on
from verifier.workbench.what_matters import what_matters

SHARE_OF_THE_VERDICT = 0.5
MOST_SECONDS_FOR_A_RUN = 20.0
MOST_SECONDS_FOR_WORDS = 10.0

OnStage = Callable[[str], None]
"""Told what is being done, in a few words."""


def explain(
    wiring_file: WiringFile,
    claim: str,
    circuit: str | None = None,
    *,
    limit: float = DEFAULT_LIMIT_SECONDS,
    depth: int | None = None,
    on_stage: OnStage = nothing,
    on_depth: OnDepth = nothing,
) -> Explanation:
    """The verdict on one claim of one circuit, and why it is so; within `limit` seconds or a little more.

    Raises:
        SourceError: the file asks for what cannot be decided, or its givens contradict each other.
        CallError: no such circuit or claim, or several circuits have it and none was named.
        InternalDisagreement: two independent ways of judging differ.
    """
    deadline = time.monotonic() + limit
    design = _design(wiring_file, claim, circuit)
    on_stage(f"{design.name}: judging {claim}")
    judge = Judge(design, limit_seconds=limit * SHARE_OF_THE_VERDICT, depth=depth, on_depth=on_depth)
    if not judge.design.claims:
        raise CallError(f"nothing can be judged about {claim} of {design.name}", "; ".join(judge.doubts))
    result = judge.judge(judge.design.claims[0])
    explanation = Explanation(design=design, result=result, assumes=(*assumptions(design), *judge.doubts))
    return _Explaining(explanation, judge.model, deadline, on_stage).explained()


def _design(wiring_file: WiringFile, claim: str, circuit: str | None) -> Design:
    """The one circuit with the one claim. Raises CallError when several have it."""
    if circuit is not None:
        wiring_file = replace(wiring_file, designs=(one_circuit(wiring_file, circuit),))
    designs = selected(wiring_file, claim=claim)
    if len(designs) > 1:
        names = ", ".join(design.name for design in designs)
        raise CallError(f"{len(designs)} circuits have a claim {claim}", f"choose one with --circuit: {names}")
    return designs[0]


class _Explaining:
    def __init__(self, so_far: Explanation, model: SettledModel, deadline: float, on_stage: OnStage) -> None:
        self._so_far, self._model, self._deadline, self._on_stage = so_far, model, deadline, on_stage
        self._design, self._result = so_far.design, so_far.result
        self._notes: list[str] = []

    def explained(self) -> Explanation:
        result, claim = self._result, self._result.claim
        if result.verdict is Verdict.UNDECIDED:
            self._notes.append("undecided: there is neither a run nor a proof to explain")
            return self._told()
        if result.run is not None:
            return self._told(reason=self._reason(claim))
        measured = result.measured
        if measured is not None and not measured.of:
            self._notes.append(f"what follows is about the claim with {measured.value} in place of its `?`")
            self._result = replace(result, claim=with_amount(claim, measured.value))
        elif measured is not None:
            self._notes.append(f"measured was {measured.of}, so what the proof leans on was not looked into")
            return self._told()
        proof = self._proof()
        self._on_stage("what the proof leans on")
        leaned = what_it_leans_on(
            self._design, self._result, self._deadline, lambda what: self._on_stage(f"without: {what}")
        )
        return self._told(proof=proof, leaned=leaned)

    def _told(self, **found: object) -> Explanation:
        return replace(self._so_far, notes=tuple(self._notes), **found)  # type: ignore[arg-type]

    def _left(self, most: float) -> float:
        return min(self._deadline, time.monotonic() + most)

    def _reason(self, claim: Claim) -> Reason | EndlessReason | None:
        run = self._result.run
        assert run is not None
        if claim.view is not View.SETTLED:
            self._notes.append(
                f"which values of a run matter is not worked out in the {claim.view.value} view; "
                "each row of the run says why a gate fires"
            )
            return None
        if asked_bound(claim.formula) is not None:
            self._notes.append("which values matter is not worked out for a claim with a `?`: put a number there")
            return None
        self._on_stage("what of the run matters")
        if run.loop_from is not None:
            self._notes.append(
                "which inputs could differ in an endless run is not worked out: only which values of the nets that "
                "the claim names it hangs on, and where these come from in this run"
            )
            return what_matters_for_ever(self._design.netlist, claim, run, self._left(MOST_SECONDS_FOR_A_RUN))
        try:
            reason = what_matters(self._model, claim, run, self._left(MOST_SECONDS_FOR_A_RUN))
        except NoAnswerError:
            self._notes.append("which values of the run matter was not found out in time")
            return None
        except InternalDisagreement:
            if not self._model.approximate:
                raise
            self._notes.append("which values matter is not worked out: a loop is too large for its exact table")
            return None
        return self._tried(claim, reason)

    def _tried(self, claim: Claim, reason: Reason) -> Reason:
        self._on_stage("trying other values of what does not matter")
        givens = tuple(given for given in self._design.givens if restricts(given, View.SETTLED))
        design = replace(self._design, givens=givens)
        return replace(reason, tried=other_runs(design, claim, reason, Simulator(design.netlist)))

    def _proof(self) -> ProofWords | None:
        result = self._result
        if result.claim.view is not View.SETTLED:
            told = f": all {result.states} states were looked at, twice" if result.states is not None else ""
            self._notes.append(f"a proof in the {result.claim.view.value} view is not put into words{told}")
            return None
        if result.invariant is None or result.certified is None:
            return None
        self._on_stage("making the invariant small")
        return self._words(result, result.certified, result.invariant)

    def _words(self, result: ClaimResult, system: TransitionSystem, invariant: Invariant) -> ProofWords | None:
        slim = slim_invariant(system, invariant, self._left(MOST_SECONDS_FOR_WORDS))
        try:
            recheck(system, slim.invariant)
        except Unconfirmed as unconfirmed:
            self._notes.append(f"the smaller invariant could not be confirmed: {unconfirmed}")
            return None
        words = invariant_in_words(self._model, system, slim.invariant, result.claim)
        rounds = counted_rounds(system)
        clauses = slim.invariant.clauses
        return ProofWords(
            sentences=words.sentences,
            as_claims=words.as_claims,
            clauses_found=len(invariant.clauses),
            clauses=len(clauses),
            literals=sum(map(len, clauses)),
            minimal=slim.minimal,
            hidden=words.hidden,
            rounds=None if rounds is None else rounds.number,
        )
