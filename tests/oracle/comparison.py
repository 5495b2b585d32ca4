"""What the oracle expects of a random design, and in what a product's answer differs from it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Set
from dataclasses import dataclass
from random import Random

import verifier
from oracle.formulas import Events
from oracle.random_designs import as_test, random_design
from oracle.search import Answer, Arrival, Behaviour, ContradictoryGivensError, NoPowerUpStateError, Oracle
from oracle.targets import TooBigError, Work
from verifier.circuit.netlist import NetId, Netlist
from verifier.claims.claim import Design
from verifier.claims.run import Instant, StepEvents
from verifier.evidence.simulator import Simulator
from verifier.evidence.verdict import ClaimResult

MOST_WORK = 25_000
"""About a third of a second for one design; some three in a hundred are too big and drawn anew."""
SECONDS_FOR_A_CLAIM = 60.0


@dataclass(frozen=True)
class Expected:
    design: Design
    answers: tuple[Answer, ...]
    """Empty when the design has no runs."""
    no_runs: str = ""
    """`ContradictoryGivensError` or `NoPowerUpStateError` when the answer must be an error."""


def expected(random: Random, at_most: int = MOST_WORK) -> Expected:
    """The next design that the oracle can walk, with its answers."""
    while True:
        design = random_design(random)
        try:
            return Expected(design, Oracle(design, Work(at_most)).answers())
        except (ContradictoryGivensError, NoPowerUpStateError) as none:
            return Expected(design, (), type(none).__name__)
        except TooBigError:
            continue


def count(wanted: Expected, into: Counter[str]) -> None:
    """Adds up what came up, to see that nothing is tested on nothing."""
    into["designs"] += 1
    into[wanted.no_runs or "with runs"] += 1
    for answer in wanted.answers:
        is_settles = answer is wanted.answers[-1]
        into[f"settles {answer.verdict}" if is_settles else answer.verdict] += 1
        into["empty"] += answer.empty
        into["longer than two"] += answer.length is not None and answer.length > 2
        into["longer than four"] += answer.length is not None and answer.length > 4


# Verdicts


def differences(wanted: Expected) -> list[str]:
    """One line for each claim on which `verifier.check_design` says something else; empty when they agree."""
    try:
        result = verifier.check_design(wanted.design, limit=SECONDS_FOR_A_CLAIM, depth=None)
    except (verifier.SourceError, verifier.CallError) as error:
        return [] if wanted.no_runs else [f"an error instead of verdicts: {error}"]
    if wanted.no_runs:
        return [f"verdicts instead of an error ({wanted.no_runs})"]
    return [
        f"{claim.claim.name}: {claim.claim.text}\n    oracle {_of_oracle(answer)}\n    product {_of_product(claim)}"
        for answer, claim in zip(wanted.answers, result.claims, strict=True)
        if _of_oracle(answer) != _of_product(claim)
    ]


def _of_oracle(answer: Answer) -> tuple[str, int | None, bool]:
    return answer.verdict, answer.length, answer.empty


def _of_product(result: ClaimResult) -> tuple[str, int | None, bool]:
    return result.verdict.value, None if result.run is None else len(result.run), result.empty


def report(source: str, design: Design, found: list[str]) -> str:
    lines = "\n".join(found)
    return f"{source}\n{lines}\n\nAs a test:\n\n{as_test(design)}"


# Steps


def step_differences(netlist: Netlist, random: Random, most_steps: int) -> tuple[int, list[str]]:
    """Compares the product's simulator with the oracle at first instants and at steps drawn from all reachable ones."""
    behaviour = Behaviour(netlist, Work(MOST_WORK))
    simulator = Simulator(netlist)
    found: list[str] = []
    firsts = behaviour.first()
    for inputs in sorted({behaviour.steps.inputs_at(first.instant) for first in firsts}):
        wanted = {first for first in firsts if behaviour.steps.inputs_at(first.instant) == inputs}
        told = simulator.first_instants(dict(zip(netlist.input_nets, inputs, strict=True)))
        got = {_arrival(instant, events) for instant, events in told}
        found.extend(_difference(netlist, "first instant", wanted, got))
    steps = [
        (instant, inputs)
        for instant in sorted(behaviour.reachable())
        for inputs in sorted(behaviour.steps.permitted_inputs(instant))
    ]
    chosen = random.sample(steps, min(most_steps, len(steps)))
    for instant, inputs in chosen:
        outcomes = simulator.step(instant, dict(zip(netlist.input_nets, inputs, strict=True)))
        got = {_arrival(outcome.instant, outcome.events) for outcome in outcomes}
        new_inputs = _in_words(netlist, dict(zip(netlist.input_nets, inputs, strict=True)))
        title = f"step from {_in_words(netlist, dict(enumerate(instant)))} with inputs {new_inputs}"
        found.extend(_difference(netlist, title, behaviour.step(instant, inputs), got))
    return len(chosen), found


def _arrival(instant: Instant, events: StepEvents) -> Arrival:
    return Arrival(instant, Events(events.raced, events.oscillated, frozenset(events.may_glitch)))


def _difference(netlist: Netlist, title: str, wanted: Set[Arrival], got: Set[Arrival]) -> list[str]:
    if wanted == got:
        return []
    only_oracle = sorted(_arrival_in_words(netlist, one) for one in wanted - got)
    only_product = sorted(_arrival_in_words(netlist, one) for one in got - wanted)
    return [
        "\n    ".join(
            [title, *(f"oracle only: {o}" for o in only_oracle), *(f"product only: {o}" for o in only_product)]
        )
    ]


def _arrival_in_words(netlist: Netlist, arrival: Arrival) -> str:
    events = arrival.events
    glitching = ", ".join(sorted(netlist.nets[net].name for net in events.may_glitch))
    flags = (
        f"{'race ' if events.raced else ''}{'oscillates ' if events.oscillated else ''}may glitch: {glitching or '-'}"
    )
    return f"{_in_words(netlist, dict(enumerate(arrival.instant)))} {flags}"


def _in_words(netlist: Netlist, values: Mapping[NetId, bool]) -> str:
    return " ".join(f"{netlist.nets[net].name}={int(value)}" for net, value in values.items())
