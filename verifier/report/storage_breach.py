"""How the last instant of a run falls short of what a flip-flop or a latch asks of its pins, in one sentence.

It expects a run with all its ticks written down that breaks such a claim at its end.
"""

from __future__ import annotations

from verifier.circuit.netlist import FlipFlop, Latch, NetId, Netlist, Timing
from verifier.claims.formula import KeepsTiming, TimingRule
from verifier.claims.run import Instant, Run
from verifier.evidence.delayed_elements import samples
from verifier.evidence.three_valued import is_active
from verifier.report.changes import changed, last_change, passed


def storage_breach(formula: KeepsTiming, run: Run, netlist: Netlist) -> str:
    """Raises ValueError when the run does not end in such a breach."""
    storage = netlist.drivers.get(formula.storage)
    if not isinstance(storage, FlipFlop | Latch):
        raise ValueError(f"net {formula.storage} is not the output of a flip-flop or a latch")
    timing, name = storage.timing or Timing(), netlist.nets[storage.output].name
    match formula.rule:
        case TimingRule.SET_UP:
            return f"{_late_data(storage, run, netlist)}; set-up asks for {timing.set_up} ns"
        case TimingRule.HOLD:
            return f"{_early_data(storage, run, netlist)}; hold asks for {timing.hold} ns"
        case TimingRule.CLOCK_WIDTH:
            return f"{_pulse(_clocks(storage), run, netlist)}; {name} asks for {timing.clock_width} ns"
        case TimingRule.CLEAR_WIDTH:
            return f"{_pulse(_forcing(storage, run), run, netlist)}; {name} asks for {timing.clear_width} ns"


def _late_data(storage: FlipFlop | Latch, run: Run, netlist: Netlist) -> str:
    """The data pin that changed last before the edge that the run ends with."""
    edge = len(run) - 1
    changes = [(at, pin) for pin in _data(storage) if (at := last_change(run, pin, edge)) is not None]
    if not changes:
        raise ValueError("no data pin has changed before the end of the run")
    at, pin = max(changes)
    if at == edge:
        return f"the data pin {netlist.nets[pin].name} changed together with {_edge(storage, netlist)}"
    return f"the data pin {netlist.nets[pin].name} changed {passed(run, at, edge)} ns before {_edge(storage, netlist)}"


def _early_data(storage: FlipFlop | Latch, run: Run, netlist: Netlist) -> str:
    """A data pin that changes at the end of the run, and the last edge before."""
    last = len(run) - 1
    edge = next((i for i in range(last, 0, -1) if _takes(storage, run.instants[i - 1], run.instants[i])), None)
    pin = next((pin for pin in _data(storage) if pin in changed(run, last)), None)
    if edge is None or pin is None:
        raise ValueError("no data pin changes after an edge at the end of the run")
    if edge == last:
        return f"the data pin {netlist.nets[pin].name} changed together with {_edge(storage, netlist)}"
    return f"the data pin {netlist.nets[pin].name} changed {passed(run, edge, last)} ns after {_edge(storage, netlist)}"


def _pulse(pins: list[tuple[str, NetId]], run: Run, netlist: Netlist) -> str:
    """The shortest pulse on these pins that the run ends with."""
    last = len(run) - 1
    ended = [
        (passed(run, began, last), what, pin)
        for what, pin in pins
        if pin in changed(run, last) and (began := last_change(run, pin, last - 1)) is not None
    ]
    if not ended:
        raise ValueError("no pulse ends with the run")
    length, what, pin = min(ended)
    was = "high" if run.instants[last - 1][pin] else "low"
    return f"the {what} {netlist.nets[pin].name} was {was} for {length} ns"


def _clocks(storage: FlipFlop | Latch) -> list[tuple[str, NetId]]:
    return [("clock", storage.clock)] if isinstance(storage, FlipFlop) else [("enable", storage.enable.net)]


def _forcing(storage: FlipFlop | Latch, run: Run) -> list[tuple[str, NetId]]:
    """Clear and preset, where they are not active at the end of the run."""
    if isinstance(storage, Latch):
        return []
    pins = [("clear pin", storage.clear), ("preset pin", storage.preset)]
    return [(what, pin.net) for what, pin in pins if pin is not None and not is_active(pin, run.instants[-1])]


def _data(storage: FlipFlop | Latch) -> tuple[NetId, ...]:
    return storage.data if isinstance(storage, FlipFlop) else (storage.data,)


def _takes(storage: FlipFlop | Latch, before: Instant, after: Instant) -> bool:
    """A flip-flop samples, or a latch closes."""
    if isinstance(storage, FlipFlop):
        return samples(storage, before, after)
    return is_active(storage.enable, before) and not is_active(storage.enable, after)


def _edge(storage: FlipFlop | Latch, netlist: Netlist) -> str:
    if isinstance(storage, FlipFlop):
        return "the clock edge"
    return f"the end of the enable {netlist.nets[storage.enable.net].name}"
