"""What a meter reads at a pin of a part, on a board with a given fault: where the wire ends, not where it begins.

A missing wire shows nowhere but at the pin it does not reach: there the meter finds no firm level. A pin that is stuck
may be stuck inside its package, where no meter reaches, so it may read like its wire as well.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

from verifier.circuit.element_names import net_names
from verifier.circuit.element_pins import element_pins
from verifier.circuit.fault import Fault, FaultKind, Technology
from verifier.circuit.netlist import Driver, NetId, Netlist
from verifier.claims.run import Instant
from verifier.evidence.diagnosis import NO_FIRM_LEVEL, MeterLevel, Pin

FIRM = (False, True)

Meter = Callable[[Pin, Instant], frozenset[MeterLevel]]


@dataclass(frozen=True)
class PinLevels:
    """The pins of a sound netlist. States are those of the same with one fault, in which nets keep their numbers."""

    netlist: Netlist

    @cached_property
    def names(self) -> Mapping[str, Pin]:
        """`agree` to the wire and `on_tempo: d (choose)` to the pin, wires with a name first."""
        named = net_names(self.netlist)
        wires = [net for net in self._drivers if not self.netlist.nets[net].anonymous]
        return {self.netlist.nets[net].name: Pin(net, None) for net in wires} | {
            f"{named[output]}: {pin.name} ({named[pin.net]})": Pin(output, position)
            for output, element in self._drivers.items()
            for position, pin in enumerate(element_pins(element))
        }

    @cached_property
    def _drivers(self) -> dict[NetId, Driver]:
        return self.netlist.drivers

    def meter(self, fault: Fault) -> Meter:
        """What may be read at a pin, on a board with this fault."""
        return lambda pin, state: self.at(pin, fault, state)

    def at(self, pin: Pin, fault: Fault, state: Instant) -> frozenset[MeterLevel]:
        """All that the meter may read."""
        if pin.position is None:
            return self._on_driven_wire(pin.output, fault, state)
        nets = [wired.net for wired in element_pins(self._drivers[pin.output])]
        net = nets[pin.position]
        if fault.kind is FaultKind.SWAPPED_PINS and fault.net == pin.output and fault.pin is not None:
            return self._at_swapped(pin.position, fault, nets, state)
        if fault.net == pin.output and fault.pin == pin.position:
            if fault.kind is FaultKind.OPEN:
                return frozenset({NO_FIRM_LEVEL})
            if fault.kind is FaultKind.STUCK and fault.value is not None:
                return frozenset({fault.value, state[net]})
        return self._on_net(net, fault, state)

    def _on_driven_wire(self, net: NetId, fault: Fault, state: Instant) -> frozenset[MeterLevel]:
        if fault.kind is FaultKind.OPEN and fault.net == net and fault.pin is None:
            # It depends on which side of the gap the probe touches.
            return frozenset({*FIRM, NO_FIRM_LEVEL})
        return self._on_net(net, fault, state)

    def _at_swapped(self, position: int, fault: Fault, nets: list[NetId], state: Instant) -> frozenset[MeterLevel]:
        if fault.pin is None or fault.other_pin is None:
            # `clear` and `preset`: the wire ends at the other one, and this one is tied to where it does nothing.
            return frozenset(FIRM) if position == fault.pin else frozenset({state[nets[position]]})
        exchanged = {fault.pin: fault.other_pin, fault.other_pin: fault.pin}
        return frozenset({state[nets[exchanged.get(position, position)]]})

    def _on_net(self, net: NetId, fault: Fault, state: Instant) -> frozenset[MeterLevel]:
        """At a pin that the fault is not about: the level of its wire."""
        if fault.pin is None and fault.net == net:
            if fault.kind is FaultKind.OPEN:
                return frozenset({NO_FIRM_LEVEL})
            if fault.kind is FaultKind.STUCK and fault.value is not None:
                return frozenset({fault.value})
            if fault.kind is FaultKind.NO_PULL_UP:
                return frozenset({False}) if not state[net] else frozenset({NO_FIRM_LEVEL})
        if fault.kind is FaultKind.BRIDGE and fault.other_net is not None and net in (fault.net, fault.other_net):
            return self._on_bridge(fault.net, fault.other_net, fault.technology, state)
        return frozenset({state[net]})

    def _on_bridge(self, one: NetId, other: NetId, technology: Technology, state: Instant) -> frozenset[MeterLevel]:
        """The net of an element shows what both wires carry; two inputs keep their own levels in the state."""
        driven = next((net for net in (one, other) if net in self._drivers), None)
        if driven is not None:
            return frozenset({state[driven]})
        if state[one] == state[other]:
            return frozenset({state[one]})
        return frozenset({False}) if technology is Technology.TTL else frozenset(FIRM)
