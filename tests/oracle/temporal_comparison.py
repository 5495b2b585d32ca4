"""Where a product's answers about endless runs differ from the oracle's, and what is wrong with the runs it shows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from random import Random

import verifier
from oracle.endless import EndlessOracle, needs_endless_run
from oracle.formulas import Events
from oracle.lasso_truth import Truth
from oracle.random_temporal import random_temporal_design
from oracle.search import Answer, Arrival, Behaviour, ContradictoryGivensError, NoPowerUpStateError
from oracle.targets import TooBigError, Work
from verifier.circuit.netlist import InputClass, Netlist
from verifier.claims.claim import ClaimKind, Design
from verifier.claims.formula import NeverGlitches, Settles
from verifier.claims.run import Run, StepEvents
from verifier.evidence.verdict import ClaimResult

MOST_WORK = 8_000
"""About a fifth of a second for one design; some ten in a hundred are too big and drawn anew."""
SECONDS_FOR_A_CLAIM = 60.0


@dataclass(frozen=True)
class Expected:
    design: Design
    behaviour: Behaviour | None
    """None when the design has no runs."""
    answers: tuple[Answer, ...]
    endless: tuple[bool, ...] = ()
    """For each claim, whether it is judged on endless runs."""
    no_runs: str = ""
    """`ContradictoryGivensError` or `NoPowerUpStateError` when the answer must be an error."""


def expected(random: Random, at_most: int = MOST_WORK) -> Expected:
    """The next design that the oracle can walk, with its answers."""
    while True:
        design = random_temporal_design(random)
        try:
            oracle = EndlessOracle(design, Work(at_most))
            endless = tuple(map(oracle.is_endless, design.claims))
            return Expected(design, oracle.behaviour, oracle.answers(), endless)
        except (ContradictoryGivensError, NoPowerUpStateError) as none:
            return Expected(design, None, (), no_runs=type(none).__name__)
        except TooBigError:
            continue


def count(wanted: Expected, into: Counter[str]) -> None:
    """Adds up what came up, to see that nothing is tested on nothing."""
    into["designs"] += 1
    into[wanted.no_runs or "with runs"] += 1
    into["given about the future"] += any(needs_endless_run(given.formula) for given in wanted.design.givens)
    for answer, endless in zip(wanted.answers[:-1], wanted.endless[:-1], strict=True):
        into[f"{answer.verdict} {'endless' if endless else 'finite'}"] += 1
        into["empty"] += endless and answer.empty
    if wanted.answers and wanted.endless[-1]:
        into[f"settles {wanted.answers[-1].verdict}"] += 1


def differences(wanted: Expected) -> list[str]:
    """One line for each claim on which `verifier.check_design` is found wrong; empty when it is right throughout."""
    try:
        result = verifier.check_design(wanted.design, limit=SECONDS_FOR_A_CLAIM, depth=None)
    except (verifier.SourceError, verifier.CallError) as error:
        return [] if wanted.no_runs else [f"an error instead of verdicts: {error}"]
    if wanted.no_runs or wanted.behaviour is None:
        return [f"verdicts instead of an error ({wanted.no_runs})"]
    found: list[str] = []
    for answer, endless, claim in zip(wanted.answers, wanted.endless, result.claims, strict=True):
        told = (claim.verdict.value, claim.empty)
        length = None if claim.run is None else len(claim.run)
        if told != (answer.verdict, answer.empty) or (not endless and length != answer.length):
            both = f"oracle {answer}\n    product {told} {length} {claim.reason}"
            found.append(f"{claim.claim.name}: {claim.claim.text}\n    {both}")
        elif endless and answer.verdict in ("broken", "shown"):
            found += (f"{claim.claim.name}: {fault}" for fault in run_faults(wanted, claim))
    return found


# The runs shown


def run_faults(wanted: Expected, result: ClaimResult) -> list[str]:
    """Why the product's run is no permitted endless run that breaks or shows the claim."""
    if result.run is None or result.run.loop_from is None:
        return ["no endless run is shown"]
    if wanted.behaviour is None:
        return ["there are no runs"]
    return [
        *_off_the_circuit(wanted.behaviour, result.run),
        *_not_round(wanted.behaviour, result.run, result.run.loop_from),
        *_unfair(wanted.design.netlist, result.run, result.run.loop_from),
        *_untrue(wanted.design, result, result.run, result.run.loop_from),
    ]


def _off_the_circuit(behaviour: Behaviour, run: Run) -> Iterator[str]:
    arrivals = [_arrival(*pair) for pair in zip(run.instants, run.events, strict=True)]
    if arrivals[0] not in behaviour.first():
        yield "the run starts where the circuit does not"
    for number in range(1, len(arrivals)):
        if arrivals[number] not in behaviour.after(arrivals[number - 1].instant):
            yield f"the circuit takes no such step to instant {number}"


def _not_round(behaviour: Behaviour, run: Run, loop_from: int) -> Iterator[str]:
    # What happens on the way back is not told, for the way there may have been another.
    if run.instants[loop_from] not in {arrival.instant for arrival in behaviour.after(run.instants[-1])}:
        yield "the circuit does not come back to where the loop begins"


def _arrival(instant: tuple[bool, ...], events: StepEvents) -> Arrival:
    return Arrival(instant, Events(events.raced, events.oscillated, frozenset(events.may_glitch)))


def _unfair(netlist: Netlist, run: Run, loop_from: int) -> Iterator[str]:
    loop = run.instants[loop_from:]
    for pin in netlist.inputs:
        seen = {tuple(instant[net] for net in pin.nets) for instant in loop}
        if pin.input_class is InputClass.FREE_RUNNING and len(seen) == 1:
            yield f"{pin.name} is free running and stops"


def _untrue(design: Design, result: ClaimResult, run: Run, loop_from: int) -> Iterator[str]:
    truth = Truth(run.instants, loop_from)
    for given in design.givens:
        if not truth.holds(given.formula):
            yield f"the given {given.name} does not hold on the run"
    formula = result.claim.formula
    if isinstance(formula, Settles):
        wrong = not any(events.raced or events.oscillated for events in run.events)
    elif isinstance(formula, NeverGlitches):
        wrong = not any(events.may_glitch & set(formula.signal.nets) for events in run.events)
    elif result.claim.kind is ClaimKind.CAN:
        wrong = not truth.shows(formula)
    else:
        wrong = truth.holds(formula)
    if wrong:
        yield f"the run is no example: it does not {'show' if result.claim.kind is ClaimKind.CAN else 'break'} it"
