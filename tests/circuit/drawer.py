"""Small circuits to be put into packages."""

from __future__ import annotations

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind
from verifier.circuit.packages import parts_needed


def bench(inputs: int = 9) -> NetlistBuilder:
    builder = NetlistBuilder("bench")
    for number in range(inputs):
        builder.input(f"in_{number}")
    return builder


def needed(builder: NetlistBuilder) -> dict[str, tuple[int, int]]:
    """Number of the package to how many of it and how many places in them are left."""
    return {each.package.number: (each.packages, each.spare) for each in parts_needed(builder.build()).packages}


def gates(kind: GateKind, inputs: int, count: int) -> dict[str, tuple[int, int]]:
    builder = bench()
    for number in range(count):
        builder.gate(f"g_{number}", kind, [f"in_{pin}" for pin in range(inputs)])
    return needed(builder)
