"""Reads the small gate netlists that the package circuitgraph ships as data: what c17 and s27 need, no more."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import reduce
from importlib.metadata import files
from operator import and_, or_

GATE = re.compile(r"(?m)^\s*(not|nand|nor)\s+\S+\s*\(([^)]*)\)\s*;")
FLIP_FLOP = re.compile(r"(?m)^\s*ff\s+\S+\s*\(\.CK \(clk\), \.D \((\w+)\), \.Q \((\w+)\)\);")


@dataclass(frozen=True)
class GateList:
    gates: Mapping[str, tuple[str, tuple[str, ...]]]
    """Output to kind and inputs."""
    next_of: Mapping[str, str]
    """Output of a flip-flop to its data net."""

    def value(self, name: str, known: Mapping[str, int]) -> int:
        """The value of a net; inputs and flip-flops must be known. The netlists are shallow, so recursion is safe."""
        if name in known:
            return known[name]
        kind, pins = self.gates[name]
        values = [self.value(pin, known) for pin in pins]
        return 1 ^ reduce(or_ if kind == "nor" else and_, values)


def shipped(name: str) -> GateList:
    (path,) = [file for file in files("circuitgraph") or [] if file.name == f"{name}.v"]
    text = path.read_text()
    gates = {}
    for kind, pins in GATE.findall(text):
        output, *inputs = (pin.strip() for pin in pins.split(","))
        gates[output] = (kind, tuple(inputs))
    return GateList(gates, {q: d for d, q in FLIP_FLOP.findall(text)})
