"""How one claim comes to its verdict: through view, engine and second opinion.

The one rule here: nothing is `proved` or `impossible` before a fresh solver has agreed with the invariant, and nothing
is `broken` or `shown` before the plain simulator has lived through the run and the claim's textbook meaning agreed. A
second opinion that could not be finished makes the verdict `undecided`; one that disagrees is an internal error, never
a verdict.
"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from verifier.claims.asked_number import asked_bound
from verifier.claims.claim import Claim, ClaimKind, Design, View
from verifier.claims.run import Run
from verifier.claims.support import restricts
from verifier.claims.trigger import trigger_claim
from verifier.engines.chooser import Chooser
from verifier.engines.decision import Decision, Reached, Undecided, Unreachable
from verifier.engines.endless import Contradictory, Endless, Permission, permitted_forever
from verifier.engines.endless_search import decide_endless
from verifier.errors import Diagnostic, InternalDisagreement, SourceError, Span
from verifier.evidence.certificate import recheck
from verifier.evidence.lasso_replay import replay_lasso
from verifier.evidence.replay import Unconfirmed, replay
from verifier.evidence.simulator import SimulationLimit, Simulator
from verifier.evidence.verdict import ClaimResult, Trigger, Verdict
from verifier.logic.transition_system import Invariant, TransitionSystem
from verifier.report.pieces import listing
from verifier.views.settled import SettledModel
from verifier.workbench.measuring import measure
from verifier.workbench.selection import source_line
from verifier.workbench.too_many_ways import why_unconfirmed
from verifier.workbench.whole_loop import whole_loop

if TYPE_CHECKING:
    from verifier.workbench.delay_judge import DelayJudge

PARTS_OF_THE_TIME = 4
"""One part in so many is for finding out whether any run is permitted at all; the rest is for the claims."""
LEAST_RECHECK_SECONDS, MOST_RECHECK_SECONDS = 0.3, 10.0

OnDepth = Callable[[int], None]
"""Told now and then how many instants of all runs have been searched for the claim at hand."""

CONTRADICTORY_GIVENS = "contradictory-givens"
TRIGGER_NOT_SETTLED = "whether its trigger can happen at all was not found out"


@dataclass(frozen=True, kw_only=True)
class Wishes:
    """What is wanted beside the verdicts."""

    witnesses: bool = False
    """For every `must`, a run that shows its trigger."""
    certificates: bool = False
    """Proofs whose registers have the same names whenever the same claim on the same circuit is proved."""
    triggers: bool = True
    """For every `must`, whether its trigger can happen."""


NOTHING_MORE = Wishes()


class Judge:
    """Judges the claims of one design, one after another; those of the settled view share model and solvers."""

    def __init__(
        self,
        design: Design,
        *,
        limit_seconds: float,
        depth: int | None,
        on_depth: OnDepth | None = None,
        wishes: Wishes = NOTHING_MORE,
    ) -> None:
        """Raises SourceError when nothing can be judged: no power-up state, or givens that permit no endless run; or
        when a claim of the timed view lacks delays.

        A circuit about whose settled view nothing was claimed is not refused for the sake of it: `settles` is dropped.
        """
        self.design = design
        """In the end with the claims that are judged."""
        givens = tuple(given for given in design.givens if restricts(given, View.SETTLED))
        self._settled = dataclasses.replace(design, givens=givens)
        self._delayed: dict[View, DelayJudge] = {}
        self._on_depth = on_depth
        self._limit_seconds = limit_seconds
        self._deadline = time.monotonic() + limit_seconds
        """When the claim at hand must have its verdict."""
        self._depth = depth
        self._wishes = wishes
        self._model = SettledModel(self._settled)
        self._simulator = Simulator(design.netlist)
        self._chooser = Chooser()
        self.design, self.doubts = self._permitted()
        """Sentences about what could not be established beforehand."""
        for view in dict.fromkeys(claim.view for claim in design.claims):
            if view is not View.SETTLED:
                self.doubts += self._delay_judge(view).doubts

    @property
    def model(self) -> SettledModel:
        """What the last claim of the settled view was judged in."""
        return self._model

    def _delay_judge(self, view: View) -> DelayJudge:
        from verifier.workbench.delay_judge import DelayJudge

        if view not in self._delayed:
            self._delayed[view] = DelayJudge(
                self.design,
                view,
                limit_seconds=self._limit_seconds,
                depth=self._depth,
                on_progress=self._on_depth,
                witnesses=self._wishes.witnesses,
            )
        return self._delayed[view]

    def judge(self, claim: Claim, limit_seconds: float | None = None) -> ClaimResult:
        """The verdict, once the second opinion agrees; within this limit or that of the judge.

        Raises InternalDisagreement when it does not.
        """
        started = time.monotonic()
        self._deadline = started + (self._limit_seconds if limit_seconds is None else limit_seconds)
        if self._wishes.certificates:
            self._model = SettledModel(self._settled)  # names count the memories of all claims that a model has seen
        try:
            result = self._judged(claim)
        except InternalDisagreement as disagreement:
            raise InternalDisagreement(
                f"circuit {self.design.name}, claim {claim.name}: {disagreement}"
            ) from disagreement
        return dataclasses.replace(result, seconds=time.monotonic() - started)

    def _judged(self, claim: Claim) -> ClaimResult:
        if claim.view is not View.SETTLED:
            return self._delay_judge(claim.view).judge(claim, self._deadline)
        if asked_bound(claim.formula) is not None:
            return measure(claim, self._settled_result)
        return self._settled_result(claim)

    def _settled_result(self, claim: Claim) -> ClaimResult:
        result = self._verdict(claim)
        return self._with_trigger(result) if claim.kind is ClaimKind.MUST and self._wishes.triggers else result

    def _verdict(self, claim: Claim) -> ClaimResult:
        system = self._model.system(claim)
        match self._decide(system):
            case Reached() as reached:
                return self._confirmed(claim, reached)
            case Unreachable() as unreachable:
                certified = unreachable.about or system
                doubt = self._second_opinion(certified, unreachable.invariant)
                if doubt:
                    return _undecided(claim, unreachable.engine, doubt)
                return self._proved(claim, unreachable, certified)
            case Undecided(reason=reason, engine=engine):
                return _undecided(claim, engine, reason)

    def _decide(self, system: TransitionSystem) -> Decision:
        decide = self._chooser.decide if system.fairness is None else decide_endless
        left = round(max(self._deadline - time.monotonic(), 0.0), 2)  # it is told when it was not enough
        return decide(system, limit_seconds=left, depth=self._depth, progress=self._on_depth)

    def _second_opinion(self, certified: TransitionSystem, invariant: Invariant) -> str:
        """Why a fresh solver could not confirm the proof in the time that is left; nothing when it did.

        Raises InternalDisagreement when it does not agree.
        """
        left = self._deadline - time.monotonic()
        try:
            recheck(certified, invariant, min(max(left, LEAST_RECHECK_SECONDS), MOST_RECHECK_SECONDS))
        except Unconfirmed as unconfirmed:
            return f"a proof was found, but could not be confirmed: {unconfirmed}"
        return ""

    def _confirmed(self, claim: Claim, reached: Reached) -> ClaimResult:
        """Broken or shown, if the simulator lives through the same run."""
        try:
            run = self._replayed(claim, reached)
        except Unconfirmed as unconfirmed:
            why = why_unconfirmed(unconfirmed, self.design.netlist)
            return _undecided(claim, reached.engine, f"a run was found, but could not be confirmed: {why}")
        except InternalDisagreement:
            # Three-valued loops promise that proofs are sound, and no more.
            if not self._model.approximate:
                raise
            return _undecided(
                claim, reached.engine, "a loop is too large for its exact table, and the run found may not exist"
            )
        verdict = Verdict.SHOWN if claim.kind is ClaimKind.CAN else Verdict.BROKEN
        return ClaimResult(claim=claim, verdict=verdict, engine=reached.engine, seconds=0.0, run=run)

    def _replayed(self, claim: Claim, reached: Reached) -> Run:
        if reached.loop_from is None:
            return replay(self._settled, self._model.instants_of(reached.counterexample), claim, self._simulator)
        instants, loop_from = whole_loop(self._model, reached.counterexample, reached.loop_from)
        return replay_lasso(self._settled, instants, loop_from, claim, self._simulator)

    def _proved(self, claim: Claim, unreachable: Unreachable, certified: TransitionSystem) -> ClaimResult:
        return ClaimResult(
            claim=claim,
            verdict=Verdict.IMPOSSIBLE if claim.kind is ClaimKind.CAN else Verdict.PROVED,
            engine=unreachable.engine,
            seconds=0.0,
            invariant=unreachable.invariant,
            certified=certified,
        )

    def _with_trigger(self, result: ClaimResult) -> ClaimResult:
        """Says whether the claim's trigger can happen; where that was asked for, with a run that shows it."""
        trigger = self._model.trigger_system(result.claim)
        if trigger is None:
            return dataclasses.replace(result, trigger=Trigger.NONE)
        if result.verdict is not Verdict.PROVED and not self._wishes.witnesses:
            happens = Trigger.HAPPENS if result.verdict is Verdict.BROKEN else Trigger.OPEN
            return dataclasses.replace(result, trigger=happens)
        match self._decide(trigger):
            case Unreachable() as never:
                if self._second_opinion(never.about or trigger, never.invariant):
                    return dataclasses.replace(result, trigger=Trigger.OPEN, reason=TRIGGER_NOT_SETTLED)
                if result.verdict is Verdict.BROKEN:
                    raise InternalDisagreement("the claim is broken, but its trigger can never happen")
                empty = result.verdict is Verdict.PROVED
                return dataclasses.replace(result, trigger=Trigger.NEVER, empty=empty)
            case Undecided():
                reason = result.reason or TRIGGER_NOT_SETTLED
                return dataclasses.replace(result, trigger=Trigger.OPEN, reason=reason)
            case Reached() as reached:
                witness = self._witness(result.claim, reached) if self._wishes.witnesses else None
                return dataclasses.replace(result, trigger=Trigger.HAPPENS, witness=witness)

    def _witness(self, claim: Claim, reached: Reached) -> Run | None:
        """The run that shows the trigger, replayed like that of a `can`; None when it could not be confirmed."""
        shown = trigger_claim(claim)
        return None if shown is None else self._confirmed(shown, reached).run

    def _permitted(self) -> tuple[Design, tuple[str, ...]]:
        """The design with the claims that can be judged, and doubts about them.

        Raises SourceError when the givens permit no endless run, or the circuit cannot even power up.
        """
        match _permission(self._model, self._limit_seconds):
            case Endless():
                return self.design, ()
            case Undecided(reason=reason):
                return self.design, (f"not established: that any endless run is permitted ({reason})",)
            case Contradictory():
                return _without_settled(self.design, self._nothing_permitted())

    def _nothing_permitted(self) -> SourceError:
        design = self._settled
        if not design.givens or _contradictory(dataclasses.replace(design, givens=()), self._limit_seconds):
            if self._powers_up_in_the_simulator():
                raise InternalDisagreement(
                    f"circuit {design.name}: the simulator powers up, the transition system does not"
                )
            return _finding(
                "no-power-up",
                f"the circuit {design.name} has no power-up state: no stable state obeys all that it starts with",
                design.span or Span(design.file, 1, 1, 1, 1),
                "look at the `start` values of its storage and of the gates in its loops",
            )
        alone = (dataclasses.replace(design, givens=(given,)) for given in design.givens)
        culprits = next((one.givens for one in alone if _contradictory(one, self._limit_seconds)), design.givens)
        names = listing([given.name for given in culprits])
        return _finding(
            CONTRADICTORY_GIVENS,
            f"circuit {design.name}: no run obeys the given{'s' if len(culprits) > 1 else ''} {names}",
            culprits[-1].span or Span(design.file, 1, 1, 1, 1),
            "from such givens everything would follow, so nothing is judged",
        )

    def _powers_up_in_the_simulator(self) -> bool:
        """Whether a power-up state with all inputs 0 was found; False leaves the question open."""
        try:
            inputs = dict.fromkeys(self.design.netlist.input_nets, False)
            return next(self._simulator.first_instants(inputs), None) is not None
        except SimulationLimit:
            return False


