"""What storage carries from one round into the next: `grammar/README.md`, 12.3, and pulses that are felt (12.7)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from verifier.circuit.loops import Component
from verifier.circuit.netlist import (
    FlipFlop,
    FlipFlopKind,
    InputClass,
    Latch,
    Level,
    NetId,
    Netlist,
    SetReset,
)
from verifier.logic.bit_graph import FALSE, BitGraph, Literal
from verifier.views.gate_logic import either_asynchronous, level_literal
from verifier.views.loop_result import Chooser
from verifier.views.settling import RoundLogic, RoundStart, Settled, Values


@dataclass(frozen=True, kw_only=True)
class Past:
    """A step so far, up to the end of round `k`."""

    instants: tuple[Values, ...]
    """`v[0]` to `v[k]`."""
    rounds: tuple[Settled, ...]
    """Rounds 1 to `k`."""
    start: RoundStart
    """What round `k` started from, its bases resolved."""

    def was_restless(self, net: NetId, graph: BitGraph) -> Literal:
        return graph.any_of([settled.restless.get(net, FALSE) for settled in self.rounds])

    def is_restless(self, net: NetId) -> Literal:
        """In round `k`."""
        return self.rounds[-1].restless.get(net, FALSE)


@dataclass(frozen=True)
class Carried:
    bases: Values
    felt: Literal
    """A pulse could have made one of them another."""


class SamplingLogic:
    def __init__(self, graph: BitGraph, netlist: Netlist, rounds: RoundLogic, choose: Chooser, endless: bool) -> None:
        """`endless`: an edge may still be due after the last round that is worked out."""
        self._graph = graph
        self._netlist = netlist
        self._rounds = rounds
        self._choose = choose
        self._clocked_alone = frozenset() if endless else _inputs_that_change_alone(netlist)
        self._cones: dict[NetId, frozenset[int]] = {}
        self._component_of = {net: index for index, part in enumerate(rounds.order) for net in part.outputs}

    def carried(self, edges: Mapping[NetId, Literal], past: Past) -> Carried:
        """The bases of the next round; `edges` says which flip-flops have a clock edge."""
        end = past.instants[-1]
        bases: Values = {}
        felt = FALSE
        for flip_flop in self._netlist.flip_flops:
            base = self._clocked(flip_flop, edges[flip_flop.output], past)
            pulsed = [self._another_edge(flip_flop, base, past), *self._pulsed_asynchronous(flip_flop, base, past)]
            felt = self._feel(flip_flop.output, base, pulsed, bases, felt)
        for latch in self._netlist.latches:
            base = end[latch.output]
            felt = self._feel(latch.output, base, [self._opened_for_a_moment(latch, base, past)], bases, felt)
        for member in self._netlist.set_resets:
            base = end[member.output]
            felt = self._feel(member.output, base, self._pulsed_set_reset(member, base, past), bases, felt)
        return Carried(bases, felt)

    def _feel(self, output: NetId, base: Literal, others: list[Literal], bases: Values, felt: Literal) -> Literal:
        """Notes the base of an element that may carry the other value in any of these cases."""
        graph = self._graph
        either = graph.any_of(others)
        chosen = graph.conjunction(either, self._choose()) if either != FALSE else FALSE
        bases[output] = graph.exclusive_or(base, chosen)
        return graph.disjunction(felt, either)

    # 12.3

    def _clocked(self, flip_flop: FlipFlop, edge: Literal, past: Past) -> Literal:
        graph, end = self._graph, past.instants[-1]
        own = end[flip_flop.output]
        held = either_asynchronous(graph, flip_flop, end)
        samples = graph.conjunction(edge, held ^ 1)
        if samples == FALSE:
            return own
        taken = _sampled(graph, flip_flop.kind, self._read_pins(flip_flop, past), own)
        let_go = [either_asynchronous(graph, flip_flop, earlier) for earlier in past.instants[:-1]]
        let_go += [past.was_restless(level.net, graph) for level in _asynchronous_pins(flip_flop)]
        released = graph.conjunction(graph.any_of(let_go), samples)
        if released != FALSE:
            taken = graph.select(graph.conjunction(released, self._choose()), own, taken)
        return graph.select(samples, taken, own)

    def _read_pins(self, flip_flop: FlipFlop, past: Past) -> list[Literal]:
        graph = self._graph
        earlier = Past(instants=past.instants[:-1], rounds=past.rounds[:-1], start=past.start)
        read: list[Literal] = []
        for pin in flip_flop.data:
            uncertain = graph.disjunction(self._moved_in(pin, earlier), self._moved_otherwise(flip_flop, pin, past))
            old = past.instants[0][pin]
            read.append(old if uncertain == FALSE else graph.select(uncertain, self._choose(), old))
        return read

    def _moved_in(self, pin: NetId, past: Past) -> Literal:
        """The pin changed or was restless in some round."""
        graph = self._graph
        changed = [graph.exclusive_or(before[pin], after[pin]) for before, after in pairwise(past.instants)]
        return graph.disjunction(graph.any_of(changed), past.was_restless(pin, graph))

    def _moved_otherwise(self, flip_flop: FlipFlop, pin: NetId, past: Past) -> Literal:
        """The pin moved in this round for a reason other than the clock net."""
        graph, before, after = self._graph, past.instants[-2][pin], past.instants[-1][pin]
        moved = graph.disjunction(graph.exclusive_or(before, after), past.is_restless(pin))
        if moved == FALSE or pin == flip_flop.clock:
            return FALSE
        cone = self._cone_of(pin)
        alone = past.start.number == 1 and flip_flop.clock in self._clocked_alone
        if alone and all(_is_quiet(self._rounds.order[index]) for index in cone):
            return FALSE
        values, restless = self._rounds.settle_without(flip_flop.clock, cone, past.start)
        moved_without = graph.disjunction(graph.exclusive_or(values[pin], before), restless.get(pin, FALSE))
        return graph.conjunction(moved, moved_without)

    def _cone_of(self, net: NetId) -> frozenset[int]:
        """Places in the order of everything a net depends on within a round."""
        if net not in self._cones:
            found: set[int] = set()
            pending = [net]
            while pending:
                index = self._component_of.get(pending.pop())
                if index is not None and index not in found:
                    found.add(index)
                    pending.extend(self._rounds.order[index].outside_nets)
            self._cones[net] = frozenset(found)
        return self._cones[net]

    # 12.7: each of these says when a pulse could have turned the base over.

    def _another_edge(self, flip_flop: FlipFlop, base: Literal, past: Past) -> Literal:
        graph = self._graph
        pulsed = past.is_restless(flip_flop.clock)
        if pulsed == FALSE:
            return FALSE
        held = either_asynchronous(graph, flip_flop, past.instants[-1])
        can_be: list[tuple[Literal, Literal]] = []
        for pin in flip_flop.data:
            moved, old = self._moved_in(pin, past), past.instants[0][pin]
            can_be.append((graph.disjunction(moved, old ^ 1), graph.disjunction(moved, old)))
        match flip_flop.kind:
            case FlipFlopKind.D:
                turns = graph.select(base, can_be[0][0], can_be[0][1])
            case FlipFlopKind.TOGGLE:
                turns = can_be[0][1]
            case FlipFlopKind.JK:
                turns = graph.select(base, can_be[1][1], can_be[0][1])
        return graph.all_of([pulsed, held ^ 1, turns])

    def _pulsed_asynchronous(self, flip_flop: FlipFlop, base: Literal, past: Past) -> list[Literal]:
        if flip_flop.output not in self._rounds.unrest.outside_loops:
            return []
        return [
            self._graph.conjunction(self._pulsed(pin, past), base if pin is flip_flop.clear else base ^ 1)
            for pin in _asynchronous_pins(flip_flop)
        ]

    def _pulsed_set_reset(self, member: SetReset, base: Literal, past: Past) -> list[Literal]:
        if member.output not in self._rounds.unrest.outside_loops:
            return []
        pins = Level(net=member.set, active_high=True), Level(net=member.reset, active_high=True)
        return [
            self._graph.conjunction(self._pulsed(pin, past), wrong)
            for pin, wrong in zip(pins, (base ^ 1, base), strict=True)
        ]

    def _opened_for_a_moment(self, latch: Latch, base: Literal, past: Past) -> Literal:
        graph, data = self._graph, latch.data
        pulsed = self._pulsed(latch.enable, past)
        if pulsed == FALSE:
            return FALSE
        differs = [graph.exclusive_or(instant[data], base) for instant in past.instants[-2:]]
        return graph.conjunction(pulsed, graph.any_of([*differs, past.is_restless(data)]))

    def _pulsed(self, pin: Level, past: Past) -> Literal:
        """Restless, and inactive at the end of the round."""
        is_active = level_literal(pin, past.instants[-1])
        return self._graph.conjunction(past.is_restless(pin.net), is_active ^ 1)


def _asynchronous_pins(flip_flop: FlipFlop) -> list[Level]:
    return [level for level in (flip_flop.clear, flip_flop.preset) if level is not None]


def _is_quiet(component: Component) -> bool:
    """True when the component cannot move by itself while everything around it stands still."""
    member = component.members[0]
    doubtful = isinstance(member, SetReset) or (
        isinstance(member, FlipFlop) and member.clear is not None and member.preset is not None
    )
    return not component.is_loop and not doubtful


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
    if any(pin.input_class is InputClass.FLOATING for pin in netlist.inputs):
        return frozenset()
    return frozenset(
        pin.nets[0]
        for pin in netlist.inputs
        if len(pin.nets) == 1 and (not netlist.inputs_may_change_together or pin.input_class is InputClass.BY_HAND)
    )
