"""What flip-flops take at the end of a round, and what is carried into the next (grammar/README.md, 12.3 and 12.7)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

from verifier.circuit.netlist import FlipFlop, FlipFlopKind, NetId, Netlist, Storage
from verifier.claims.run import Instant
from verifier.evidence.budget import Budget
from verifier.evidence.pulses import felt_values
from verifier.evidence.race import RaceTable
from verifier.evidence.rounds import (
    EITHER,
    Bases,
    RoundEnd,
    RoundSearch,
    RoundStart,
    has_edge,
)
from verifier.evidence.settling_order import Feeler, SettlingOrder, combinational_pins
from verifier.evidence.three_valued import is_forced


@dataclass(frozen=True, kw_only=True)
class History:
    """What later rounds need to know of `v[0] .. v[k]`."""

    first: Instant
    """`v[0]`."""
    moved: frozenset[NetId] = frozenset()
    """The nets that changed between any two neighbouring rounds, or were restless in a round."""
    forced: frozenset[NetId] = frozenset()
    """The flip-flops whose clear or preset was active in any of them, or restless in a round."""

    def followed_by(self, netlist: Netlist, before: Instant, end: RoundEnd) -> History:
        """With one more round, which began at `before`."""
        moved = {net for net, (old, new) in enumerate(zip(before, end.values, strict=True)) if old != new}
        return replace(
            self,
            moved=self.moved | moved | end.restless,
            forced=self.forced | forced_flip_flops(netlist, end.values) | _tugged_flip_flops(netlist, end.restless),
        )


def forced_flip_flops(netlist: Netlist, values: Instant) -> set[NetId]:
    return {flip_flop.output for flip_flop in netlist.flip_flops if is_forced(flip_flop, values)}


def _tugged_flip_flops(netlist: Netlist, restless: frozenset[NetId]) -> set[NetId]:
    """The flip-flops with a restless clear or preset."""
    if not restless:
        return set()
    return {
        flip_flop.output for flip_flop in netlist.flip_flops if not restless.isdisjoint(combinational_pins(flip_flop))
    }


@dataclass(frozen=True)
class Carrying:
    """One way to go on after a round."""

    bases: Bases
    """What may be carried; left out where it is just the value in `v[k]`."""
    is_felt: bool
    """A pulse was felt: the step is a race and another round follows."""


class Sampling:
    """What the flip-flops sample at the end of one way through round k."""

    def __init__(
        self,
        netlist: Netlist,
        order: SettlingOrder,
        history: History,
        *,
        start: RoundStart,
        end: RoundEnd,
        races: RaceTable,
        budget: Budget,
    ) -> None:
        """`history` is that of `v[0] .. v[k-1]`."""
        self._netlist = netlist
        self._order = order
        self._history = history
        self._start = start
        self._end = end
        self._races = races
        self._budget = budget
        # For each clock net asked about: the nets that can move in round k while it is held.
        self._moving_without: dict[NetId, set[NetId]] = {}

    def carryings(self) -> Iterator[Carrying]:
        """The ways to go on: one with a felt pulse, one without, or both where what was sampled decides."""
        sampled = self._sampled_values()
        if self._end.restless.isdisjoint(self._order.felt_pins):
            yield Carrying(sampled, is_felt=False)
            return
        with_felt, without_felt = dict(sampled), dict(sampled)
        is_felt = False
        for feeler in self._order.feelers:
            net = feeler.element.output
            owns = sampled.get(net, (self._end.values[net],))
            felt = {own: self._felt(feeler, own) for own in owns}
            if any(felt[own] - {own} for own in owns):
                is_felt = True
                with_felt[net] = EITHER
                without_felt[net] = tuple(own for own in owns if felt[own] <= {own})
        if is_felt:
            yield Carrying(with_felt, is_felt=True)
        if all(without_felt.values()):
            yield Carrying(without_felt, is_felt=False)

    def _felt(self, feeler: Feeler, own: bool) -> set[bool]:
        return felt_values(
            feeler,
            own,
            before=self._start.before,
            after=self._end.values,
            restless=self._end.restless,
            sample=self._sampled_at_a_pulse,
        )

    def _sampled_at_a_pulse(self, flip_flop: FlipFlop, own: bool) -> set[bool]:
        pins = product(*(EITHER if self._has_moved(pin) else (self._history.first[pin],) for pin in flip_flop.data))
        return {_taken(flip_flop.kind, read, own) for read in pins}

    def _has_moved(self, pin: NetId) -> bool:
        return pin in self._history.moved or self._moves_now(pin)

    def _moves_now(self, pin: NetId) -> bool:
        return self._start.before[pin] != self._end.values[pin] or pin in self._end.restless

    def _sampled_values(self) -> dict[NetId, tuple[bool, ...]]:
        before, values = self._start.before, self._end.values
        found: dict[NetId, tuple[bool, ...]] = {}
        for flip_flop in self._netlist.flip_flops:
            if has_edge(flip_flop, before, values) and not is_forced(flip_flop, values):
                found[flip_flop.output] = self._sampled(flip_flop)
        return found

    def _sampled(self, flip_flop: FlipFlop) -> tuple[bool, ...]:
        own = self._end.values[flip_flop.output]
        pins = product(*(self._read(pin, flip_flop.clock) for pin in flip_flop.data))
        taken = {_taken(flip_flop.kind, read, own) for read in pins}
        is_let_go = not self._end.restless.isdisjoint(combinational_pins(flip_flop))
        if is_let_go or flip_flop.output in self._history.forced:
            taken.add(own)
        return tuple(sorted(taken))

    def _read(self, pin: NetId, clock: NetId) -> tuple[bool, ...]:
        if pin in self._history.moved:
            return EITHER
        if self._moves_now(pin) and pin in self._moving_without_clock(clock):
            return EITHER
        return (self._history.first[pin],)

    def _moving_without_clock(self, clock: NetId) -> set[NetId]:
        found = self._moving_without.get(clock)
        if found is None:
            before, carried = self._start.before, self._end.carried
            storage: tuple[Storage, ...] = (
                *self._netlist.flip_flops,
                *self._netlist.latches,
                *self._netlist.set_resets,
            )
            bases = {element.output: (carried[element.output],) for element in storage}
            start = replace(self._start, bases=bases, held=clock)
            again = RoundSearch(self._netlist, self._order, start, races=self._races, budget=self._budget)
            found = set()
            for end in again.ends():
                found.update(end.restless, (net for net, value in enumerate(end.values) if value != before[net]))
            self._moving_without[clock] = found
        return found


def _taken(kind: FlipFlopKind, read: Sequence[bool], own: bool) -> bool:
    if kind is FlipFlopKind.D:
        return read[0]
    if kind is FlipFlopKind.TOGGLE:
        return own != read[0]
    j, k = read
    return not own if j and k else j if j or k else own
