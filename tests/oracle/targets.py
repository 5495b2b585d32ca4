"""What every member of a circuit wants (grammar/README.md, 11), and which depends on which (10).

Knows nothing of steps, rounds or races.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import networkx as nx

from verifier.circuit.netlist import (
    Driver,
    FlipFlop,
    Gate,
    GateKind,
    Latch,
    Level,
    NetId,
    Netlist,
    SetReset,
    Storage,
)

Values = Mapping[NetId, bool] | Sequence[bool]


@lru_cache(maxsize=None)
def gate_function(kind: GateKind, pins: tuple[bool, ...]) -> bool:
    """The gate's output for the values at its pins."""
    high = sum(pins)
    if kind is GateKind.SELECT:
        selector, when_high, when_low = pins
        return when_high if selector else when_low
    table = {
        GateKind.LOW: False,
        GateKind.HIGH: True,
        GateKind.BUFFER: high == 1,
        GateKind.NOT: high == 0,
        GateKind.AND: high == len(pins),
        GateKind.NAND: high != len(pins),
        GateKind.OR: high > 0,
        GateKind.NOR: high == 0,
        GateKind.XOR: high % 2 == 1,
        GateKind.XNOR: high % 2 == 0,
        GateKind.MAJORITY: 2 * high > len(pins),
    }
    return table[kind]


def gate_target(gate: Gate, values: Values) -> bool:
    return gate_function(gate.kind, tuple(values[net] for net in gate.inputs))


def is_active(level: Level | None, values: Values) -> bool:
    return level is not None and values[level.net] == level.active_high


def asynchronous_target(flip_flop: FlipFlop, values: Values, own: bool) -> bool:
    """Preset wins when both are active; with neither the flip-flop holds."""
    if is_active(flip_flop.preset, values):
        return True
    if is_active(flip_flop.clear, values):
        return False
    return own


def set_reset_targets(latch: SetReset, values: Values, own: bool) -> set[bool]:
    """Both values when both pins are active."""
    pins = (values[latch.set], values[latch.reset])
    return {(True, True): {False, True}, (True, False): {True}, (False, True): {False}, (False, False): {own}}[pins]


def combinational_pins(element: Driver) -> set[NetId]:
    """The nets that the output depends on without a clock edge, itself left out."""
    if isinstance(element, Gate):
        return set(element.inputs)
    if isinstance(element, Latch):
        return {element.data, element.enable.net}
    if isinstance(element, SetReset):
        return {element.set, element.reset}
    return {level.net for level in (element.clear, element.preset) if level is not None}


@dataclass(frozen=True)
class Part:
    """What is settled at once: one net outside loops, or all members of one loop."""

    members: tuple[NetId, ...]
    is_loop: bool


class Structure:
    """A netlist with its parts in an order in which they can be settled one after the other."""

    def __init__(self, netlist: Netlist) -> None:
        self.netlist = netlist
        self.drivers: dict[NetId, Driver] = dict(netlist.drivers)
        self.storage: tuple[Storage, ...] = (*netlist.flip_flops, *netlist.latches, *netlist.set_resets)
        self.parts = self._parts()

    def _parts(self) -> tuple[Part, ...]:
        graph = nx.DiGraph()
        graph.add_nodes_from(range(len(self.netlist.nets)))
        for output, element in self.drivers.items():
            graph.add_edges_from((pin, output) for pin in combinational_pins(element))
        condensed = nx.condensation(graph)
        return tuple(
            self._part(graph, tuple(sorted(condensed.nodes[component]["members"])))
            for component in nx.topological_sort(condensed)
        )

    def _part(self, graph: nx.DiGraph, members: tuple[NetId, ...]) -> Part:
        if len(members) > 1:
            return Part(members, True)
        feeds_itself = graph.has_edge(members[0], members[0])
        driver = self.drivers.get(members[0])
        if feeds_itself and not isinstance(driver, Gate):
            raise ValueError("grammar/README.md does not say what storage wired straight to its own output does")
        return Part(members, feeds_itself)
