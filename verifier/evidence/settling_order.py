"""In which order the parts of a circuit settle: loops and lone elements, each after everything it hangs on.

It follows grammar/README.md, section 10, and says nothing about values.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from verifier.circuit.netlist import Driver, Gate, Latch, NetId, Netlist, SetReset
from verifier.evidence.components import strongly_connected_components


@dataclass(frozen=True)
class Part:
    """One element outside loops, or all members of one loop, by output net."""

    elements: tuple[Driver, ...]
    is_loop: bool

    @property
    def nets(self) -> tuple[NetId, ...]:
        return tuple(element.output for element in self.elements)


@dataclass(frozen=True, kw_only=True)
class SettlingOrder:
    """The parts of a netlist, every part after the parts it depends on."""

    parts: tuple[Part, ...]
    deciding: int
    """The first `deciding` parts give every clock and every enable its value; no other part does."""
    follows_inputs: frozenset[NetId]
    """Input nets and gates outside loops that depend on inputs alone: a step moves them in round 1 only."""


def combinational_pins(element: Driver) -> tuple[NetId, ...]:
    """The nets that the output depends on at once, beside the value a storage element holds."""
    if isinstance(element, Gate):
        return element.inputs
    if isinstance(element, Latch):
        return (element.data, element.enable.net)
    if isinstance(element, SetReset):
        return (element.set, element.reset)
    return tuple(level.net for level in (element.clear, element.preset) if level is not None)


def settling_order(netlist: Netlist) -> SettlingOrder:
    drivers = dict(sorted(netlist.drivers.items()))
    dependence = {
        net: [pin for pin in combinational_pins(element) if pin in drivers] for net, element in drivers.items()
    }
    parts = [
        # A storage element with a pin on its own output hangs on itself as a gate would, so it is a loop too.
        Part(tuple(drivers[net] for net in sorted(nets)), is_loop=len(nets) > 1 or nets[0] in dependence[nets[0]])
        for nets in strongly_connected_components(dependence)
    ]
    deciding = _upstream(parts, _clocks_and_enables(netlist))
    first = [part for part in parts if not deciding.isdisjoint(part.nets)]
    rest = [part for part in parts if deciding.isdisjoint(part.nets)]
    return SettlingOrder(
        parts=(*first, *rest), deciding=len(first), follows_inputs=_follows_inputs(parts, netlist.input_nets)
    )


def _clocks_and_enables(netlist: Netlist) -> set[NetId]:
    clocks = {flip_flop.clock for flip_flop in netlist.flip_flops}
    return clocks | {latch.enable.net for latch in netlist.latches}


def _upstream(parts: Iterable[Part], nets: set[NetId]) -> set[NetId]:
    """The nets and everything they depend on; `parts` stand in settling order."""
    found = set(nets)
    for part in reversed([*parts]):
        if not found.isdisjoint(part.nets):
            for element in part.elements:
                found.update(combinational_pins(element))
            found.update(part.nets)
    return found


def _follows_inputs(parts: Iterable[Part], input_nets: Iterable[NetId]) -> frozenset[NetId]:
    found = set(input_nets)
    for part in parts:
        element = part.elements[0]
        if not part.is_loop and isinstance(element, Gate) and found.issuperset(element.inputs):
            found.add(element.output)
    return frozenset(found)
