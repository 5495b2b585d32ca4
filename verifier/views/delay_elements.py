"""A netlist as elements that take time, sources and what flip-flops hold: `grammar/README.md`, 30, 31 and 33."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from verifier.circuit.loops import components
from verifier.circuit.netlist import (
    Delay,
    Driver,
    Edge,
    FlipFlop,
    FlipFlopKind,
    Gate,
    GateKind,
    Latch,
    NetId,
    Netlist,
    SetReset,
)
from verifier.errors import Diagnostic, SourceError
from verifier.logic import delay_system as logic
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.views.gate_logic import either_asynchronous, gate_literal, level_literal

CONSTANTS = {GateKind.LOW: FALSE, GateKind.HIGH: TRUE}
AT_ONCE = logic.Delay(0, 0)


@dataclass(frozen=True)
class HeldBit:
    """What a flip-flop holds, and the bits that say that this is not sure."""

    flip_flop: FlipFlop
    bit: logic.Bit


class DelayedNets:
    """The bits of a netlist in one graph."""

    def __init__(
        self, graph: BitGraph, netlist: Netlist, freed: tuple[NetId, ...] = (), whole: Netlist | None = None
    ) -> None:
        """`freed` may do anything; `whole` is what the netlist was cut from (`delay_cut.py`)."""
        self.graph = graph
        self.netlist = netlist
        self.freed = freed
        self._whole = whole or netlist
        self.before: dict[NetId, Literal] = {}
        self.now: dict[NetId, Literal] = {}
        self.bits: dict[NetId, logic.Bit] = {}
        """Of all nets but those that are always low or high."""
        for net in netlist.input_nets:
            self._declare(net)
        self.elements: tuple[Driver, ...] = tuple(
            driver for driver in netlist.drivers.values() if not (isinstance(driver, Gate) and driver.kind in CONSTANTS)
        )
        for driver in self.elements:
            self._declare(driver.output)
        for net in freed:
            self._declare(net)
        for gate in netlist.gates:
            if gate.kind in CONSTANTS:
                self.before[gate.output] = self.now[gate.output] = CONSTANTS[gate.kind]
        self.held = {
            flip_flop.output: HeldBit(flip_flop, self.bit(f"{netlist.nets[flip_flop.output].name} held"))
            for flip_flop in netlist.flip_flops
        }

    def bit(self, name: str) -> logic.Bit:
        """A new bit. Names of nets have no space."""
        return logic.Bit(name, self.graph.variable(f"{name} before"), self.graph.variable(name))

    def _declare(self, net: NetId) -> None:
        bit = self.bits[net] = self.bit(self.netlist.nets[net].name)
        self.before[net], self.now[net] = bit.before, bit.now

    def changed(self, net: NetId) -> Literal:
        return self.graph.exclusive_or(self.before[net], self.now[net])

    def target(self, driver: Driver) -> Literal:
        graph, now = self.graph, self.now
        match driver:
            case Gate():
                return gate_literal(graph, driver.kind, [now[net] for net in driver.inputs])
            case Latch():
                return graph.select(level_literal(driver.enable, now), now[driver.data], now[driver.output])
            case SetReset():
                kept = graph.conjunction(now[driver.output], now[driver.reset] ^ 1)
                return graph.disjunction(now[driver.set], kept)
            case FlipFlop():
                return self.held[driver.output].bit.now

    def optional(self, driver: Driver) -> Literal:
        """A set-reset latch with both pins active may go either way."""
        if not isinstance(driver, SetReset):
            return FALSE
        return self.graph.conjunction(self.now[driver.set], self.now[driver.reset])

    def restless(self, driver: Driver) -> Literal:
        """Differs from its target, and must move some time; not so a set-reset latch with both pins active."""
        moves = self.graph.exclusive_or(self.now[driver.output], self.target(driver))
        return self.graph.conjunction(moves, self.optional(driver) ^ 1)

    def quiet(self) -> Literal:
        if self._whole is not self.netlist:
            return TRUE  # nobody knows what the rest does
        return self.graph.any_of([self.restless(driver) for driver in self.elements]) ^ 1

    def element(self, driver: Driver, timed: bool) -> logic.DelayedElement:
        optional = self.optional(driver)
        target = self.target(driver)
        rise, fall = self._delays(driver) if timed else (AT_ONCE, AT_ONCE)
        if optional != FALSE:  # its target must not be the reason why it is due
            target = self.graph.select(optional, self.now[driver.output], target)
        return logic.DelayedElement(
            bit=self.bits[driver.output], target=target, rise=rise, fall=fall, optional=optional
        )

    def freed_element(self, net: NetId) -> logic.DelayedElement:
        """Ready at any instant, and never due."""
        own = self.now[net]
        return logic.DelayedElement(bit=self.bits[net], target=own, rise=AT_ONCE, fall=AT_ONCE, optional=TRUE)

    def _delays(self, driver: Driver) -> tuple[logic.Delay, logic.Delay]:
        takes = driver.takes
        if takes is None or takes.rise.high == 0 or takes.fall.high == 0:
            raise self._without_delay(driver)
        return _range(takes, rise=True), _range(takes, rise=False)

    def _without_delay(self, driver: Driver) -> SourceError:
        net = self.netlist.nets[driver.output]
        if net.span is None:
            raise ValueError(f"{net.name} has no delay")
        wrong = "has no delay" if driver.takes is None else "takes no time at all"
        where = "give this gate a net of its own with" if net.anonymous else "write"
        behind = "" if net.anonymous else " behind it"
        return SourceError(
            [
                Diagnostic(
                    code="no-delay",
                    message=f"`{net.name}` {wrong}, so it cannot be judged in the timed view",
                    span=net.span,
                    hint=f"{where} `takes 3..15 ns`{behind}, or write `delays from FAMILY` in the circuit",
                )
            ]
        )

    # Flip-flops (30).

    def edge(self, flip_flop: FlipFlop) -> Literal:
        """The clock net went the right way in this move."""
        before, now = self.before[flip_flop.clock], self.now[flip_flop.clock]
        if flip_flop.edge is Edge.FALL:
            before, now = before ^ 1, now ^ 1
        return self.graph.conjunction(before ^ 1, now)

    def samples(self, flip_flop: FlipFlop) -> Literal:
        forced = either_asynchronous(self.graph, flip_flop, self.now)
        return self.graph.conjunction(self.edge(flip_flop), forced ^ 1)

    def data_changed(self, pins: tuple[NetId, ...]) -> Literal:
        return self.graph.any_of([self.changed(pin) for pin in pins])

    def held_after(
        self, flip_flop: FlipFlop, choose: Callable[[], Literal], choice: Literal, unsure: Literal
    ) -> Literal:
        """What it holds after a move; `choice` instead of what it sampled or held where `unsure`."""
        graph, own = self.graph, self.held[flip_flop.output].bit.before
        read: list[Literal] = []
        for pin in flip_flop.data:
            changed = self.changed(pin)
            either = changed if changed == FALSE else graph.conjunction(changed, choose())
            read.append(graph.exclusive_or(self.before[pin], either))
        match flip_flop.kind:
            case FlipFlopKind.D:
                sampled = read[0]
            case FlipFlopKind.TOGGLE:
                sampled = graph.exclusive_or(own, read[0])
            case FlipFlopKind.JK:
                sampled = graph.select(own, read[1] ^ 1, read[0])
        clocked = graph.select(unsure, choice, graph.select(self.edge(flip_flop), sampled, own))
        clear, preset = level_literal(flip_flop.clear, self.now), level_literal(flip_flop.preset, self.now)
        return graph.disjunction(preset, graph.conjunction(clear ^ 1, clocked))

    # The first instant (31).

    def possible_at_first(self) -> Literal:
        graph, conditions = self.graph, []
        looked_at = {driver.output for driver in self.elements}
        for part in components(self._whole):
            members = tuple(member for member in part.members if member.output in looked_at)
            if part.is_loop:
                given_in_full = all(member.start is not None for member in part.members)
                conditions.append(self._loop_at_first(members, given_in_full))
            elif members:
                conditions.append(self._lone_at_first(members[0]))
        for held in self.held.values():
            conditions.append(graph.equivalence(held.bit.now, self.now[held.flip_flop.output]))
        return graph.all_of(conditions)

    def _loop_at_first(self, members: tuple[Driver, ...], given_in_full: bool) -> Literal:
        graph = self.graph
        if given_in_full:
            return graph.all_of([graph.equivalence(self.now[m.output], TRUE if m.start else FALSE) for m in members])
        stable = [self._stands(member) for member in members]
        return graph.all_of([*stable, *(self._obeys_start(member) for member in members)])

    def _stands(self, member: Driver) -> Literal:
        """Not excited, all of it being as it is for long."""
        if isinstance(member, FlipFlop):
            return self.graph.equivalence(self.now[member.output], self._asynchronous(member))
        return self.restless(member) ^ 1

    def _asynchronous(self, flip_flop: FlipFlop) -> Literal:
        graph, own = self.graph, self.now[flip_flop.output]
        clear, preset = level_literal(flip_flop.clear, self.now), level_literal(flip_flop.preset, self.now)
        return graph.disjunction(preset, graph.conjunction(clear ^ 1, own))

    def _obeys_start(self, member: Driver) -> Literal:
        if member.start is None:
            return TRUE
        graph, own = self.graph, self.now[member.output]
        at_start = graph.equivalence(own, TRUE if member.start else FALSE)
        if isinstance(member, Gate):
            return at_start
        wanted = self._asynchronous(member) if isinstance(member, FlipFlop) else self.target(member)
        (from_high,), (from_low,) = (graph.substitute([wanted], {own: value}) for value in (TRUE, FALSE))
        decided_by_pins = graph.equivalence(from_high, from_low)
        return graph.disjunction(at_start, decided_by_pins)

    def _lone_at_first(self, member: Driver) -> Literal:
        """Outside loops: a gate follows its pins; storage stands at its target, from its start or from either value."""
        graph, own = self.graph, self.now[member.output]
        if isinstance(member, SetReset):
            both = graph.conjunction(self.now[member.set], self.now[member.reset])
            settled = graph.conjunction(self._stands(member), self._obeys_start(member))
            return graph.disjunction(both, settled)
        if isinstance(member, Gate):
            return graph.equivalence(own, self.target(member))
        return graph.conjunction(self._stands(member), self._obeys_start(member))


def _range(takes: Delay, rise: bool) -> logic.Delay:
    found = takes.rise if rise else takes.fall
    return logic.Delay(found.low, found.high)
