"""The second opinion on a run of a delay view: the simulator follows it, the claim's meaning in time is the judge.

The engine says which instants the run has, at which times, and that its last one breaks the claim (or shows it);
nothing of that is believed here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from verifier.claims.claim import Claim, ClaimKind, Design, View
from verifier.claims.formula import Eventually, Formula, Never, Settles
from verifier.claims.run import Instant, Run, StepEvents
from verifier.claims.support import restricts
from verifier.claims.timed_meaning import first_breach_in_time, repeated_changes, with_every_tick
from verifier.errors import InternalDisagreement
from verifier.evidence.budget import SimulationLimit
from verifier.evidence.delay_simulator import DelaySimulator, DelayState
from verifier.evidence.quiet import quiet_ends
from verifier.evidence.replay import Unconfirmed


def replay_delayed(
    design: Design,
    instants: Sequence[Instant],
    times: Sequence[int],
    claim: Claim,
    timed: bool,
    simulator: DelaySimulator | None = None,
) -> Run:
    """The run through these instants at these times, in ns since the first; the any-delay view looks at no times.

    Where several ns lie between two instants, they stand for ticks (`with_every_tick`). The run given back has no times
    in the any-delay view; `may_glitch` are the nets that change once too often.

    Pre: the claim's view is this one, and its formula one that a finite run breaks or shows, or `settles` in the
    any-delay view.
    Post: the run is possible and permitted; every given that restricts this view holds at all its instants; the claim
    is broken (`can`: shown) at the last instant and at none before it, ticks included. For `settles`, the last instant
    is one from which firings may go on for ever, or the input change from which several quiet instants can be reached;
    whether it is the first such instant is not asked.

    Raises:
        InternalDisagreement: one of these is not so.
        Unconfirmed: there is too much to look at.
        ValueError: no finite run decides the claim or a given, or something has no delay.
    """
    dispute = _Dispute(design, claim)
    _check_shape(dispute, instants, times)
    simulator = simulator or DelaySimulator(design.netlist, timed)
    if simulator.timed is not timed:
        raise ValueError("the simulator is one of the other view")
    bare = Run(tuple(instants), (StepEvents(),) * len(instants), times=tuple(times) if timed else None)
    run = _with_glitches(design, bare)
    try:
        states = simulator.follow(run)
        if isinstance(claim.formula, Settles):
            run = _unsettled(dispute, simulator, run, states)
    except SimulationLimit as limit:
        raise Unconfirmed(f"{design.name}, {claim.name}: {limit}") from limit
    except InternalDisagreement as disagreement:
        raise InternalDisagreement(f"{claim.name}: {disagreement}") from disagreement
    _check_givens(dispute, run, View.TIMED if timed else View.ANY_DELAY)
    if not isinstance(claim.formula, Settles):
        _check_end(dispute, run)
    return run


class _Dispute:
    """Makes the error that says where and why the run cannot be confirmed."""

    def __init__(self, design: Design, claim: Claim) -> None:
        self.design = design
        self.claim = claim

    def at(self, instant: int, what: str) -> InternalDisagreement:
        return InternalDisagreement(f"{self.design.name}, {self.claim.name}, instant {instant} of the run: {what}")

    def at_tick(self, run: Run, instant: int, what: str) -> InternalDisagreement:
        """`instant` counts ticks too."""
        full = with_every_tick(run).run
        when = "" if full.times is None else f", {full.times[instant]} ns"
        return InternalDisagreement(
            f"{self.design.name}, {self.claim.name}, instant {instant} of the run with its ticks{when}: {what}"
        )


def _check_shape(dispute: _Dispute, instants: Sequence[Instant], times: Sequence[int]) -> None:
    if not instants or len(times) != len(instants):
        raise dispute.at(0, f"{len(instants)} instants and {len(times)} times")
    expected = len(dispute.design.netlist.nets)
    for i, instant in enumerate(instants):
        if len(instant) != expected:
            raise dispute.at(i, f"{len(instant)} values for {expected} nets")
        if times[i] < times[max(i - 1, 0)]:
            raise dispute.at(i, f"time goes back to {times[i]} ns")


def _with_glitches(design: Design, run: Run) -> Run:
    repeated = repeated_changes(run, frozenset(design.netlist.input_nets))
    return replace(run, events=tuple(StepEvents(may_glitch=nets) for nets in repeated))


def _unsettled(dispute: _Dispute, simulator: DelaySimulator, run: Run, states: frozenset[DelayState]) -> Run:
    """The run with what breaks `settles` noted at its last instant."""
    if simulator.timed:
        raise ValueError("the timed view does not judge `settles`")
    ends = quiet_ends(simulator, states)
    is_race = len(ends.quiet) > 1 and _ends_in_input_change(dispute.design, run)
    if not (ends.goes_on or is_race):
        raise dispute.at(len(run) - 1, "the circuit settles from here")
    last = replace(run.events[-1], raced=is_race, oscillated=ends.goes_on)
    return replace(run, events=(*run.events[:-1], last))


def _ends_in_input_change(design: Design, run: Run) -> bool:
    return len(run) > 1 and any(run.instants[-1][net] != run.instants[-2][net] for net in design.netlist.input_nets)


def _check_givens(dispute: _Dispute, run: Run, view: View) -> None:
    for given in dispute.design.givens:
        if restricts(given, view):
            breach = first_breach_in_time(given.formula, run, dispute.design.netlist)
            if breach is not None:
                raise dispute.at_tick(run, breach, f"given {given.name} does not hold")


def _check_end(dispute: _Dispute, run: Run) -> None:
    claim, last = dispute.claim, with_every_tick(run).listed[-1]
    is_can = claim.kind is ClaimKind.CAN
    judged = _never(claim.formula) if is_can else claim.formula
    reached = first_breach_in_time(judged, run, dispute.design.netlist)
    done = "shown" if is_can else "broken"
    if reached is None:
        raise dispute.at(len(run) - 1, f"the claim is not {done}")
    if reached != last:
        raise dispute.at_tick(run, reached, f"the claim is {done} before the last instant")


def _never(formula: Formula) -> Formula:
    """What a run that shows this `can` breaks."""
    return Never(operand=formula.operand if isinstance(formula, Eventually) else formula)
