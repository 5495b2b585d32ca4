"""Every reachable instant of a design, and from them a verdict on each of its claims (grammar/README.md, 21)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import networkx as nx

from oracle.first_instants import first_instants
from oracle.formulas import Events, Judgement, Memory, judge
from oracle.glitches import may_glitch
from oracle.settled_steps import Inputs, Steps
from oracle.targets import Structure, Work
from verifier.circuit.netlist import Netlist
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.formula import PATTERNS, Formula, NeverGlitches, Settles
from verifier.claims.run import Instant


class NoPowerUpStateError(Exception):
    """There is no first instant."""


class ContradictoryGivensError(Exception):
    """No endless run obeys the givens."""


Memories = tuple[Memory, ...]
"""What each given remembers."""
NOTHING = Events(False, False, frozenset())


@dataclass(frozen=True)
class Arrival:
    """An instant and what happened on the way to it."""

    instant: Instant
    events: Events


def simplified(arrivals: Iterable[Arrival], formula: Formula) -> frozenset[Arrival]:
    """The arrivals with only those events that this claim asks about; far fewer differ then."""
    if isinstance(formula, Settles):
        return frozenset(replace(one, events=replace(one.events, may_glitch=frozenset())) for one in arrivals)
    if isinstance(formula, NeverGlitches):
        nets = frozenset(formula.signal.nets)
        return frozenset(Arrival(one.instant, Events(False, False, one.events.may_glitch & nets)) for one in arrivals)
    return frozenset(Arrival(one.instant, NOTHING) for one in arrivals)


class Behaviour:
    """The runs of one circuit, worked out as they are asked for."""

    def __init__(self, netlist: Netlist, work: Work | None = None) -> None:
        self.work = work or Work()
        self.structure = Structure(netlist, self.work)
        self.steps = Steps(self.structure)
        self._after: dict[tuple[Instant, Inputs], frozenset[Arrival]] = {}
        self._all_after: dict[Instant, frozenset[Arrival]] = {}

    def first(self) -> frozenset[Arrival]:
        return frozenset(
            Arrival(first.instant, Events(first.raced, first.oscillated, frozenset()))
            for first in first_instants(self.structure)
        )

    def step(self, instant: Instant, inputs: Inputs) -> frozenset[Arrival]:
        key = (instant, inputs)
        if key not in self._after:
            outcomes = self.steps.step(instant, inputs)
            self.work.spend(5 * len(outcomes))
            self._after[key] = frozenset(
                Arrival(
                    outcome.instant,
                    Events(
                        outcome.raced,
                        outcome.oscillated,
                        may_glitch(self.structure, instant, outcome.instant, outcome.moved),
                    ),
                )
                for outcome in outcomes
            )
        return self._after[key]

    def after(self, instant: Instant) -> frozenset[Arrival]:
        if instant not in self._all_after:
            possible = [self.step(instant, inputs) for inputs in self.steps.permitted_inputs(instant)]
            self._all_after[instant] = frozenset().union(*possible)
        return self._all_after[instant]

    def reachable(self) -> set[Instant]:
        found = {arrival.instant for arrival in self.first()}
        pending = list(found)
        while pending:
            for arrival in self.after(pending.pop()):
                if arrival.instant not in found:
                    found.add(arrival.instant)
                    pending.append(arrival.instant)
        return found


@dataclass(frozen=True)
class Node:
    """An instant with what the givens and one claim remember of the run up to it."""

    instant: Instant
    givens: Memories
    claim: Memory


@dataclass(frozen=True)
class Answer:
    name: str
    verdict: str
    """`broken`, `proved`, `shown`, `impossible`: the words of the verdicts."""
    length: int | None
    """Instants of the shortest run that breaks or shows the claim."""
    empty: bool


class Oracle:
    """All answers about one design."""

    def __init__(self, design: Design, work: Work | None = None) -> None:
        self.design = design
        self.behaviour = Behaviour(design.netlist, work)
        self.given_formulas = tuple(given.formula for given in design.givens)
        self._givens: dict[tuple[Instant, Memories | None], Memories | None] = {}
        if not self.behaviour.first():
            raise NoPowerUpStateError(design.name)
        if not self._has_endless_run():
            raise ContradictoryGivensError(design.name)

    def answers(self) -> tuple[Answer, ...]:
        return tuple(self.answer(claim) for claim in self.design.claims)

    # Runs that obey the givens

    def _given(self, instant: Instant, memories: Memories | None) -> Memories | None:
        """What the givens remember after this instant; None when one of them does not hold there."""
        key = (instant, memories)
        if key not in self._givens:
            self.behaviour.work.spend(1 + 2 * len(self.given_formulas))
            judged = [
                judge(formula, instant, NOTHING, None if memories is None else memories[index])
                for index, formula in enumerate(self.given_formulas)
            ]
            obeyed = all(one.holds for one in judged)
            self._givens[key] = tuple(one.memory for one in judged) if obeyed else None
        return self._givens[key]

    def _obedient(self, instants: Iterable[Instant], memories: Memories | None) -> Iterator[tuple[Instant, Memories]]:
        for instant in instants:
            following = self._given(instant, memories)
            if following is not None:
                yield instant, following

    def _has_endless_run(self) -> bool:
        """Among instants with the memory of the givens there is a cycle that can be reached."""
        graph = nx.DiGraph()
        pending = list(self._obedient({arrival.instant for arrival in self.behaviour.first()}, None))
        seen = set(pending)
        while pending:
            node = pending.pop()
            for following in self._obedient({arrival.instant for arrival in self.behaviour.after(node[0])}, node[1]):
                graph.add_edge(node, following)
                if following not in seen:
                    seen.add(following)
                    pending.append(following)
        return not nx.is_directed_acyclic_graph(graph)

    # One claim

    def answer(self, claim: Claim) -> Answer:
        """A finite piece that obeys the givens is enough to break, to show and to fire a trigger."""
        is_can = claim.kind is ClaimKind.CAN
        if is_can and isinstance(claim.formula, PATTERNS):
            raise TypeError("`can` takes no pattern")
        triggered = has_trigger = False
        for length, judged in self._walk(claim.formula):
            if judged.holds == is_can:
                return Answer(claim.name, "shown" if is_can else "broken", length, False)
            triggered = triggered or bool(judged.trigger)
            has_trigger = judged.trigger is not None
        if is_can:
            return Answer(claim.name, "impossible", None, False)
        return Answer(claim.name, "proved", None, has_trigger and not triggered)

    def _walk(self, formula: Formula) -> Iterator[tuple[int, Judgement]]:
        """Every (instant, memory) breadth first, each way to it judged, with the length of the run up to it."""
        seen: set[Node] = set()
        level: list[Node] = []
        after: dict[Instant, frozenset[Arrival]] = {}
        for node, judged in self._judged(simplified(self.behaviour.first(), formula), None, formula):
            yield 1, judged
            if node not in seen:
                seen.add(node)
                level.append(node)
        length = 1
        while level:
            length += 1
            following: list[Node] = []
            for origin in level:
                if origin.instant not in after:
                    after[origin.instant] = simplified(self.behaviour.after(origin.instant), formula)
                for node, judged in self._judged(after[origin.instant], origin, formula):
                    yield length, judged
                    if node not in seen:
                        seen.add(node)
                        following.append(node)
            level = following

    def _judged(
        self, arrivals: Iterable[Arrival], origin: Node | None, formula: Formula
    ) -> Iterator[tuple[Node, Judgement]]:
        for arrival in arrivals:
            givens = self._given(arrival.instant, None if origin is None else origin.givens)
            if givens is None:
                continue
            self.behaviour.work.spend(3)
            judged = judge(formula, arrival.instant, arrival.events, None if origin is None else origin.claim)
            yield Node(arrival.instant, givens, judged.memory), judged
