"""In which order the parts of a circuit settle: loops and lone elements, each after everything it hangs on.

It follows grammar/README.md, section 10, and says nothing about values.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from verifier.circuit.netlist import Driver, FlipFlop, Gate, Latch, NetId, Netlist, SetReset, Storage
from verifier.evidence.components import strongly_connected_components


@dataclass(frozen=True)
class Part:
    """One element outside loops, or all members of one loop, by output net."""

    elements: tuple[Driver, ...]
    is_loop: bool

    @property
    def nets(self) -> tuple[NetId, ...]:
        return tuple(element.output for element in self.elements)


@dataclass(frozen=True)
class Feeler:
    """A storage element that may feel a pulse at the end of a round (12.7)."""

    element: Storage
    pins: frozenset[NetId]
    """The nets on which it may feel one."""
    is_in_loop: bool
    """What `clear`, `preset`, `s` and `r` do is then said by the race of the loop."""


@dataclass(frozen=True, kw_only=True)
class SettlingOrder:
    """The parts of a netlist, every part after the parts it depends on."""

    parts: tuple[Part, ...]
    deciding: int
    """The first `deciding` parts give every clock, every enable and every pin of a feeler its value; no other does."""
    follows_inputs: frozenset[NetId]
    """Input nets and gates outside loops that depend on inputs alone: a step moves them in round 1 only."""
    feelers: tuple[Feeler, ...]
    """In ascending order of their outputs."""
    felt_pins: frozenset[NetId]
    """The pins of all feelers."""


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
    feelers = tuple(_feelers(parts))
    felt_pins = frozenset(pin for feeler in feelers for pin in feeler.pins)
    deciding = _upstream(parts, felt_pins | _clocks_and_enables(netlist))
    first = [part for part in parts if not deciding.isdisjoint(part.nets)]
    rest = [part for part in parts if deciding.isdisjoint(part.nets)]
    return SettlingOrder(
        parts=(*first, *rest),
        deciding=len(first),
        follows_inputs=_follows_inputs(parts, netlist.input_nets),
        feelers=feelers,
        felt_pins=felt_pins,
    )


def _clocks_and_enables(netlist: Netlist) -> set[NetId]:
    clocks = {flip_flop.clock for flip_flop in netlist.flip_flops}
    return clocks | {latch.enable.net for latch in netlist.latches}


def _feelers(parts: Sequence[Part]) -> list[Feeler]:
    can_be_restless = _can_be_restless(parts)
    found = []
    for part in parts:
        for element in part.elements:
            pins = can_be_restless.intersection(_pins_that_feel(element, is_in_loop=part.is_loop))
            if pins and not isinstance(element, Gate):
                found.append(Feeler(element, pins, part.is_loop))
    return sorted(found, key=lambda feeler: feeler.element.output)


def _pins_that_feel(element: Driver, *, is_in_loop: bool) -> tuple[NetId, ...]:
    if isinstance(element, FlipFlop):
        return (element.clock, *(() if is_in_loop else combinational_pins(element)))
    if isinstance(element, Latch):
        return (element.enable.net,)
    if isinstance(element, SetReset):
        return () if is_in_loop else (element.set, element.reset)
    return ()


def _can_be_restless(parts: Iterable[Part]) -> frozenset[NetId]:
    """A superset of the nets that can be restless in a round, whatever the inputs do; `parts` in settling order.

    Pulses begin in loops, and where a clear or a preset takes away what a flip-flop has sampled; gates, latches and
    set-reset latches pass them on.
    """
    found: set[NetId] = set()
    for part in parts:
        for element in part.elements:
            pins = combinational_pins(element)
            if part.is_loop or (pins if isinstance(element, FlipFlop) else not found.isdisjoint(pins)):
                found.add(element.output)
    return frozenset(found)


def _upstream(parts: Iterable[Part], nets: Iterable[NetId]) -> set[NetId]:
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
