"""What every member of a circuit wants (grammar/README.md, 11), and which depends on which (10).

Knows nothing of steps, rounds or races.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

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


@cache
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
    """The nets that the output depends on without a clock edge; itself only when it is wired to a pin."""
    if isinstance(element, Gate):
        return set(element.inputs)
    if isinstance(element, Latch):
        return {element.data, element.enable.net}
    if isinstance(element, SetReset):
        return {element.set, element.reset}
    return {level.net for level in (element.clear, element.preset) if level is not None}


class TooBigError(Exception):
    """The circuit has more to walk than the caller allows; there is no answer."""


class Work:
    """Counts what is done and stops a walk that would take too long; the same on every machine."""

    def __init__(self, at_most: int | None = None) -> None:
        self.at_most = at_most
        self.done = 0

    def spend(self, amount: int) -> None:
        self.done += amount
        if self.at_most is not None and self.done > self.at_most:
            raise TooBigError(f"more than {self.at_most} units of work")


@dataclass(frozen=True)
class Part:
    """What is settled at once: one net outside loops, or all members of one loop."""

    members: tuple[NetId, ...]
    is_loop: bool


class Structure:
    """A netlist with its parts in an order in which they can be settled one after the other."""

    def __init__(self, netlist: Netlist, work: Work | None = None) -> None:
        self.netlist = netlist
        self.work = work or Work()
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
        return Part(members, graph.has_edge(members[0], members[0]))
