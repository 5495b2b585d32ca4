"""One step of the settled view as literals: `grammar/README.md`, 12.2 and 12.3, sentence by sentence.

Where the circuit may choose, a fresh free variable chooses. Nothing here knows claims, inputs' classes or the first
instant.

`v[k]` is `Step.rounds[k]`. The symbolic step always works out as many rounds as the structure of the clocks can need;
when a run needs fewer, the later rounds change nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

from verifier.circuit.loops import Component, components, dependences
from verifier.circuit.netlist import (
    Driver,
    Edge,
    FlipFlop,
    FlipFlopKind,
    Gate,
    InputClass,
    Latch,
    NetId,
    Netlist,
    SetReset,
    Storage,
)
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.views.clock_depth import rounds_needed
from verifier.views.gate_logic import both_asynchronous, either_asynchronous, gate_literal, level_literal
from verifier.views.loop_logic import LoopLogic
from verifier.views.loop_result import Chooser

Values = dict[NetId, Literal]


@dataclass(frozen=True, kw_only=True)
class Step:
    rounds: tuple[Values, ...]
    """`v[0]`, `v[1]`, ...; the last one is the next instant."""
    raced: Literal
    oscillated: Literal

    @property
    def end(self) -> Values:
        return self.rounds[-1]


@dataclass(frozen=True, kw_only=True)
class _Round:
    """What one round starts from."""

    number: int
    previous: Values
    """`v[k-1]`."""
    bases: Values
    """Storage outputs to the values they carry into the round."""
    inputs: Mapping[NetId, Literal]
    opened: Mapping[NetId, Literal]
    """Latch outputs to "opened in round k - 1"."""


@dataclass(frozen=True, kw_only=True)
class _Settled:
    values: Values
    raced: Literal
    oscillated: Literal
    resolved_bases: Values
    """The bases after the choice for flip-flops let go by `clear` and `preset` together."""


class StepLogic:
    """Builds steps of one netlist in one graph."""

    def __init__(self, graph: BitGraph, netlist: Netlist, choose: Chooser) -> None:
        self._graph = graph
        self._netlist = netlist
        self._choose = choose
        self._order: tuple[Component, ...] = components(netlist)
        self._loops: dict[tuple[int, frozenset[NetId]], LoopLogic] = {}
        self._most_rounds, self._may_not_end = rounds_needed(netlist)
        self._clocked_alone = frozenset() if self._may_not_end else _inputs_that_change_alone(netlist)
        self._cones: dict[NetId, frozenset[int]] = {}
        self._component_of = {net: index for index, part in enumerate(self._order) for net in part.outputs}

    @property
    def order(self) -> tuple[Component, ...]:
        return self._order

    def loop(self, index: int, held: frozenset[NetId] = frozenset()) -> LoopLogic:
        """The loop at this place in the order; built once."""
        key = (index, held)
        if key not in self._loops:
            self._loops[key] = LoopLogic(self._graph, self._order[index], held)
        return self._loops[key]

    def completed(self, state: Mapping[NetId, Literal]) -> Values:
        """All nets, given inputs, storage and gates in loops: gates outside loops follow."""
        values: Values = dict(state)
        for component in self._order:
            member = component.members[0]
            if isinstance(member, Gate) and not component.is_loop:
                values[member.output] = gate_literal(self._graph, member.kind, [values[n] for n in member.inputs])
        return values

    def step(self, old: Values, inputs: Mapping[NetId, Literal]) -> Step:
        """Everything that can follow `old` when the inputs take these values."""
        graph = self._graph
        storages: list[Storage] = [*self._netlist.flip_flops, *self._netlist.latches, *self._netlist.set_resets]
        most, may_not_end = self._most_rounds, self._may_not_end
        rounds = [old]
        raced = oscillated = FALSE
        bases = {storage.output: old[storage.output] for storage in storages}
        opened: Mapping[NetId, Literal] = {}
        for number in range(1, most + 1):
            start = _Round(number=number, previous=rounds[-1], bases=bases, inputs=inputs, opened=opened)
            settled = self._settle(start)
            rounds.append(settled.values)
            raced = graph.disjunction(raced, settled.raced)
            oscillated = graph.disjunction(oscillated, settled.oscillated)
            edges = {ff.output: self._edge(ff, rounds) for ff in self._netlist.flip_flops}
            opened = {latch.output: self._opening(latch, rounds) for latch in self._netlist.latches}
            due = graph.any_of([*edges.values(), *opened.values()])
            if due == FALSE:
                break
            if number < most:
                bases = {storage.output: settled.values[storage.output] for storage in storages}
                resolved = _Round(
                    number=number,
                    previous=start.previous,
                    bases=settled.resolved_bases,
                    inputs=inputs,
                    opened=start.opened,
                )
                for flip_flop in self._netlist.flip_flops:
                    bases[flip_flop.output] = self._carried(flip_flop, edges[flip_flop.output], rounds, resolved)
            elif may_not_end:
                oscillated = graph.disjunction(oscillated, due)
        return Step(rounds=tuple(rounds), raced=raced, oscillated=oscillated)

    def _edge(self, flip_flop: FlipFlop, rounds: list[Values]) -> Literal:
        before, after = rounds[-2][flip_flop.clock], rounds[-1][flip_flop.clock]
        if flip_flop.edge is Edge.FALL:
            before, after = before ^ 1, after ^ 1
        return self._graph.conjunction(before ^ 1, after)

    def _opening(self, latch: Latch, rounds: list[Values]) -> Literal:
        before, after = level_literal(latch.enable, rounds[-2]), level_literal(latch.enable, rounds[-1])
        return self._graph.conjunction(before ^ 1, after)

    # Settling one round (12.2).

    def _settle(self, start: _Round) -> _Settled:
        values: Values = dict(start.inputs)
        raced = oscillated = FALSE
        bases = dict(start.bases)
        for index, component in enumerate(self._order):
            for member in component.members:
                if isinstance(member, FlipFlop):
                    raced, bases = self._let_go(member, component, start, values, raced, bases)
            if component.is_loop:
                loop_raced, loop_oscillated = self._settle_loop(index, start, bases, values)
                raced = self._graph.disjunction(raced, loop_raced)
                oscillated = self._graph.disjunction(oscillated, loop_oscillated)
                for member in component.members:
                    if isinstance(member, FlipFlop):
                        raced = self._graph.disjunction(raced, self._released_inside(member, start, values))
            else:
                member_raced = self._settle_member(component.members[0], start, bases, values, exact=True)
                raced = self._graph.disjunction(raced, member_raced)
        return _Settled(values=values, raced=raced, oscillated=oscillated, resolved_bases=bases)

    def _let_go(
        self,
        flip_flop: FlipFlop,
        component: Component,
        start: _Round,
        values: Values,
        raced: Literal,
        bases: Values,
    ) -> tuple[Literal, Values]:
        """Both asynchronous pins, coming from outside the component, released in this round: either value."""
        inside = set(component.outputs)
        if flip_flop.clear is None or flip_flop.preset is None or inside & set(dependences(flip_flop)):
            return raced, bases
        released = self._released(flip_flop, start.previous, values)
        if released == FALSE:
            return raced, bases
        either = self._graph.select(released, self._choose(), bases[flip_flop.output])
        return self._graph.disjunction(raced, released), bases | {flip_flop.output: either}

    def _released_inside(self, flip_flop: FlipFlop, start: _Round, values: Values) -> Literal:
        if flip_flop.clear is None or flip_flop.preset is None:
            return FALSE
        return self._released(flip_flop, start.previous, values)

    def _released(self, flip_flop: FlipFlop, previous: Values, values: Values) -> Literal:
        both_before = both_asynchronous(self._graph, flip_flop, previous)
        any_now = either_asynchronous(self._graph, flip_flop, values)
        return self._graph.conjunction(both_before, any_now ^ 1)

    def _settle_member(self, member: Driver, start: _Round, bases: Values, values: Values, exact: bool) -> Literal:
        """Settles a member outside loops; returns when that raced. Not `exact`: closing latches keep their base."""
        graph, output = self._graph, member.output
        match member:
            case Gate():
                values[output] = gate_literal(graph, member.kind, [values[net] for net in member.inputs])
            case Latch():
                values[output] = self._latch(member, start, bases, values, exact)
            case SetReset():
                return self._set_reset(member, start, bases, values)
            case FlipFlop():
                clear, preset = level_literal(member.clear, values), level_literal(member.preset, values)
                values[output] = graph.disjunction(preset, graph.conjunction(clear ^ 1, bases[output]))
        return FALSE

    def _latch(self, latch: Latch, start: _Round, bases: Values, values: Values, exact: bool) -> Literal:
        graph = self._graph
        was_open, is_open = level_literal(latch.enable, start.previous), level_literal(latch.enable, values)
        data, base = values[latch.data], bases[latch.output]
        kept = base
        if exact:
            closes = graph.conjunction(was_open, is_open ^ 1)
            moved = graph.disjunction(
                graph.exclusive_or(start.previous[latch.data], data), graph.exclusive_or(data, base)
            )
            uncertain = graph.conjunction(closes, moved)
            if uncertain != FALSE:
                kept = graph.select(uncertain, self._choose(), base)
        return graph.select(graph.conjunction(was_open, is_open), data, kept)

    def _set_reset(self, member: SetReset, start: _Round, bases: Values, values: Values) -> Literal:
        graph, output = self._graph, member.output
        set_pin, reset_pin, base = values[member.set], values[member.reset], bases[output]
        both = graph.conjunction(set_pin, reset_pin)
        at_rest = self._at_rest(start, values, (member.set, member.reset), [output], bases, [])
        raced = graph.conjunction(both, at_rest ^ 1)
        target = graph.disjunction(set_pin, graph.conjunction(reset_pin ^ 1, base))
        if raced != FALSE:
            target = graph.select(both, self._choose(), target)
        values[output] = graph.select(at_rest, start.previous[output], target)
        return raced

    def _at_rest(
        self,
        start: _Round,
        values: Values,
        outside: Iterable[NetId],
        storage: Iterable[NetId],
        bases: Values,
        latches: Iterable[Latch],
    ) -> Literal:
        """Round 2 and later: nothing around it moved, no base differs, none of its latches has just opened."""
        if start.number == 1:
            return FALSE
        graph, previous = self._graph, start.previous
        moved = [graph.exclusive_or(values[net], previous[net]) for net in outside]
        moved += [graph.exclusive_or(bases[net], previous[net]) for net in storage]
        moved += [start.opened[latch.output] for latch in latches]
        return graph.any_of(moved) ^ 1

    def _settle_loop(
        self, index: int, start: _Round, bases: Values, values: Values, held: frozenset[NetId] = frozenset()
    ) -> tuple[Literal, Literal]:
        """Settles a loop; returns when it raced and when it oscillated."""
        graph, loop = self._graph, self.loop(index, held)
        table, previous = loop.table, start.previous
        begin = {m.output: bases.get(m.output, previous[m.output]) for m in table.members}
        storage = [m.output for m in table.members if not isinstance(m, Gate)]
        at_rest = self._at_rest(start, values, table.outside, storage, bases, table.latches)
        if at_rest == TRUE:
            values.update({net: previous[net] for net in begin})
            return FALSE, FALSE
        outside = {net: values[net] for net in table.outside}
        was_open = [level_literal(latch.enable, previous) for latch in table.latches]
        result = loop.race(begin, previous, outside, was_open, self._choose)
        for net in begin:
            values[net] = graph.select(at_rest, previous[net], result.values[net])
        return graph.conjunction(result.several, at_rest ^ 1), graph.conjunction(result.unstable, at_rest ^ 1)

    # Between rounds (12.3).

    def _carried(self, flip_flop: FlipFlop, edge: Literal, rounds: list[Values], start: _Round) -> Literal:
        """The base of a flip-flop in the next round."""
        graph = self._graph
        own = rounds[-1][flip_flop.output]
        held = either_asynchronous(graph, flip_flop, rounds[-1])
        samples = graph.conjunction(edge, held ^ 1)
        if samples == FALSE:
            return own
        read = self._read_pins(flip_flop, rounds, start)
        let_go = graph.any_of([either_asynchronous(graph, flip_flop, earlier) for earlier in rounds[:-1]])
        taken = _sampled(graph, flip_flop.kind, read, own)
        let_go = graph.conjunction(let_go, samples)
        if let_go != FALSE:
            taken = graph.select(graph.conjunction(let_go, self._choose()), own, taken)
        return graph.select(samples, taken, own)

    def _read_pins(self, flip_flop: FlipFlop, rounds: list[Values], start: _Round) -> list[Literal]:
        graph = self._graph
        read: list[Literal] = []
        for pin in flip_flop.data:
            moved_earlier = [graph.exclusive_or(a[pin], b[pin]) for a, b in pairwise(rounds[:-1])]
            uncertain = graph.disjunction(
                graph.any_of(moved_earlier), self._moved_otherwise(flip_flop, pin, rounds, start)
            )
            old = rounds[0][pin]
            read.append(old if uncertain == FALSE else graph.select(uncertain, self._choose(), old))
        return read

    def _moved_otherwise(self, flip_flop: FlipFlop, pin: NetId, rounds: list[Values], start: _Round) -> Literal:
        """The pin moved in this round for a reason other than the clock net."""
        graph = self._graph
        moved = graph.exclusive_or(rounds[-1][pin], rounds[-2][pin])
        if moved == FALSE or pin == flip_flop.clock:
            return FALSE
        cone = self._cone_of(pin)
        alone = start.number == 1 and flip_flop.clock in self._clocked_alone
        if alone and all(self._is_quiet(self._order[index]) for index in cone):
            return FALSE
        without = self._settle_without(flip_flop.clock, cone, start)
        return graph.conjunction(moved, graph.exclusive_or(without[pin], rounds[-2][pin]))

    def _settle_without(self, clock: NetId, cone: frozenset[int], start: _Round) -> Values:
        """The round again with the clock net held, as far as the cone reaches."""
        values: Values = dict(start.inputs)
        values[clock] = start.previous[clock]
        for index in sorted(cone):
            component = self._order[index]
            if component.is_loop:
                held = frozenset({clock} & set(component.outputs))
                self._settle_loop(index, start, start.bases, values, held)
            elif component.members[0].output != clock:
                self._settle_member(component.members[0], start, start.bases, values, exact=False)
        return values

    def _is_quiet(self, component: Component) -> bool:
        """True when the component cannot move by itself while everything around it stands still."""
        member = component.members[0]
        doubtful = isinstance(member, SetReset) or (
            isinstance(member, FlipFlop) and member.clear is not None and member.preset is not None
        )
        return not component.is_loop and not doubtful

    def _cone_of(self, net: NetId) -> frozenset[int]:
        """Places in the order of everything a net depends on within a round."""
        if net not in self._cones:
            found: set[int] = set()
            pending = [net]
            while pending:
                index = self._component_of.get(pending.pop())
                if index is not None and index not in found:
                    found.add(index)
                    pending.extend(self._order[index].outside_nets)
            self._cones[net] = frozenset(found)
        return self._cones[net]


def _sampled(graph: BitGraph, kind: FlipFlopKind, read: list[Literal], own: Literal) -> Literal:
    match kind:
        case FlipFlopKind.D:
            return read[0]
        case FlipFlopKind.TOGGLE:
            return graph.exclusive_or(own, read[0])
        case FlipFlopKind.JK:
            return graph.select(own, read[1] ^ 1, read[0])


def _inputs_that_change_alone(netlist: Netlist) -> frozenset[NetId]:
    """Input nets such that in a step in which they change nothing else outside the circuit does."""
    return frozenset(
        pin.nets[0]
        for pin in netlist.inputs
        if len(pin.nets) == 1 and (not netlist.inputs_may_change_together or pin.input_class is InputClass.BY_HAND)
    )
