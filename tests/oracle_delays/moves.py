"""What a move does (grammar/README.md, 30 and 31): targets, firings, sampling, permitted input changes, first instants.

It knows no time; when an element may fire is its caller's business.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain, combinations, product
from typing import TypeVar

from oracle.targets import Part, Structure, asynchronous_target, gate_target, is_active, set_reset_targets

from verifier.circuit.netlist import (
    Edge,
    FlipFlop,
    FlipFlopKind,
    Gate,
    GateKind,
    Input,
    InputClass,
    Latch,
    NetId,
    Netlist,
    SetReset,
)
from verifier.claims.run import Instant

Flips = frozenset[NetId]
"""The nets that take their other value in a move."""
Held = tuple[bool, ...]
"""What each flip-flop holds, in the order of `Netlist.flip_flops`."""
Item = TypeVar("Item")


class NoFirstInstantError(Exception):
    """The circuit has no power-up state."""


@dataclass(frozen=True)
class Point:
    """The circuit between two moves."""

    instant: Instant
    held: Held


def subsets(items: Iterable[Item]) -> Iterator[tuple[Item, ...]]:
    """Every non-empty subset."""
    pool = list(items)
    return chain.from_iterable(combinations(pool, size) for size in range(1, len(pool) + 1))


class Moves:
    """The moves of one circuit."""

    def __init__(self, netlist: Netlist) -> None:
        self.netlist = netlist
        self.structure = Structure(netlist)
        self.drivers = self.structure.drivers
        self.place_of = {part.output: place for place, part in enumerate(netlist.flip_flops)}
        self.elements = tuple(net for net, driver in self.drivers.items() if not _is_constant(driver))

    # Elements

    def wants(self, net: NetId, point: Point) -> bool:
        """The element's target; of a set-reset latch with both pins active, the value it has not."""
        driver, instant = self.drivers[net], point.instant
        own = instant[net]
        match driver:
            case Gate():
                return gate_target(driver, instant)
            case Latch():
                return instant[driver.data] if is_active(driver.enable, instant) else own
            case SetReset():
                targets = set_reset_targets(driver, instant, own)
                return not own if len(targets) == 2 else targets.pop()
            case FlipFlop():
                return point.held[self.place_of[net]]

    def excited(self, point: Point) -> frozenset[NetId]:
        return frozenset(net for net in self.elements if self.wants(net, point) != point.instant[net])

    def is_undriven_pair(self, net: NetId, instant: Instant) -> bool:
        """A set-reset latch with both pins active: always excited, never obliged."""
        driver = self.drivers[net]
        return isinstance(driver, SetReset) and instant[driver.set] and instant[driver.reset]

    def is_quiet(self, point: Point) -> bool:
        return all(self.is_undriven_pair(net, point.instant) for net in self.excited(point))

    # Moves

    def after(self, point: Point, flips: Flips) -> set[Point]:
        """All that can stand after a move that turns these nets over."""
        new = tuple(value != (net in flips) for net, value in enumerate(point.instant))
        choices = [
            self.held_after(flip_flop, held, point.instant, new)
            for flip_flop, held in zip(self.netlist.flip_flops, point.held, strict=True)
        ]
        return {Point(new, chosen) for chosen in product(*choices)}

    def held_after(self, flip_flop: FlipFlop, held: bool, old: Instant, new: Instant) -> set[bool]:
        if is_active(flip_flop.preset, new):
            return {True}
        if is_active(flip_flop.clear, new):
            return {False}
        if not self.has_edge(flip_flop, old, new):
            return {held}
        readings = [{old[pin], new[pin]} for pin in flip_flop.data]
        return {sampled(flip_flop.kind, pins, held) for pins in product(*readings)}

    def has_edge(self, flip_flop: FlipFlop, old: Instant, new: Instant) -> bool:
        is_rise = flip_flop.edge is Edge.RISE
        return old[flip_flop.clock] != is_rise and new[flip_flop.clock] == is_rise

    # Inputs

    def input_changes(self) -> list[tuple[tuple[Input, ...], Flips]]:
        """Which inputs may turn over in one move (12.1), each with the nets that do, at any time."""
        found: list[tuple[tuple[Input, ...], Flips]] = []
        movable = [pin for pin in self.netlist.inputs if pin.input_class is not InputClass.STRAPPED]
        for pins in subsets(movable):
            by_hand = any(pin.input_class is InputClass.BY_HAND for pin in pins)
            if len(pins) > 1 and (by_hand or not self.netlist.inputs_may_change_together):
                continue
            for bits in product(*(tuple(subsets(pin.nets)) for pin in pins)):
                found.append((pins, frozenset(chain.from_iterable(bits))))
        return found

    # The first instant

    def first(self) -> list[Point]:
        """Raises NoFirstInstantError when there is none."""
        inputs = self.netlist.input_nets
        points: list[Point] = []
        for chosen in product((False, True), repeat=len(inputs)):
            partial: list[dict[NetId, bool]] = [dict(zip(inputs, chosen, strict=True))]
            for part in self.structure.parts:
                if part.members[0] not in self.drivers:
                    continue
                settle = self._loop_states if part.is_loop else self._outside_loops
                partial = [{**values, **more} for values in partial for more in settle(part, values)]
            points.extend(self._first_point(values) for values in partial)
        if not points:
            raise NoFirstInstantError(self.netlist.name)
        return points

    def _first_point(self, values: Mapping[NetId, bool]) -> Point:
        instant = tuple(values[net] for net in range(len(self.netlist.nets)))
        return Point(instant, tuple(instant[flip_flop.output] for flip_flop in self.netlist.flip_flops))

    def _outside_loops(self, part: Part, values: dict[NetId, bool]) -> list[dict[NetId, bool]]:
        (net,) = part.members
        driver = self.drivers[net]
        starts = (False, True) if driver.start is None else (driver.start,)
        found = set(chain.from_iterable(self._stable_values(net, {**values, net: own}) for own in starts))
        return [{net: value} for value in sorted(found)]

    def _loop_states(self, part: Part, values: dict[NetId, bool]) -> list[dict[NetId, bool]]:
        starts = {net: self.drivers[net].start for net in part.members}
        given = {net: start for net, start in starts.items() if start is not None}
        if len(given) == len(starts):
            return [given]
        found = []
        for chosen in product((False, True), repeat=len(part.members)):
            state = dict(zip(part.members, chosen, strict=True))
            around = {**values, **state}
            is_stable = all(state[net] in self._stable_values(net, around) for net in part.members)
            if is_stable and all(self._obeys(net, start, around) for net, start in given.items()):
                found.append(state)
        return found

    def _obeys(self, net: NetId, start: bool, around: dict[NetId, bool]) -> bool:
        """A storage member need not have its `start` when its pins decide otherwise."""
        if around[net] == start:
            return True
        if isinstance(self.drivers[net], Gate):
            return False
        return (
            self._stable_values(net, {**around, net: start})
            == self._stable_values(net, {**around, net: not start})
            != {start}
        )

    def _stable_values(self, net: NetId, around: dict[NetId, bool]) -> set[bool]:
        """The target (11), `around[net]` being its own value; both for a set-reset latch with both pins active."""
        driver, own = self.drivers[net], around[net]
        match driver:
            case Gate():
                return {gate_target(driver, around)}
            case Latch():
                return {around[driver.data] if is_active(driver.enable, around) else own}
            case SetReset():
                return set_reset_targets(driver, around, own)
            case FlipFlop():
                return {asynchronous_target(driver, around, own)}


def sampled(kind: FlipFlopKind, pins: tuple[bool, ...], own: bool) -> bool:
    """What a flip-flop takes at its clock edge (12.3)."""
    if kind is FlipFlopKind.D:
        return pins[0]
    if kind is FlipFlopKind.TOGGLE:
        return own != pins[0]
    return {(False, False): own, (False, True): False, (True, False): True, (True, True): not own}[(pins[0], pins[1])]


def _is_constant(driver: object) -> bool:
    return isinstance(driver, Gate) and driver.kind in (GateKind.LOW, GateKind.HIGH)
