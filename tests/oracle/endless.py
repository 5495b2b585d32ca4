"""Verdicts on claims that need an endless run (grammar/README.md, 21 and 22), from an explicit graph of moments.

A moment is an instant with everything the formulas remember of the past and a guess for every word of the future. The
endless runs are the ways through the graph that end in a loop on which every guess comes true and every free-running
input changes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import product

import networkx as nx

from oracle.formulas import Memory
from oracle.guesses import (
    EITHER,
    GuessingWorker,
    Values,
    broken_on_a_loop,
    future_words,
    needs_endless_run,
    next_guesses,
)
from oracle.search import Answer, Arrival, Behaviour, ContradictoryGivensError, NoPowerUpStateError, Oracle, simplified
from oracle.targets import Work
from verifier.circuit.netlist import InputClass, NetId
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.formula import (
    FUTURE_WORDS,
    AgainAndAgain,
    Always,
    Apply,
    Eventually,
    Formula,
    LeadsTo,
    Literal,
    Next,
    Operator,
)
from verifier.claims.run import Instant

NOTHING_ASKED = Literal(value=1)


@dataclass(frozen=True, kw_only=True)
class Moment:
    """An instant of some run, and what is known there."""

    instant: Instant
    memories: tuple[Memory, ...]
    """One for each given, and the claim's behind them."""
    guesses: tuple[bool, ...]
    """One for each word of the future."""
    operands: tuple[Values, ...]
    hit: bool
    """Here the claim is broken (`must`) or shown (`can`), if the guesses come true."""
    trigger: bool | None


class Moments:
    """The graph of moments of one claim under the givens."""

    def __init__(self, behaviour: Behaviour, givens: tuple[Formula, ...], claim: Formula, is_can: bool) -> None:
        self.behaviour = behaviour
        self.formulas = tuple(_without_unbounded(formula) for formula in (*givens, claim))
        self.claim = claim
        self.is_can = is_can
        self.words = future_words(self.formulas)
        self.free_running = tuple(
            pin.nets for pin in behaviour.structure.netlist.inputs if pin.input_class is InputClass.FREE_RUNNING
        )
        self.graph = nx.DiGraph()
        self.starts = self._explore()
        self.loops = tuple(self._true_loops())
        self.real = self._leading_to_loops()

    # The graph

    def _explore(self) -> tuple[Moment, ...]:
        unknown = tuple(EITHER for _ in self.words)
        starts = tuple(dict.fromkeys(self._moments(self.behaviour.first(), None, unknown)))
        self.graph.add_nodes_from(starts)
        seen, pending = set(starts), list(starts)
        while pending:
            moment = pending.pop()
            allowed = self._allowed(moment)
            for following in self._moments(self.behaviour.after(moment.instant), moment, allowed):
                if not self._next_came_true(moment, following):
                    continue
                self.graph.add_edge(moment, following)
                if following not in seen:
                    seen.add(following)
                    pending.append(following)
        return starts

    def _moments(
        self, arrivals: Iterable[Arrival], origin: Moment | None, allowed: tuple[frozenset[bool], ...]
    ) -> Iterator[Moment]:
        for arrival in simplified(arrivals, self.claim):
            for guesses in product(*allowed):
                moment = self._moment(arrival, origin, guesses)
                if moment is not None and all(self._allowed(moment)):
                    yield moment

    def _moment(self, arrival: Arrival, origin: Moment | None, guesses: tuple[bool, ...]) -> Moment | None:
        """None when a given does not hold here."""
        self.behaviour.work.spend(1 + len(self.formulas))
        guessed = dict(zip(self.words, guesses, strict=True))
        operands: dict[Formula, Values] = {}
        memories: list[Memory] = []
        holds, trigger = True, None
        for index, formula in enumerate(self.formulas):
            worker = GuessingWorker(arrival.instant, None if origin is None else origin.memories[index], guessed)
            holds, trigger = worker.judge(formula, arrival.events)
            is_claim = index == len(self.formulas) - 1
            asked = origin is None or not isinstance(formula, FUTURE_WORDS) or (is_claim and self.is_can)
            holds = holds or not asked
            if not is_claim and not holds:
                return None
            if is_claim and self.is_can:
                holds = not holds
            operands.update(worker.operands)
            memories.append(tuple(worker.new))
        return Moment(
            instant=arrival.instant,
            memories=tuple(memories),
            guesses=guesses,
            operands=tuple(operands[word] for word in self.words),
            hit=not holds,
            trigger=trigger,
        )

    def _allowed(self, moment: Moment) -> tuple[frozenset[bool], ...]:
        return tuple(map(next_guesses, self.words, moment.guesses, moment.operands))

    def _next_came_true(self, moment: Moment, following: Moment) -> bool:
        return all(
            not isinstance(word, Next) or guess == operands[0]
            for word, guess, operands in zip(self.words, moment.guesses, following.operands, strict=True)
        )

    # Loops

    def _true_loops(self) -> Iterator[frozenset[Moment]]:
        """Sets of moments that a run may go through again and again, all of them."""
        pending = [self.graph]
        while pending:
            graph = pending.pop()
            for members in nx.strongly_connected_components(graph):
                component = graph.subgraph(members)
                if component.number_of_edges() == 0:
                    continue
                denied = {moment for moment in members if self._is_denied(moment)}
                if denied:
                    pending.append(graph.subgraph(members - denied))
                elif self._comes_true(members) and all(self._changes(component, nets) for nets in self.free_running):
                    yield frozenset(members)

    def _is_denied(self, moment: Moment) -> bool:
        """What was guessed not to come again and again is here: a loop has no room for the moment."""
        return any(
            isinstance(word, AgainAndAgain) and not guess and operands[0]
            for word, guess, operands in zip(self.words, moment.guesses, moment.operands, strict=True)
        )

    def _comes_true(self, members: Iterable[Moment]) -> bool:
        met = list(members)
        return not any(
            broken_on_a_loop(word, ((moment.guesses[index], moment.operands[index]) for moment in met))
            for index, word in enumerate(self.words)
        )

    def _changes(self, component: nx.DiGraph, nets: tuple[NetId, ...]) -> bool:
        return any(_differ(old, new, nets) for old, new in component.edges)

    def _leading_to_loops(self) -> frozenset[Moment]:
        """The moments of permitted endless runs: all others guess what never comes."""
        found: set[Moment] = set()
        pending = [moment for loop in self.loops for moment in loop]
        while pending:
            moment = pending.pop()
            if moment not in found:
                found.add(moment)
                pending.extend(self.graph.predecessors(moment))
        return frozenset(found)

    # A lasso

    def lasso(self) -> tuple[tuple[Instant, ...], int]:
        """Some permitted endless run with a hit, not the shortest: its instants, and where its loop begins."""
        way = self._way(list(self.starts), [moment for moment in self.real if moment.hit])
        onward = self._way([way[-1]], [moment for loop in self.loops for moment in loop])
        loop = next(members for members in self.loops if onward[-1] in members)
        tour = self._tour(onward[-1], self.graph.subgraph(loop))
        moments = (*way, *onward[1:], *tour[1:-1])
        return tuple(moment.instant for moment in moments), len(way) + len(onward) - 2

    def _way(self, origins: list[Moment], targets: list[Moment]) -> list[Moment]:
        lengths, paths = nx.multi_source_dijkstra(self.graph, set(origins))
        return list(paths[min((moment for moment in targets if moment in lengths), key=lambda moment: lengths[moment])])

    def _tour(self, home: Moment, loop: nx.DiGraph) -> list[Moment]:
        """From home through everything that must be met again and again, and home."""
        tour = [home]
        for old, new in self._stations(loop):
            tour += nx.shortest_path(loop, tour[-1], old)[1:]
            if new != old:
                tour.append(new)
        if len(tour) == 1:
            tour.append(next(iter(loop.successors(home))))
        return tour + nx.shortest_path(loop, tour[-1], home)[1:]

    def _stations(self, loop: nx.DiGraph) -> Iterator[tuple[Moment, Moment]]:
        for nets in self.free_running:
            yield next((old, new) for old, new in loop.edges if _differ(old, new, nets))
        for index in range(len(self.words)):
            for values in sorted({moment.operands[index] for moment in loop}):
                found = next(moment for moment in loop if moment.operands[index] == values)
                yield found, found