def _without_settled(design: Design, refusal: SourceError) -> tuple[Design, tuple[str, ...]]:
    """The claims of the delay views alone, and why. Raises the refusal where the file claims more than them."""
    kept = tuple(claim for claim in design.claims if claim.view is not View.SETTLED)
    dropped = [claim for claim in design.claims if claim.view is View.SETTLED]
    if not kept or any(claim.kind is not ClaimKind.ALWAYS_THERE for claim in dropped):
        raise refusal
    why = "; ".join(finding.message for finding in refusal.diagnostics)
    doubt = f"settled view: nothing was judged, not even that the circuit settles ({why})"
    return dataclasses.replace(design, claims=kept), (doubt,) if dropped else ()


def _permission(model: SettledModel, limit_seconds: float) -> Permission:
    """Whether an endless permitted run exists; under givens about the future it must keep their promises too."""
    system = model.permitted_system()
    if system.fairness is None:
        return permitted_forever(system, limit_seconds)
    match decide_endless(system, limit_seconds=limit_seconds):
        case Reached(counterexample=run, loop_from=int(loop_from)):
            return Endless(run, loop_from)
        case Unreachable() as never:
            recheck(never.about or system, never.invariant)
            return Contradictory(0)
        case Undecided() as undecided:
            return undecided
        case other:
            raise InternalDisagreement(f"an endless run without a loop: {other}")


def _contradictory(design: Design, limit_seconds: float) -> bool:
    return isinstance(_permission(SettledModel(design), limit_seconds), Contradictory)


def _finding(code: str, message: str, span: Span, hint: str) -> SourceError:
    return SourceError([Diagnostic(code=code, message=message, span=span, excerpt=source_line(span), hint=hint)])


def _undecided(claim: Claim, engine: str, reason: str) -> ClaimResult:
    return ClaimResult(claim=claim, verdict=Verdict.UNDECIDED, engine=engine, seconds=0.0, reason=reason)
