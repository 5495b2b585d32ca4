"""What the brute force expects of a random circuit in a delay view, and in what an answer of the product differs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from random import Random

from oracle.targets import TooBigError, Work

import verifier
from oracle_delays.claim_memory import asks
from oracle_delays.moves import Moves, NoFirstInstantError
from oracle_delays.random_delays import random_wiring
from oracle_delays.rational_runs import random_run
from oracle_delays.real_time_claims import Reading
from oracle_delays.whole_ns import Answer, Behaviour, wants_largest
from verifier.circuit.netlist import FlipFlop, Latch, Netlist, Timing
from verifier.claims.claim import Claim, ClaimKind, Design, View, WiringFile
from verifier.claims.formula import KeepsTiming, Settles, TimingRule
from verifier.evidence.verdict import ClaimResult, DesignResult, Verdict
from verifier.language import loads

MOST_WORK = 30_000
"""About two seconds for one circuit; those that are too big are drawn anew."""
SECONDS_FOR_A_CIRCUIT = 60.0


@dataclass(frozen=True)
class Expected:
    text: str
    file: WiringFile
    answers: dict[str, Answer]
    """By the claim's key; empty when the circuit has no first instant."""

    @property
    def design(self) -> Design:
        return self.file.designs[0]

    @property
    def claims(self) -> list[Claim]:
        return judged_claims(self.design)

    @property
    def view(self) -> View:
        return View.TIMED if any(claim.view is View.TIMED for claim in self.claims) else View.ANY_DELAY

    @property
    def product_names(self) -> dict[str, str]:
        """What the product calls each claim."""
        found = {key(claim): claim.name for claim in self.claims}
        for claim in self.claims:
            if isinstance(claim.formula, KeepsTiming):
                net = self.design.netlist.nets[claim.formula.storage].name
                found[key(claim)] = f"{net}.{claim.formula.rule.value}"
        return found


def key(claim: Claim) -> str:
    """One name for the claim here and in the product, which names the claims that are always there."""
    if isinstance(claim.formula, KeepsTiming):
        return f"{claim.formula.rule.value} of net {claim.formula.storage}"
    return claim.name


def judged_claims(design: Design) -> list[Claim]:
    """The claims of delay views, and what is always there in them."""
    written = [claim for claim in design.claims if claim.view is not View.SETTLED]
    if any(claim.view is View.TIMED for claim in written):
        return [*written, *timing_claims(design.netlist)]
    return [*written, *(replace(claim, view=View.ANY_DELAY) for claim in design.claims if _is_settles(claim))]


def _is_settles(claim: Claim) -> bool:
    return isinstance(claim.formula, Settles)


def timing_claims(netlist: Netlist) -> Iterator[Claim]:
    """A claim for each figure that can be breached."""
    parts: list[FlipFlop | Latch] = [*netlist.flip_flops, *netlist.latches]
    for part in parts:
        for rule, figure in _figures(part):
            formula = KeepsTiming(rule=rule, storage=part.output)
            name = f"{netlist.nets[part.output].name} {rule.value}"
            if figure:
                yield Claim(name=name, kind=ClaimKind.ALWAYS_THERE, formula=formula, text=name, view=View.TIMED)


def _figures(part: FlipFlop | Latch) -> list[tuple[TimingRule, int | None]]:
    timing = part.timing or Timing()
    figures = [
        (TimingRule.SET_UP, timing.set_up),
        (TimingRule.HOLD, timing.hold),
        (TimingRule.CLOCK_WIDTH, timing.clock_width),
    ]
    if isinstance(part, FlipFlop) and (part.clear or part.preset):
        figures.append((TimingRule.CLEAR_WIDTH, timing.clear_width))
    return figures


def expected(random: Random, *, timed: bool = True, at_most: int = MOST_WORK) -> Expected:
    """The next circuit that the brute force can walk, with its answers."""
    while True:
        text = random_wiring(random, timed=timed)
        file = loads(text, "random.wiring")
        claims = judged_claims(file.designs[0])
        behaviour = Behaviour(file.designs[0].netlist, View.TIMED if timed else View.ANY_DELAY, Work(at_most))
        try:
            return Expected(text, file, {key(claim): behaviour.answer(claim) for claim in claims})
        except NoFirstInstantError:
            return Expected(text, file, {})
        except TooBigError:
            continue


def count(wanted: Expected, into: Counter[str]) -> None:
    """Adds up what came up, to see that nothing is tested on nothing."""
    into["circuits"] += 1
    into["no first instant"] += not wanted.answers
    for claim in wanted.claims if wanted.answers else []:
        answer = wanted.answers[key(claim)]
        kind = "figure" if claim.kind is ClaimKind.ALWAYS_THERE else "asked" if asks(claim.formula) else ""
        into[f"{kind} {answer.verdict}".strip()] += 1
        into["empty"] += answer.empty
        into["number"] += answer.number is not None