def _differ(old: Moment, new: Moment, nets: tuple[NetId, ...]) -> bool:
    return any(old.instant[net] != new.instant[net] for net in nets)


def _without_unbounded(formula: Formula) -> Formula:
    """`F leads to G` at an instant: `F` there implies `G` then or later. It is asked at every instant."""
    if isinstance(formula, LeadsTo) and formula.bound is None:
        return Apply(operator=Operator.IMPLIES, operands=(formula.left, Eventually(operand=formula.right)))
    return formula


def watched(claim: Claim) -> Claim:
    """`must always F` says what `must F` says, and `can eventually F` what `can F` says; they are judged alike."""
    formula = claim.formula
    if not isinstance(formula, Eventually if claim.kind is ClaimKind.CAN else Always):
        return claim
    # At every instant: what starts with a word of the future would be meant at the first alone.
    return claim if isinstance(formula.operand, FUTURE_WORDS) else replace(claim, formula=formula.operand)


class EndlessOracle:
    """All answers about one design, on endless runs where they count and on finite ones where not."""

    def __init__(self, design: Design, work: Work | None = None) -> None:
        self.design = design
        self.behaviour = Behaviour(design.netlist, work)
        self.givens = tuple(given.formula for given in design.givens)
        self.all_endless = any(map(needs_endless_run, self.givens))
        if not self.behaviour.first():
            raise NoPowerUpStateError(design.name)
        asked_endless = any(map(self.is_endless, design.claims))
        self.finite = None if self.all_endless else Oracle(design, work)
        if asked_endless and not self.moments(NOTHING_ASKED, is_can=False).real:
            raise ContradictoryGivensError(design.name)

    def answers(self) -> tuple[Answer, ...]:
        return tuple(self.answer(claim) for claim in self.design.claims)

    def moments(self, claim: Formula, is_can: bool) -> Moments:
        return Moments(self.behaviour, self.givens, claim, is_can)

    def is_endless(self, claim: Claim) -> bool:
        return self.all_endless or needs_endless_run(watched(claim).formula)

    def answer(self, claim: Claim) -> Answer:
        """The length of an endless run is not asked here."""
        claim = watched(claim)
        if not self.is_endless(claim) and self.finite is not None:
            return self.finite.answer(claim)
        is_can = claim.kind is ClaimKind.CAN
        moments = self.moments(claim.formula, is_can)
        hit = any(moment.hit for moment in moments.real)
        if is_can:
            return Answer(claim.name, "shown" if hit else "impossible", None, False)
        if hit:
            return Answer(claim.name, "broken", None, False)
        triggers = {moment.trigger for moment in moments.real}
        return Answer(claim.name, "proved", None, triggers == {False})
