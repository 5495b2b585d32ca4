"""What flip-flops take at the end of a round, and carry into the next (grammar/README.md, 12.3)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

from verifier.circuit.netlist import FlipFlop, FlipFlopKind, NetId, Netlist
from verifier.claims.run import Instant
from verifier.evidence.budget import Budget
from verifier.evidence.race import RaceTable
from verifier.evidence.rounds import (
    EITHER,
    Bases,
    RoundEnd,
    RoundSearch,
    RoundStart,
    has_edge,
    is_forced,
)
from verifier.evidence.settling_order import SettlingOrder


@dataclass(frozen=True, kw_only=True)
class History:
    """What later rounds need to know of `v[0] .. v[k]`."""

    first: Instant
    """`v[0]`."""
    moved: frozenset[NetId] = frozenset()
    """The nets that changed between any two neighbouring rounds."""
    forced: frozenset[NetId] = frozenset()
    """The flip-flops whose clear or preset was active in any of them."""

    def followed_by(self, netlist: Netlist, before: Instant, values: Instant) -> History:
        """With one more round, from `before` to `values`."""
        moved = {net for net, (old, new) in enumerate(zip(before, values, strict=True)) if old != new}
        return replace(self, moved=self.moved | moved, forced=self.forced | forced_flip_flops(netlist, values))


def forced_flip_flops(netlist: Netlist, values: Instant) -> set[NetId]:
    return {flip_flop.output for flip_flop in netlist.flip_flops if is_forced(flip_flop, values)}


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
        # For each clock net asked about: the nets that can leave their value in `v[k-1]` while it is held.
        self._moving_without: dict[NetId, set[NetId]] = {}

    def bases(self) -> Bases:
        """What the flip-flops may carry into round k + 1; left out where it is just their value in `v[k]`."""
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
        if flip_flop.output in self._history.forced:
            taken.add(own)
        return tuple(sorted(taken))

    def _read(self, pin: NetId, clock: NetId) -> tuple[bool, ...]:
        if pin in self._history.moved:
            return EITHER
        if self._start.before[pin] != self._end.values[pin] and pin in self._moving_without_clock(clock):
            return EITHER
        return (self._history.first[pin],)

    def _moving_without_clock(self, clock: NetId) -> set[NetId]:
        found = self._moving_without.get(clock)
        if found is None:
            before, carried = self._start.before, self._end.carried
            bases = {flip_flop.output: (carried[flip_flop.output],) for flip_flop in self._netlist.flip_flops}
            start = replace(self._start, bases=bases, held=clock)
            again = RoundSearch(self._netlist, self._order, start, races=self._races, budget=self._budget)
            found = {net for end in again.ends() for net, value in enumerate(end.values) if value != before[net]}
            self._moving_without[clock] = found
        return found


def _taken(kind: FlipFlopKind, read: Sequence[bool], own: bool) -> bool:
    if kind is FlipFlopKind.D:
        return read[0]
    if kind is FlipFlopKind.TOGGLE:
        return own != read[0]
    j, k = read
    return not own if j and k else j if j or k else own
