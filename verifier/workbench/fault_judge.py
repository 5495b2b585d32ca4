"""What becomes of one fault: noticed by a claim, harmless, or unnoticed, with what shows it.

First the claims are judged on the faulty circuit as on any other, the cheap ones first; one that gets another verdict
than on the good circuit notices the fault. If all keep theirs, the two circuits are held against each other
(`paired.py` of the views). A proof that the faulty one shows nothing that the good one cannot show makes the fault
harmless, once a fresh solver agrees. A run that seems to tell them apart is followed by the plain simulator through
everything the good circuit might have done; if nothing of that agrees, the fault is unnoticed and the run says how to
tell. Where that is not conclusive, because the good circuit has free choices of its own, all states of a small circuit
are walked.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from verifier.circuit.fault import FaultClass
from verifier.circuit.faulty import faulty
from verifier.circuit.netlist import Netlist
from verifier.claims.claim import Claim, Design, Given, View
from verifier.claims.formula import NeverGlitches, Settles, Signal, walk
from verifier.claims.meaning import first_breach
from verifier.claims.run import Run
from verifier.claims.support import restricts, unsupported
from verifier.claims.tableau import is_about_the_future
from verifier.engines.chooser import Chooser
from verifier.engines.decision import Reached, Undecided, Unreachable
from verifier.errors import InternalDisagreement, SourceError
from verifier.evidence.certificate import recheck
from verifier.evidence.fault_outcome import FaultOutcome, Noticed, Standing
from verifier.evidence.replay import Unconfirmed
from verifier.evidence.simulator import SimulationLimit
from verifier.evidence.telling import Follower, NotFollowed, Telling
from verifier.evidence.verdict import Verdict
from verifier.views.paired import NoPairing, PairedModel
from verifier.workbench.deadline import Alarm, TimeRanOut
from verifier.workbench.judge import Judge, Wishes
from verifier.workbench.suggested_claim import Suggester
from verifier.workbench.too_many_ways import too_many_ways

VERDICTS_ALONE = Wishes(triggers=False)
LONGEST_WALK_SECONDS = 5.0

NO_OUTPUTS = "every claim keeps its verdict, and the circuit has no outputs to compare"
WALKED = "all states of both circuits were walked"
OUT_OF_MEMORY = "its process ran out of the memory it may use"


@dataclass(frozen=True, kw_only=True)
class Batch:
    """Faults of one circuit that are judged one after another, with what they have in common."""

    design: Design
    """The good circuit, with the claims that are asked."""
    verdicts: tuple[Verdict, ...]
    """Of these claims on the good circuit."""
    faults: tuple[FaultClass, ...]
    limit_seconds: float
    """For each fault."""


class FaultJudge:
    """Judges faults of one circuit; what is known of the good circuit is kept from one fault to the next."""

    def __init__(self, batch: Batch) -> None:
        self._design = batch.design
        self._good_verdicts = dict(zip((c.name for c in batch.design.claims), batch.verdicts, strict=True))
        self._limit_seconds = batch.limit_seconds
        self._suggester = Suggester(batch.design)

    def judge(self, fault: FaultClass) -> FaultOutcome:
        """Raises InternalDisagreement when two independent ways of judging differ."""
        started = time.monotonic()
        deadline = started + self._limit_seconds
        outcome = _undecided(f"no answer within {self._limit_seconds:g} s")
        with suppress(TimeRanOut), Alarm(deadline):
            try:
                outcome = self._outcome(fault, deadline)
            except InternalDisagreement as disagreement:
                raise InternalDisagreement(f"{self._design.name}, {_name(fault)}: {disagreement}") from disagreement
        return replace(outcome, seconds=time.monotonic() - started)

    def _outcome(self, fault: FaultClass, deadline: float) -> FaultOutcome:
        board = replace(self._design, netlist=faulty(self._design.netlist, fault.representative))
        try:
            judge = Judge(board, limit_seconds=_left(deadline), depth=None, wishes=VERDICTS_ALONE)
        except SourceError as error:
            return _undecided("; ".join(finding.message for finding in error.diagnostics))
        except Unconfirmed as unconfirmed:
            return _undecided(str(unconfirmed))
        noticed, open_claims = _asked(judge, self._good_verdicts, deadline)
        if noticed is not None:
            return FaultOutcome(standing=Standing.NOTICED, seconds=0.0, noticed=noticed)
        if open_claims:
            return _undecided("; ".join(f"{name}: {reason}" for name, reason in open_claims.items()))
        return self._compared(board, deadline)

    def _compared(self, board: Design, deadline: float) -> FaultOutcome:
        """Pre: every claim has the verdict it has on the good circuit."""
        if not self._design.netlist.outputs:
            return _undecided(NO_OUTPUTS)
        follower = Follower(self._design.netlist, board.netlist)
        try:
            found = compared(self._design, board.netlist, follower, deadline)
            if isinstance(found, FaultOutcome):
                return found
            telling: Telling | None = None
            if isinstance(found, _Candidate):
                with suppress(NotFollowed):
                    telling = follower.told_apart(found.instants)
            if telling is None:
                telling = follower.walked(min(deadline, time.monotonic() + LONGEST_WALK_SECONDS))
        except SimulationLimit:
            return _undecided(f"every claim keeps its verdict, but {too_many_ways(board.netlist)}")
        except NotFollowed as why:
            return _undecided(f"every claim keeps its verdict, and whether the outputs ever tell is open: {why}")
        if telling is None:
            return FaultOutcome(standing=Standing.HARMLESS, seconds=0.0, reason=WALKED)
        return self._unnoticed(board, telling, deadline)

    def _unnoticed(self, board: Design, telling: Telling, deadline: float) -> FaultOutcome:
        good = Run(telling.good, telling.run.events)
        for given in self._design.givens:
            runs = (telling.run, good) if _is_judged_on_a_finite_run(given) else ()
            if any(first_breach(given.formula, run) is not None for run in runs):
                return _undecided(f"every claim keeps its verdict; a difference was found only against {given.name}")
        suggestion = self._suggester.claim_that_notices(telling, deadline)
        return FaultOutcome(standing=Standing.UNNOTICED, seconds=0.0, telling=telling, suggestion=suggestion)


def _name(fault: FaultClass) -> str:
    return fault.representative.name


def _left(deadline: float) -> float:
    return max(deadline - time.monotonic(), 0.001)


def _asked(
    judge: Judge, good_verdicts: Mapping[str, Verdict], deadline: float
) -> tuple[Noticed | None, dict[str, str]]:
    """The first claim with another verdict than on the good circuit; without one, the claims left open."""
    left_open: dict[str, str] = {}
    waiting = by_cost(judge.design.claims)
    for index, claim in enumerate(waiting):
        share = _left(deadline) / (len(waiting) - index + 1)
        result = judge.judge(claim, max(share, _left(deadline) / 2))
        if result.verdict is Verdict.UNDECIDED:
            left_open[claim.name] = result.reason
        elif result.verdict is not good_verdicts[claim.name]:
            return Noticed(claim=claim.name, verdict=result.verdict, run=result.run), {}
    left_open |= dict.fromkeys(good_verdicts.keys() - {claim.name for claim in waiting}, "not judged")
    return None, left_open


def by_cost(claims: Sequence[Claim]) -> list[Claim]:
    """Claims about the past before those about the endless future, which take ten times as long."""
    return sorted(claims, key=lambda claim: is_about_the_future(claim.formula))


@dataclass(frozen=True)
class _Candidate:
    """A run of the faulty circuit that may tell."""

    instants: tuple[tuple[bool, ...], ...]


@dataclass(frozen=True)
class _NoAnswer:
    pass


def compared(
    design: Design, board: Netlist, follower: Follower, deadline: float
) -> FaultOutcome | _Candidate | _NoAnswer:
    """Harmless, or a run that may tell the faulty circuit from the good one."""
    try:
        givens = [given for given in design.givens if speaks_of_inputs(given, design)]
        model = PairedModel(design.netlist, board, givens)
    except NoPairing:
        return _NoAnswer()
    system = model.system()
    match Chooser().decide(system, limit_seconds=round(_left(deadline), 2)):
        case Unreachable() as never:
            try:
                recheck(never.about or system, never.invariant, max(_left(deadline), 0.3))
            except Unconfirmed:
                return _undecided("it was found harmless, but the proof could not be confirmed in time")
            return FaultOutcome(standing=Standing.HARMLESS, seconds=0.0, reason=never.engine)
        case Reached() as reached:
            return _Candidate(model.faulty_instants(reached.counterexample))
        case Undecided():
            return _NoAnswer()


def speaks_of_inputs(given: Given, design: Design) -> bool:
    """Only such a given restricts the good circuit and the faulty one alike, and in a way that a run so far decides."""
    inputs = set(design.netlist.input_nets)
    nodes = list(walk(given.formula))
    nets = {net for node in nodes if isinstance(node, Signal) for net in node.nets}
    about_events = any(isinstance(node, Settles | NeverGlitches) for node in nodes)
    return _is_judged_on_a_finite_run(given) and nets <= inputs and not about_events


def _is_judged_on_a_finite_run(given: Given) -> bool:
    return restricts(given, View.SETTLED) and unsupported(given) is None and not is_about_the_future(given.formula)


def _undecided(reason: str) -> FaultOutcome:
    return FaultOutcome(standing=Standing.UNDECIDED, seconds=0.0, reason=reason)


def judged_one_by_one(batch: Batch) -> Iterator[FaultOutcome]:
    """The outcome of each fault of the batch, in order; running out of memory leaves one undecided."""
    judge = FaultJudge(batch)
    for fault in batch.faults:
        try:
            yield judge.judge(fault)
        except MemoryError:
            yield _undecided(OUT_OF_MEMORY)
        except Exception as error:
            if "out of memory" not in str(error):  # how z3 says it
                raise
            yield _undecided(OUT_OF_MEMORY)


def gone(why: str) -> FaultOutcome:
    """For a fault that could not be judged to the end, whatever the reason outside the judging."""
    return _undecided(why)
