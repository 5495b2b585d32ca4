"""What moved in one step of the settled view, and which of its pins moved with it.

A settled step has no order in time, so this is no chain of events: of a net that changed it says which pins of its
driver changed in the same step. Of a flip-flop that took its data at an edge that is the clock.
"""

from __future__ import annotations

from verifier.circuit.netlist import Driver, FlipFlop, Gate, Latch, Level, NetId, Netlist, SetReset
from verifier.claims.run import Instant
from verifier.report.causes import Cause, Firing


def moved_in_step(netlist: Netlist, before: Instant, after: Instant, at: int) -> tuple[Firing, ...]:
    """The gates and storage parts whose output is another at instant `at` than at the one before."""
    return tuple(
        Firing(net, Cause(at, tuple(pin for pin in _felt(driver, after) if before[pin] != after[pin])))
        for net, driver in sorted(netlist.drivers.items())
        if before[net] != after[net]
    )


def _felt(driver: Driver, after: Instant) -> tuple[NetId, ...]:
    """The pins whose move can have moved the output."""
    match driver:
        case Gate(inputs=inputs):
            return tuple(dict.fromkeys(inputs))
        case Latch(data=data, enable=enable):
            return (enable.net, data)
        case SetReset():
            return (driver.set, driver.reset)
        case FlipFlop(clear=clear, preset=preset, clock=clock):
            forced = tuple(level.net for level in (preset, clear) if level is not None and _active(level, after))
            return forced or (clock,)


def _active(level: Level, values: Instant) -> bool:
    return values[level.net] is level.active_high
