"""Pulses inside a round (grammar/README.md, 12.7): which nets are restless, and what an element may feel of them.

What the members of a loop do is told by the race itself (`races`).
"""

from __future__ import annotations

from collections.abc import Iterator, Set
from dataclasses import dataclass
from itertools import product

from oracle.glitches import Three, three_valued_gate
from oracle.targets import Values, is_active
from verifier.circuit.netlist import FlipFlop, FlipFlopKind, Gate, Latch, Level, NetId, SetReset, Storage
from verifier.claims.run import Instant


def gate_is_restless(gate: Gate, before: Values, after: Values, restless: Set[NetId]) -> bool:
    """Outside loops. Pin by pin: a net on two pins may reach one of them later than the other."""
    if restless.isdisjoint(gate.inputs):
        return False
    at_pins: list[set[Three]] = [{None} if net in restless else {before[net], after[net]} for net in gate.inputs]
    return any(three_valued_gate(gate.kind, pins) is None for pins in product(*at_pins))


def storage_is_restless(element: Storage, base: bool, before: Values, after: Values, restless: Set[NetId]) -> bool:
    """Outside loops."""
    if base != before[element.output] and base != after[element.output]:
        return True
    return isinstance(element, Latch) and is_active(element.enable, before) and element.data in restless


@dataclass(frozen=True)
class RoundEnd:
    """A round that has been worked out, and what had happened in the step by its end."""

    first: Instant
    """The instant before the step."""
    before: Instant
    after: Instant
    restless: Set[NetId]
    """In this round."""
    moved: Set[NetId]
    """Changed or restless in any round so far, this one included."""

    def pulses(self, level: Level | None) -> bool:
        """The pin is inactive, and may have been active for a moment."""
        return level is not None and level.net in self.restless and not is_active(level, self.after)


def felt_values(element: Storage, is_in_loop: bool, carried: bool, end: RoundEnd) -> set[bool]:
    """What the element may carry into the next round, beside `carried`, because a pulse has reached it."""
    return set(_felt(element, is_in_loop, carried, end))


def _felt(element: Storage, is_in_loop: bool, carried: bool, end: RoundEnd) -> Iterator[bool]:
    if isinstance(element, Latch):
        if end.pulses(element.enable):
            yield end.before[element.data]
            yield end.after[element.data]
            if element.data in end.restless:
                yield from (False, True)
        return
    if isinstance(element, FlipFlop):
        is_forced = is_active(element.clear, end.after) or is_active(element.preset, end.after)
        if element.clock in end.restless and not is_forced:
            readings = [{False, True} if pin in end.moved else {end.first[pin]} for pin in element.data]
            yield from (takes(element.kind, carried, pins) for pins in product(*readings))
    if is_in_loop:
        return
    if end.pulses(_to_zero(element)):
        yield False
    if end.pulses(_to_one(element)):
        yield True


def _to_zero(element: FlipFlop | SetReset) -> Level | None:
    return element.clear if isinstance(element, FlipFlop) else Level(element.reset, True)


def _to_one(element: FlipFlop | SetReset) -> Level | None:
    return element.preset if isinstance(element, FlipFlop) else Level(element.set, True)


def takes(kind: FlipFlopKind, own: bool, pins: tuple[bool, ...]) -> bool:
    """What a flip-flop takes at its edge from what it read."""
    if kind is FlipFlopKind.D:
        return pins[0]
    if kind is FlipFlopKind.TOGGLE:
        return own != pins[0]
    return {(False, False): own, (False, True): False, (True, False): True, (True, True): not own}[(pins[0], pins[1])]
