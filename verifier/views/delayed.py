"""The any-delay and the timed view: a design becomes delay systems, one for each question.

`grammar/README.md`, part IV.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from verifier.circuit.netlist import FlipFlop, Latch, NetId
from verifier.claims import formula as claims
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.formula import Formula, TimingRule
from verifier.claims.run import Instant
from verifier.claims.trigger import trigger_of, watched
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.logic.delay_system import DelayedInstant, DelaySystem, Follower, SourceMove
from verifier.views.delay_algebra import DelayAlgebra, DelayMonitor
from verifier.views.delay_cut import Cut, cut
from verifier.views.delay_elements import DelayedNets
from verifier.views.delay_sources import timed_sources, untimed_sources
from verifier.views.delay_timing import StorageTiming, TimerBench, breach_of, flip_flop_timing, latch_timing


@dataclass(frozen=True, kw_only=True)
class PartSystem:
    """A delay system of a part of a circuit."""

    system: DelaySystem
    freed: tuple[NetId, ...]
    """What the last elements of the system drive; they may do anything."""

    def moved(self, instants: Sequence[DelayedInstant]) -> frozenset[NetId]:
        """The freed nets that change in a run."""
        end = len(self.system.sources) + len(self.system.elements)
        start = end - len(self.freed)
        first = instants[0].values[start:end]
        changed = [any(instant.values[start + i] != first[i] for instant in instants) for i in range(len(self.freed))]
        return frozenset(net for net, moves in zip(self.freed, changed, strict=True) if moves)


class DelayedModel:
    """The questions about one design in one of the delay views; each has a graph of its own."""

    def __init__(self, design: Design, *, timed: bool) -> None:
        self.design = design
        self.timed = timed

    def refuse(self) -> None:
        """Raises SourceError when something has no delay, or an input no timing, that this view needs."""
        bare = dataclasses.replace(self.design, givens=())
        _Question(bare, self.timed).system(claims.Literal(value=1), negated=True)

    def anything(self) -> DelaySystem:
        """Bad: nothing; all that runs can do under the givens."""
        return _Question(self.design, self.timed).system(claims.Literal(value=1), negated=True)

    def system(self, claim: Claim) -> DelaySystem:
        """Bad: a `must` is breached, or a `can` is fulfilled."""
        return _Question(self.design, self.timed).system(watched(claim), negated=claim.kind is not ClaimKind.CAN)

    def part_system(self, claim: Claim, kept: frozenset[NetId]) -> PartSystem:
        """The question of `system`, asked of a part of the circuit: what cannot happen there cannot happen."""
        formula = watched(claim)
        part = cut(self.design.netlist, (formula, *(given.formula for given in self.design.givens)), kept)
        question = _Question(dataclasses.replace(self.design, netlist=part.netlist), self.timed, part)
        system = question.system(formula, negated=claim.kind is not ClaimKind.CAN)
        return PartSystem(system=system, freed=part.freed)

    def trigger_system(self, claim: Claim) -> DelaySystem | None:
        """Bad: the trigger of a `must` holds. None when the claim has no trigger."""
        trigger = trigger_of(claim)
        return None if trigger is None else _Question(self.design, self.timed).system(trigger, negated=False)

    def instants_of(self, found: Sequence[DelayedInstant]) -> tuple[Instant, ...]:
        """Values of all nets."""
        inputs = len(self.design.netlist.input_nets)
        unsure = sum(may_be_unsure(part, self.timed) for part in self.design.netlist.flip_flops)
        return self._instants([instant.values[:inputs] + instant.values[inputs + unsure :] for instant in found])

    def instants_at(self, states: Iterable[int]) -> tuple[Instant, ...]:
        """The same for states given as numbers: bit `i` is bit `i` of sources, elements, followers."""
        width = len(self.design.netlist.nets)
        return self._instants([tuple(bool(state >> place & 1) for place in range(width)) for state in states])

    def _instants(self, found: Sequence[tuple[bool, ...]]) -> tuple[Instant, ...]:
        netlist = self.design.netlist
        nets = DelayedNets(BitGraph(), netlist)
        places = {net: place for place, net in enumerate(_net_order(nets))}
        constants = {net: literal == TRUE for net, literal in nets.now.items() if net not in places}
        order = range(len(netlist.nets))
        return tuple(
            tuple(values[places[net]] if net in places else constants[net] for net in order) for values in found
        )


def may_be_unsure(flip_flop: FlipFlop, timed: bool) -> bool:
    """Whether it has a source bit of its own, after those of the inputs."""
    timing = flip_flop.timing if timed else None
    return timing is not None and bool(timing.set_up or timing.hold)


def _net_order(nets: DelayedNets) -> list[NetId]:
    return [*nets.netlist.input_nets, *(driver.output for driver in nets.elements)]


class _Question:
    """One delay system in the making."""

    def __init__(self, design: Design, timed: bool, part: Cut | None = None) -> None:
        self._design = design
        self._timed = timed
        self._part = part
        self._graph = BitGraph()
        self._nets = DelayedNets(self._graph, design.netlist, *(() if part is None else (part.freed, part.whole)))
        self._bench = TimerBench(self._nets)
        self._tick = self._graph.variable("tick") if timed else FALSE
        self._choices: list[Literal] = []
        self._timings = self._storage_timings() if timed else {}
        patience = None if part is None else part.patience
        self._sources = timed_sources(self._nets, self._bench, patience) if timed else untimed_sources(self._nets)
        self._algebra = DelayAlgebra(self._nets, self._bench, self._tick, self._breaches())
        self._monitor = DelayMonitor(self._algebra)

    def system(self, watched_for: Formula, negated: bool) -> DelaySystem:
        graph, nets = self._graph, self._nets
        (value,) = self._monitor.value(watched_for)
        bad = value ^ 1 if negated else value
        permitted = graph.all_of([self._monitor.value(given.formula)[0] for given in self._design.givens])
        held = self._held_followers()
        memories = self._memories()
        at_first, later = self._at_first(), {self._algebra.first: FALSE}
        elements = [nets.element(driver, self._timed) for driver in nets.elements]
        elements += [nets.freed_element(net) for net in nets.freed]
        still = () if self._part is None else (SourceMove(bits=(), enabled=TRUE),)
        resolving = [move for timing in self._timings.values() for move in timing.resolving]
        resolved = [bit for move in resolving for bit in move.bits]
        doubts = [follower for timing in self._timings.values() for follower in timing.followers]
        first = [nets.possible_at_first()]
        first += [bit.now ^ 1 for bit in resolved]
        first += [follower.bit.now ^ 1 for follower in (*doubts, *self._sources.followers)]
        for memory in memories:
            (value,) = graph.substitute([memory.next], at_first)
            first.append(graph.equivalence(memory.bit.now, value))
        bad_at_first, permitted_at_first = graph.substitute([bad, permitted], at_first)
        bad, permitted = graph.substitute([bad, permitted], later)
        return DelaySystem(
            graph=graph,
            timed=self._timed,
            sources=(*(nets.bits[net] for net in nets.netlist.input_nets), *resolved),
            elements=tuple(elements),
            followers=(
                *doubts,
                *held,
                *self._sources.followers,
                *(Follower(bit=m.bit, next=graph.substitute([m.next], later)[0]) for m in memories),
            ),
            timers=self._bench.timers(later, at_first),
            moves=(*self._sources.moves, *resolving, *still),
            first=graph.all_of(first),
            bad_at_first=bad_at_first,
            bad=bad,
            permitted_at_first=permitted_at_first,
            permitted=permitted,
            holds_time=graph.any_of(
                [self._sources.holds_time, *(timing.holds_time for timing in self._timings.values())]
            ),
            choices=tuple(self._choices),
            tick=self._tick if self._timed else None,
        )

    def _choose(self) -> Literal:
        choice = self._graph.variable("choice")
        self._choices.append(choice)
        return choice

    def _storage_timings(self) -> dict[NetId, StorageTiming]:
        netlist = self._nets.netlist
        parts: list[FlipFlop | Latch] = [*netlist.flip_flops, *netlist.latches]
        found: dict[NetId, StorageTiming] = {}
        for part in parts:
            if part.timing is None:
                continue
            if isinstance(part, FlipFlop):
                found[part.output] = flip_flop_timing(self._nets, part, part.timing, self._bench)
            else:
                found[part.output] = latch_timing(self._nets, part, part.timing, self._bench)
        return found

    def _breaches(self) -> Mapping[tuple[NetId, TimingRule], Literal]:
        watched = () if self._part is None else self._part.watched
        return {
            (output, rule): breach
            for output, timing in self._timings.items()
            for rule, breach in timing.breaches.items()
        } | {(part.output, rule): breach_of(self._nets, part, rule, self._bench) for part, rule in watched}

    def _held_followers(self) -> list[Follower]:
        followers = []
        for output, held in self._nets.held.items():
            timing = self._timings.get(output)
            unsure = FALSE if timing is None else timing.unsure
            choice = FALSE if unsure == FALSE else self._choose()
            after = self._nets.held_after(held.flip_flop, self._choose, choice, unsure)
            followers.append(Follower(bit=held.bit, next=after))
        return followers

    def _memories(self) -> list[Follower]:
        return [
            Follower(bit=bit, next=self._algebra.values[variable]) for variable, bit in self._algebra.memories.items()
        ]

    def _at_first(self) -> dict[Literal, Literal]:
        """The instant before the first one: nets have stood, memories are 0, timers have their start."""
        images = {bit.before: bit.now for bit in self._nets.bits.values()}
        images |= dict.fromkeys(self._algebra.memories, FALSE)
        images |= self._bench.at_first()
        if self._timed:
            images[self._tick] = FALSE
        return images | {self._algebra.first: TRUE}
