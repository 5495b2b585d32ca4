"""Reads the gate netlists that the package circuitgraph ships as data, and works their values out.

It knows the statements that the combinational files and s27 are made of, and refuses a file with any other. Values are
numbers with one bit for each of many vectors, so one walk evaluates all of them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from graphlib import TopologicalSorter
from importlib.metadata import files
from operator import and_, or_, xor

PINS = re.compile(r"\b(input|output)\b([^;]*);")
GATE = re.compile(r"\b(not|buf|and|nand|or|nor|xor|xnor)\s+\S+\s*\(([^)]*)\)\s*;")
FLIP_FLOP = re.compile(r"\bff\s+\S+\s*\(\.CK \((\w+)\), \.D \((\w+)\), \.Q \((\w+)\)\);")
ASSIGNMENT = re.compile(r"\bassign\s+(\w+)\s*=\s*(\w+)\s*;")
CONSTANT = re.compile(r"\bassign\s+(\w+)\s*=\s*1'b([01])\s*;")
NOTHING_TO_READ = re.compile(r"//.*|\bmodule\b[^;]*;|\bwire\b[^;]*;|\bendmodule\b")

FUNCTIONS = {"not": and_, "buf": and_, "and": and_, "nand": and_, "or": or_, "nor": or_, "xor": xor, "xnor": xor}
NEGATED = {"not", "nand", "nor", "xnor"}
CONSTANTS = {"0": "low", "1": "high"}


@dataclass(frozen=True, kw_only=True)
class GateList:
    inputs: tuple[str, ...]
    """Without the clock."""
    outputs: tuple[str, ...]
    gates: Mapping[str, tuple[str, tuple[str, ...]]]
    """Output to kind and inputs; kinds `low` and `high` have none."""
    next_of: Mapping[str, str]
    """Output of a flip-flop to its data net."""

    def value(self, name: str, known: Mapping[str, int]) -> int:
        """The value of one net for one vector; inputs and flip-flops must be known."""
        return self.values(known)[name]

    def values(self, known: Mapping[str, int], everywhere: int = 1) -> dict[str, int]:
        """The values of all nets; `everywhere` has a 1 for each vector."""
        found = dict(known)
        for net in TopologicalSorter({net: pins for net, (_, pins) in self.gates.items()}).static_order():
            if net not in found:
                kind, pins = self.gates[net]
                found[net] = _function(kind, [found[pin] for pin in pins], everywhere)
        return found


def _function(kind: str, pins: Sequence[int], everywhere: int) -> int:
    if kind in CONSTANTS.values():
        return everywhere if kind == "high" else 0
    return reduce(FUNCTIONS[kind], pins) ^ (everywhere if kind in NEGATED else 0)


def shipped(name: str) -> GateList:
    (path,) = [file for file in files("circuitgraph") or [] if file.name == f"{name}.v"]
    return read(path.read_text())


def read(text: str) -> GateList:
    """Raises ValueError for a statement that it does not know, a second driver, and a pin without any."""
    gates: dict[str, tuple[str, tuple[str, ...]]] = {}
    text = NOTHING_TO_READ.sub(" ", text)
    statements = [(kind, _names(pins)) for kind, pins in GATE.findall(text)]
    statements += [("buf", pair) for pair in ASSIGNMENT.findall(text)]
    statements += [(CONSTANTS[value], (net,)) for net, value in CONSTANT.findall(text)]
    for kind, (output, *pins) in statements:
        if output in gates:
            raise ValueError(f"{output} is driven twice")
        gates[output] = (kind, tuple(pins))
    clocks = {clock for clock, _, _ in FLIP_FLOP.findall(text)}
    next_of = {output: data for _, data, output in FLIP_FLOP.findall(text)}
    pins_of = {direction: _names(names) for direction, names in PINS.findall(text)}
    for pattern in (GATE, ASSIGNMENT, CONSTANT, FLIP_FLOP, PINS):
        text = pattern.sub(" ", text)
    if text.strip():
        raise ValueError(f"not read: {text.split()[:10]}")
    inputs = tuple(pin for pin in pins_of["input"] if pin not in clocks)
    loose = {pin for _, pins in gates.values() for pin in pins} | {*next_of.values(), *pins_of["output"]}
    loose -= {*inputs, *gates, *next_of}
    if loose:
        raise ValueError(f"nothing drives {sorted(loose)[:10]}")
    return GateList(inputs=inputs, outputs=pins_of["output"], gates=gates, next_of=next_of)


def _names(text: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in text.split(","))
