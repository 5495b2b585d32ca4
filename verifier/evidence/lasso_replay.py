"""The second opinion on an endless run: the simulator goes twice round its loop, the claim's meaning is the judge.

The engine says which instants the run has and from which one on they are repeated; nothing of that is believed here.
Finite runs are replayed in `replay.py`; the delay views are not replayed.
"""

from __future__ import annotations

from collections.abc import Sequence

from verifier.circuit.netlist import Input, InputClass
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.formula import Formula, NeverGlitches, Settles
from verifier.claims.lasso_meaning import first_failure, holds_on, shown_on
from verifier.claims.meaning import evaluate
from verifier.claims.run import Instant, Run, StepEvents
from verifier.errors import InternalDisagreement
from verifier.evidence.budget import SimulationLimit
from verifier.evidence.replay import Unconfirmed
from verifier.evidence.simulator import Simulator

_ABOUT_EVENTS = (NeverGlitches, Settles)


def replay_lasso(
    design: Design, instants: Sequence[Instant], loop_from: int, claim: Claim, simulator: Simulator | None = None
) -> Run:
    """The endless run through these instants and round its loop for ever, with events that go with the verdict.

    Pre: the claim's view is the settled one.
    Post: the run is possible and permitted, free-running inputs change for ever, every given holds on it, and the claim
    does not (`can`: is shown).

    The run is given back with the instants as they are, with one exception. Where a formula speaks of events, and the
    step that closes the loop has not the events with which `loop_from` was first reached, the loop is written down
    twice and the second round is the one that is repeated. Where none does, the events at `loop_from` are those of the
    first arrival.

    Raises:
        InternalDisagreement: one of these is not so.
        Unconfirmed: there is too much to look at.
        ValueError: the claim or a given is none of the settled view.
    """
    dispute = _Dispute(design, claim)
    _check_shape(dispute, instants, loop_from)
    # The second round passes through the same instants, and what can follow an instant hangs on nothing else, so no
    # value can differ there. But the events at `loop_from` differ: on the second round they belong to the step that
    # closes the loop, on the first to the step from the prefix, or with `loop_from` 0 to no step at all.
    walk = [*instants, *instants[loop_from:], instants[loop_from]]
    try:
        candidates = _possible_events(dispute, simulator or Simulator(design.netlist), walk)
    except SimulationLimit as limit:
        raise Unconfirmed(f"{design.name}, {claim.name}: {limit}") from limit
    _check_free_running(dispute, instants, loop_from)
    events = [_chosen(design, claim, *arrival) for arrival in zip(walk, candidates, strict=True)]
    run = _run(design, claim, walk, events, loop_from)
    _check_givens(dispute, run)
    _check_claim(dispute, run)
    return run


class _Dispute:
    """Makes the error that says where and why the run cannot be confirmed."""

    def __init__(self, design: Design, claim: Claim) -> None:
        self.design = design
        self.claim = claim

    def at(self, instant: int, what: str) -> InternalDisagreement:
        """Instants past the end of the run are those of its second round."""
        return InternalDisagreement(
            f"{self.design.name}, {self.claim.name}, instant {instant} of the endless run: {what}"
        )


def _check_shape(dispute: _Dispute, instants: Sequence[Instant], loop_from: int) -> None:
    if not 0 <= loop_from < len(instants):
        raise dispute.at(loop_from, f"no loop can start here, the run has {len(instants)} instants")
    expected = len(dispute.design.netlist.nets)
    for i, instant in enumerate(instants):
        if len(instant) != expected:
            raise dispute.at(i, f"{len(instant)} values for {expected} nets")


def _possible_events(dispute: _Dispute, simulator: Simulator, walk: Sequence[Instant]) -> list[tuple[StepEvents, ...]]:
    """For each instant of the walk, everything that can have happened on the way to it; never nothing."""
    first = simulator.is_first_instant(walk[0])
    if first is None:
        raise dispute.at(0, "the circuit cannot start like this")
    possible: list[tuple[StepEvents, ...]] = [(first,)]
    for i in range(1, len(walk)):
        if not simulator.permitted_change(walk[i - 1], walk[i]):
            raise dispute.at(i, "the inputs may not change like this")
        outcomes = simulator.outcomes_leading_to(walk[i - 1], walk[i])
        if not outcomes:
            raise dispute.at(i, "no step leads here")
        possible.append(tuple(outcome.events for outcome in outcomes))
    return possible


def _check_free_running(dispute: _Dispute, instants: Sequence[Instant], loop_from: int) -> None:
    loop = [*instants[loop_from:], instants[loop_from]]
    for pin in dispute.design.netlist.inputs:
        if pin.input_class is InputClass.FREE_RUNNING and not _changes(pin, loop):
            raise dispute.at(loop_from, f"free-running {pin.name} changes no more from here on")


def _changes(pin: Input, instants: Sequence[Instant]) -> bool:
    return any(instant[net] != instants[0][net] for instant in instants for net in pin.nets)


def _chosen(design: Design, claim: Claim, instant: Instant, options: Sequence[StepEvents]) -> StepEvents:
    """Of what can have happened on the way to the instant, the first that goes with the verdict, givens before claim.

    Only patterns speak of events, and they speak of each step by itself; so each step is chosen for by itself.
    """
    givens = [given.formula for given in design.givens if isinstance(given.formula, _ABOUT_EVENTS)]
    keeping = [events for events in options if all(_holds(formula, instant, events) for formula in givens)]
    kept = keeping or list(options)
    if not isinstance(claim.formula, _ABOUT_EVENTS):
        return kept[0]
    wanted = claim.kind is ClaimKind.CAN
    return next((events for events in kept if _holds(claim.formula, instant, events) == wanted), kept[0])


def _holds(formula: Formula, instant: Instant, events: StepEvents) -> bool:
    """The value of a pattern that speaks of one step's events alone."""
    return evaluate(formula, Run((instant,), (events,)))[0] == 1


def _run(design: Design, claim: Claim, walk: Sequence[Instant], events: Sequence[StepEvents], loop_from: int) -> Run:
    """The walk without what it repeats: always the last instant, and the second round unless its events are needed."""
    second_round = (len(walk) - 1 + loop_from) // 2
    formulas = [claim.formula, *(given.formula for given in design.givens)]
    about_events = any(isinstance(formula, _ABOUT_EVENTS) for formula in formulas)
    if about_events and events[second_round] != events[loop_from]:
        return Run(tuple(walk[:-1]), tuple(events[:-1]), loop_from=second_round)
    return Run(tuple(walk[:second_round]), tuple(events[:second_round]), loop_from=loop_from)


def _check_givens(dispute: _Dispute, run: Run) -> None:
    for given in dispute.design.givens:
        failure = first_failure(given.formula, run)
        if failure is not None:
            raise dispute.at(failure, f"given {given.name} does not hold")


def _check_claim(dispute: _Dispute, run: Run) -> None:
    formula = dispute.claim.formula
    if dispute.claim.kind is ClaimKind.CAN:
        if not shown_on(formula, run):
            raise dispute.at(len(run) - 1, "the claim is not shown, nor is it ever after")
    elif holds_on(formula, run):
        raise dispute.at(len(run) - 1, "the claim is not broken, nor is it ever after")