# The product


def differences(wanted: Expected) -> list[str]:
    """One line for each claim on which the product says something else; empty when they agree."""
    if not wanted.answers:
        told = _judged(wanted, None)
        verdicts = [result.verdict.value for result in told.claims] if isinstance(told, DesignResult) else []
        return [f"verdicts although there is no first instant: {verdicts}"] if verdicts else []
    told = _judged(wanted, None)
    if isinstance(told, DesignResult):
        results = {key(result.claim): result for result in told.claims}
        return [line for name, answer in wanted.answers.items() for line in _difference(name, answer, results)]
    found: list[str] = []
    for name, answer in wanted.answers.items():
        alone = _judged(wanted, wanted.product_names[name])
        results = {key(result.claim): result for result in alone.claims} if isinstance(alone, DesignResult) else {}
        found.extend([f"{name}: {answer}\n    product {alone}"] if not results else _difference(name, answer, results))
    return found


def _judged(wanted: Expected, claim: str | None) -> DesignResult | str:
    """What the product says of all claims or of one; a string when it refuses or disagrees with itself."""
    try:
        limit = SECONDS_FOR_A_CIRCUIT
        return verifier.check(wanted.file, claim=claim, view=wanted.view, limit=limit, processes=0).designs[0]
    except verifier.EdgewrightError as error:
        return f"{type(error).__name__}: {error}"


def _difference(name: str, answer: Answer, results: dict[str, ClaimResult]) -> list[str]:
    if name not in results:
        return [f"{name}: not judged"]
    if agree(answer, results[name]):
        return []
    return [f"{name}: {results[name].claim.text}\n    brute force {answer}\n    product {_in_words(results[name])}"]


def agree(answer: Answer, result: ClaimResult) -> bool:
    if asks(result.claim.formula):
        return _measured_alike(answer, result)
    if _is_settles(result.claim):
        return answer.verdict == result.verdict.value
    ends = (None if answer.run is None else answer.run[-1][0], _end_of(result))
    return (answer.verdict, answer.empty) == (result.verdict.value, result.empty) and ends[0] == ends[1]


def _end_of(result: ClaimResult) -> int | None:
    """In ns; in the any-delay view, in moves."""
    if result.run is None:
        return None
    return (
        len(result.run) - 1 if result.run.times is None or result.claim.view is View.ANY_DELAY else result.run.times[-1]
    )


def _measured_alike(answer: Answer, result: ClaimResult) -> bool:
    """Pulses of no width at all are proved to last 0 ns here, and called broken there; that no number at all will do is
    a verdict here, and may be left undecided there."""
    if answer.verdict == "broken" and result.verdict is Verdict.UNDECIDED:
        return True
    if result.verdict is Verdict.BROKEN:
        no_width = wants_largest(result.claim.formula) and answer.number == 0
        return answer.verdict == "broken" or no_width
    if result.verdict is not Verdict.PROVED or result.measured is None or answer.verdict != "proved":
        return False
    measured = result.measured
    if answer.number is None:
        return measured.beyond is None
    return measured.value == answer.number


def _in_words(result: ClaimResult) -> str:
    measured = None if result.measured is None else (result.measured.value, result.measured.beyond)
    times = None if result.run is None else result.run.times
    return f"{result.verdict.value} empty={result.empty} measured={measured} run at {times} {result.reason}"


# Runs in real time


def beaten_in_real_time(wanted: Expected, random: Random, runs: int, events: int) -> list[str]:
    """What random runs in real time have against the proofs of the brute force."""
    if not wanted.answers:
        return []
    moves = Moves(wanted.design.netlist)
    firsts = moves.first()
    found: list[str] = []
    for _ in range(runs):
        moments = random_run(moves, random, firsts, events)
        reading = Reading(moments)
        for claim in wanted.claims:
            if is_against(reading, claim, wanted.answers[key(claim)]):
                told = " ".join(f"{moment.at}:{''.join(str(int(v)) for v in moment.instant)}" for moment in moments)
                found.append(f"{claim.name}: {claim.text}\n    {wanted.answers[key(claim)]}\n    {told}")
    return found


def is_against(reading: Reading, claim: Claim, answer: Answer) -> bool:
    """Whether the run is against what was proved."""
    if answer.verdict == "impossible":
        return reading.shows(claim.formula)
    if answer.verdict != "proved":
        return False
    if not asks(claim.formula):
        return reading.breaks(claim.formula)
    if answer.number is not None:
        return reading.is_beaten(claim.formula, answer.number)
    return wants_largest(claim.formula) and reading.is_beaten(claim.formula, 40)


def report(source: str, wanted: Expected, found: list[str]) -> str:
    return "\n".join([source, *found, "", wanted.text])
