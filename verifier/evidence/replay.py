"""The second opinion on a run that an engine found: the simulator lives through it, its meaning judges the claim.

The engine says which instants the run has and that its last one breaks the claim (or shows it); nothing of that is
believed here. Endless runs and the delay views are not replayed.
"""

from __future__ import annotations

from collections.abc import Sequence

from verifier.circuit.netlist import Netlist
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.formula import Eventually, Formula, Never, NeverGlitches, Settles
from verifier.claims.meaning import evaluate, first_breach
from verifier.claims.run import Instant, Run, StepEvents
from verifier.errors import EdgewrightError, InternalDisagreement
from verifier.evidence.budget import SimulationLimit
from verifier.evidence.simulator import Simulator


class Unconfirmed(EdgewrightError):
    """The second opinion could not be finished: there was too much for the simulator to look at."""

    exit_code = 3


def replay(design: Design, instants: Sequence[Instant], claim: Claim, simulator: Simulator | None = None) -> Run:
    """The run through these instants, with events that go with the verdict.

    Pre: the claim's view is the settled one, and its formula one that a finite run breaks or shows.
    Post: the run is possible and permitted; every given holds at all its instants; the claim is broken (`can`: shown)
    at the last instant and at none before it.

    Raises:
        InternalDisagreement: one of these is not so.
        Unconfirmed: there is too much to look at.
        ValueError: no finite run decides the claim or a given.
    """
    if not instants:
        raise InternalDisagreement(f"{design.name}, {claim.name}: the run has no instants")
    try:
        candidates = _possible_events(simulator or Simulator(design.netlist), instants, claim)
    except SimulationLimit as limit:
        raise Unconfirmed(f"{design.name}, {claim.name}: {limit}") from limit
    demands = [given.formula for given in design.givens]
    run = Run(tuple(instants), tuple(_chosen(candidates, instants, claim, demands)))
    _check_givens(design, claim, run)
    _check_end(design, claim, run)
    return run


def _possible_events(simulator: Simulator, instants: Sequence[Instant], claim: Claim) -> list[tuple[StepEvents, ...]]:
    """For each instant, everything that can have happened on the way to it; never nothing."""
    _check_widths(simulator.netlist, instants, claim)
    first = simulator.is_first_instant(instants[0])
    if first is None:
        raise _disagreement(simulator.netlist, claim, 0, "the circuit cannot start like this")
    possible: list[tuple[StepEvents, ...]] = [(first,)]
    for i in range(1, len(instants)):
        if not simulator.permitted_change(instants[i - 1], instants[i]):
            raise _disagreement(simulator.netlist, claim, i, "the inputs may not change like this")
        outcomes = simulator.outcomes_leading_to(instants[i - 1], instants[i])
        if not outcomes:
            raise _disagreement(simulator.netlist, claim, i, "no step leads here")
        possible.append(tuple(outcome.events for outcome in outcomes))
    return possible


def _check_widths(netlist: Netlist, instants: Sequence[Instant], claim: Claim) -> None:
    for i, instant in enumerate(instants):
        if len(instant) != len(netlist.nets):
            message = f"{len(instant)} values for {len(netlist.nets)} nets"
            raise _disagreement(netlist, claim, i, message)


def _chosen(
    candidates: Sequence[tuple[StepEvents, ...]], instants: Sequence[Instant], claim: Claim, demands: Sequence[Formula]
) -> list[StepEvents]:
    """For each step the first events that keep the givens and go with a breach at the last instant and none before.

    Only patterns speak of events, and they speak of each step by itself; so each step is chosen for by itself.
    """
    about_events = [formula for formula in demands if isinstance(formula, NeverGlitches | Settles)]
    judged = claim.formula if isinstance(claim.formula, NeverGlitches | Settles) else None
    chosen: list[StepEvents] = []
    for i, options in enumerate(candidates):
        breach_wanted = i == len(candidates) - 1
        wishes = [(formula, True) for formula in about_events]
        if judged is not None:
            wishes.append((judged, not breach_wanted))
        chosen.append(
            next(
                (events for events in options if all(_holds(f, instants[i], events) == w for f, w in wishes)),
                options[0],
            )
        )
    return chosen


def _holds(formula: Formula, instant: Instant, events: StepEvents) -> bool:
    """The value of a pattern that speaks of one step's events alone."""
    return evaluate(formula, Run((instant,), (events,)))[0] == 1


def _check_givens(design: Design, claim: Claim, run: Run) -> None:
    for given in design.givens:
        breach = first_breach(given.formula, run)
        if breach is not None:
            raise _disagreement(design.netlist, claim, breach, f"given {given.name} does not hold")


def _check_end(design: Design, claim: Claim, run: Run) -> None:
    is_can = claim.kind is ClaimKind.CAN
    reached = first_breach(_never(claim.formula) if is_can else claim.formula, run)
    done = "shown" if is_can else "broken"
    if reached is None:
        raise _disagreement(design.netlist, claim, len(run) - 1, f"the claim is not {done}")
    if reached != len(run) - 1:
        raise _disagreement(design.netlist, claim, reached, f"the claim is {done} before the last instant")


def _never(formula: Formula) -> Formula:
    """What a run that shows this `can` breaks."""
    return Never(operand=formula.operand if isinstance(formula, Eventually) else formula)


def _disagreement(netlist: Netlist, claim: Claim, instant: int, what: str) -> InternalDisagreement:
    return InternalDisagreement(f"{netlist.name}, {claim.name}, instant {instant} of the run: {what}")
