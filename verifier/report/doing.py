"""What a person does, or the outside world does, to make one step of a run happen: in words.

It reads inputs only. What the circuit makes of them stands in the columns beside it.
"""

from __future__ import annotations

from collections.abc import Sequence

from verifier.circuit.netlist import InputClass, Netlist
from verifier.claims.run import Instant, Run, StepEvents
from verifier.report.pieces import listing
from verifier.report.signals import Shown, level

WAIT = "wait"
KEEP_TOGETHER = "\u00a0"
"""Stands for a space at which a line must not break."""


def doing(netlist: Netlist, run: Run, index: int, *, asides: bool = True) -> str:
    """What leads to instant `index`, with an aside when that step races or oscillates."""
    words = power_up(netlist, run) if index == 0 else input_changes(netlist, run, index) or WAIT
    return words + (_aside(run.events[index]) if asides else "")


def power_up(netlist: Netlist, run: Run) -> str:
    """How the run begins."""
    pins = _pins(netlist)
    if not pins:
        return "power up"
    first = run.instants[0]
    return "power up with " + ", ".join(f"{pin.name}{KEEP_TOGETHER}{level(pin, pin.value(first))}" for pin in pins)


def input_changes(netlist: Netlist, run: Run, index: int) -> str:
    """What the inputs do from instant `index - 1` to `index`; empty when they stay."""
    return _changes(_pins(netlist), run.instants[index - 1], run.instants[index])


def going_back(netlist: Netlist, run: Run) -> str:
    """What leads from the last instant of an endless run to the first of its loop again."""
    if run.loop_from is None:
        raise ValueError("a run that ends goes nowhere back")
    return _changes(_pins(netlist), run.instants[-1], run.instants[run.loop_from]) or WAIT


def _pins(netlist: Netlist) -> list[Shown]:
    return [Shown(name=pin.name, nets=pin.nets, input_class=pin.input_class) for pin in netlist.inputs]


def _changes(pins: Sequence[Shown], before: Instant, after: Instant) -> str:
    changed = [pin for pin in pins if pin.value(before) != pin.value(after)]
    return listing([_change(pin, pin.value(before), pin.value(after)) for pin in changed])


def _change(pin: Shown, before: int, after: int) -> str:
    """A source that runs by itself is nobody's to flip, so its edges are told as happening."""
    if pin.input_class is InputClass.FREE_RUNNING:
        if pin.width > 1:
            return f"{pin.name} goes from {before} to {after}"
        return f"{pin.name} {'rises' if after else 'falls'}"
    if pin.width > 1:
        return f"set {pin.name} to {after}"
    if pin.input_class is InputClass.FLOATING:
        return f"{pin.name} drifts {'high' if after else 'low'}"
    if pin.input_class is InputClass.BY_HAND:
        return f"flip {pin.name} {'up' if after else 'down'}"
    return f"set {pin.name} {'high' if after else 'low'}"


def _aside(events: StepEvents) -> str:
    if events.oscillated:
        return " (may never settle)"
    return " (a race)" if events.raced else ""
