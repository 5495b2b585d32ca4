"""Turns netlists read from data files into designs, their pins called alike so that two of them can be compared."""

from __future__ import annotations

import re
from collections.abc import Iterable

from outside.netlist_data import GateList
from verifier import Design
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind

KINDS = {"buf": "buffer"}
CLOCK = "clock"


def in_numeric_order(pins: Iterable[str]) -> list[str]:
    """By the number in the name: the published order, which the files do not keep."""
    return sorted(pins, key=lambda name: int(re.sub(r"\D", "", name)))


def design_from(name: str, gate_list: GateList, *, start: bool | None = None) -> Design:
    """Pins are called `in_0`, `in_1`, ... and `out_0`, ... in numeric order; other nets keep their names."""
    builder = NetlistBuilder(name, inputs_may_change_together=True)
    called = {pin: f"in_{index}" for index, pin in enumerate(in_numeric_order(gate_list.inputs))}
    for pin in called.values():
        builder.input(pin)
    if gate_list.next_of:
        builder.input(CLOCK)
    for output, (kind, pins) in gate_list.gates.items():
        builder.gate(output, GateKind(KINDS.get(kind, kind)), [called.get(pin, pin) for pin in pins])
    for output, data in gate_list.next_of.items():
        builder.flip_flop(output, called.get(data, data), CLOCK, start=start)
    for index, pin in enumerate(in_numeric_order(gate_list.outputs)):
        builder.output(f"out_{index}", called.get(pin, pin))
    return Design(netlist=builder.build(), file="published.wiring", claims=())
