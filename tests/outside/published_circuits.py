"""Turns netlists read from data files into designs, their pins called alike so that two of them can be compared."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace

from outside.netlist_data import GateList
from verifier import Design
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind
from verifier.claims.run import Instant

KINDS = {"buf": "buffer"}
CLOCK = "clock"


def in_numeric_order(pins: Iterable[str]) -> list[str]:
    """By the number in the name: the published order, which the files do not keep."""
    return sorted(pins, key=lambda name: int(re.sub(r"\D", "", name)))


def design_from(name: str, gate_list: GateList, *, together: bool = True, start: str = "") -> Design:
    """`start` has a digit for each flip-flop, in numeric order, or none. `together`: inputs may change together.

    Pins are called `in_0`, `in_1`, ... and `out_0`, ... in numeric order; other nets keep their names."""
    builder = NetlistBuilder(name, inputs_may_change_together=together)
    called = {pin: f"in_{index}" for index, pin in enumerate(in_numeric_order(gate_list.inputs))}
    for pin in called.values():
        builder.input(pin)
    if gate_list.next_of:
        builder.input(CLOCK)
    for output, (kind, pins) in gate_list.gates.items():
        builder.gate(output, GateKind(KINDS.get(kind, kind)), [called.get(pin, pin) for pin in pins])
    for index, output in enumerate(in_numeric_order(gate_list.next_of)):
        data = gate_list.next_of[output]
        begins = start[index] == "1" if start else None
        builder.flip_flop(output, called.get(data, data), CLOCK, start=begins)
    for index, pin in enumerate(in_numeric_order(gate_list.outputs)):
        builder.output(f"out_{index}", called.get(pin, pin))
    return Design(netlist=builder.build(), file="published.wiring", claims=())


def with_gates_of_kind(gate_list: GateList, kinds: Mapping[str, str]) -> GateList:
    """The same with other kinds for the gates that drive these nets."""
    gates = {net: (kinds.get(net, kind), pins) for net, (kind, pins) in gate_list.gates.items()}
    return replace(gate_list, gates=gates)


def vector(design: Design, instant: Instant, gate_list: GateList) -> dict[str, int]:
    """What an instant of a design, or of two side by side, has at the inputs, by the names in the data file."""
    at = {pin.name: int(instant[pin.nets[0]]) for pin in design.netlist.inputs}
    return {pin: at[f"in_{index}"] for index, pin in enumerate(in_numeric_order(gate_list.inputs))}


def outputs_of(gate_list: GateList, known: Mapping[str, int], everywhere: int = 1) -> list[int]:
    """Own evaluation, outputs in numeric order."""
    values = gate_list.values(known, everywhere)
    return [values[pin] for pin in in_numeric_order(gate_list.outputs)]
