"""What the elements of the delay views want, and what their flip-flops take (grammar/README.md, 11 and 30).

Functions of two-valued nets at one instant, or at two neighbouring ones. Nothing here knows of time.
"""

from __future__ import annotations

from collections.abc import Set
from itertools import product

from verifier.circuit.netlist import Driver, Edge, FlipFlop, FlipFlopKind, Gate, GateKind, NetId, Netlist, SetReset
from verifier.claims.run import Instant
from verifier.evidence.three_valued import is_active, target

EITHER = (False, True)


def moving_elements(netlist: Netlist) -> tuple[Driver, ...]:
    """Everything that can fire, by output net; what is always low or high never does."""
    drivers = sorted(netlist.drivers.items())
    constant = (GateKind.LOW, GateKind.HIGH)
    return tuple(driver for _, driver in drivers if not (isinstance(driver, Gate) and driver.kind in constant))


def is_excited(element: Driver, values: Instant, holding: Set[NetId]) -> bool:
    """Its value differs from its target; `holding` are the outputs of the flip-flops that hold a 1."""
    own = values[element.output]
    if isinstance(element, FlipFlop):
        return own != (element.output in holding)
    return own != target(element, values, own)


def may_stay_excited(element: Driver, values: Instant) -> bool:
    """It is excited and need not fire for that: a set-reset latch with both pins active."""
    return isinstance(element, SetReset) and values[element.set] and values[element.reset]


def forced_value(flip_flop: FlipFlop, values: Instant) -> bool | None:
    """What `preset` or else `clear` makes it hold; None when neither is active."""
    if is_active(flip_flop.preset, values):
        return True
    return False if is_active(flip_flop.clear, values) else None


def has_clock_edge(flip_flop: FlipFlop, before: Instant, after: Instant) -> bool:
    went_up = flip_flop.edge is Edge.RISE
    return before[flip_flop.clock] != went_up and after[flip_flop.clock] == went_up


def samples(flip_flop: FlipFlop, before: Instant, after: Instant) -> bool:
    """The move from one instant to the other has a clock edge, and neither clear nor preset is active after it."""
    return has_clock_edge(flip_flop, before, after) and forced_value(flip_flop, after) is None


def sampled_values(flip_flop: FlipFlop, own: bool, before: Instant, after: Instant) -> set[bool]:
    """What it may hold after an edge that samples, having held `own`; a pin that moves with the clock reads either."""
    pins = [EITHER if before[pin] != after[pin] else (before[pin],) for pin in flip_flop.data]
    return {_taken(flip_flop.kind, read, own) for read in product(*pins)}


def _taken(kind: FlipFlopKind, read: tuple[bool, ...], own: bool) -> bool:
    if kind is FlipFlopKind.D:
        return read[0]
    if kind is FlipFlopKind.TOGGLE:
        return own != read[0]
    j, k = read
    return (j and not own) or (own and not k)
