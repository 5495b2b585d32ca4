"""What a person does, or the outside world does, to make one step of a run happen: in words.

It reads inputs only. What the circuit makes of them stands in the columns beside it.
"""

from __future__ import annotations

from collections.abc import Sequence

from verifier.circuit.netlist import InputClass, Netlist
from verifier.claims.run import Run, StepEvents
from verifier.report.pieces import listing
from verifier.report.signals import Shown, level

KEEP_TOGETHER = "\u00a0"
"""Stands for a space at which a line must not break."""


def doing(netlist: Netlist, run: Run, index: int, *, asides: bool = True) -> str:
    """What leads to instant `index`, with an aside when that step races or oscillates."""
    pins = [Shown(name=pin.name, nets=pin.nets, input_class=pin.input_class) for pin in netlist.inputs]
    words = _power_up(pins, run) if index == 0 else _step(pins, run, index)
    return words + (_aside(run.events[index]) if asides else "")


def _power_up(pins: Sequence[Shown], run: Run) -> str:
    if not pins:
        return "power up"
    first = run.instants[0]
    return "power up with " + ", ".join(f"{pin.name}{KEEP_TOGETHER}{level(pin, pin.value(first))}" for pin in pins)


def _step(pins: Sequence[Shown], run: Run, index: int) -> str:
    before, after = run.instants[index - 1], run.instants[index]
    changed = [pin for pin in pins if pin.value(before) != pin.value(after)]
    if not changed:
        return "wait"
    return listing([_change(pin, pin.value(before), pin.value(after)) for pin in changed])


def _change(pin: Shown, before: int, after: int) -> str:
    """A source that runs by itself is nobody's to flip, so its edges are told as happening."""
    if pin.input_class is InputClass.FREE_RUNNING:
        if pin.width > 1:
            return f"{pin.name} goes from {before} to {after}"
        return f"{pin.name} {'rises' if after else 'falls'}"
    if pin.width > 1:
        return f"set {pin.name} to {after}"
    if pin.input_class is InputClass.BY_HAND:
        return f"flip {pin.name} {'up' if after else 'down'}"
    return f"set {pin.name} {'high' if after else 'low'}"


def _aside(events: StepEvents) -> str:
    if events.oscillated:
        return " (may never settle)"
    return " (a race)" if events.raced else ""
