"""A netlist with one fault in it: `grammar/README.md`, part V, sentence by sentence."""

from __future__ import annotations

from dataclasses import replace

from verifier.circuit.element_pins import element_pins, with_pin_nets
from verifier.circuit.fault import Fault, FaultKind, Technology
from verifier.circuit.netlist import Driver, Edge, FlipFlop, Gate, GateKind, Latch, Level, NetId, Netlist
from verifier.circuit.rewiring import FLOATING_WIRE, Rewiring, Surroundings


def faulty(netlist: Netlist, fault: Fault) -> Netlist:
    """The netlist with the fault, which `single_faults` has listed for it.

    Pins, nets and signals keep their names and numbers; nets may come behind them, and an input `floating` behind the
    inputs.

    Raises:
        ValueError: the fault is none of this netlist.
    """
    return rewired(Surroundings(netlist), fault).netlist()


def rewired(around: Surroundings, fault: Fault) -> Rewiring:
    """The changes that the fault makes."""
    wiring = Rewiring(around)
    match fault.kind:
        case FaultKind.STUCK if fault.value is not None:
            _stick(wiring, fault, fault.value)
        case FaultKind.OPEN if fault.technology is Technology.TTL:
            _stick(wiring, fault, True)
        case FaultKind.OPEN if fault.pin is None:
            wiring.float_net(fault.net)
        case FaultKind.OPEN if fault.pin is not None:
            wiring.float_pin(fault.net, fault.pin)
        case FaultKind.WRONG_GATE if fault.gate is not None:
            _replace_gate(wiring, fault.net, fault.gate)
        case FaultKind.SWAPPED_PINS if fault.pin is not None:
            wiring.put(_swapped(_element(wiring, fault.net), fault.pin, fault.other_pin))
        case FaultKind.BRIDGE if fault.other_net is not None:
            _bridge(wiring, around, fault.net, fault.other_net, fault.technology)
        case FaultKind.WRONG_EDGE:
            wiring.put(_on_the_other_edge(_element(wiring, fault.net)))
        case FaultKind.NO_PULL_UP:
            if fault.technology is Technology.CMOS:
                _lose_pull_up(wiring, around, fault.net)
        case _:
            raise ValueError(f"{fault.name}: something is missing in {fault}")
    return wiring


def _element(wiring: Rewiring, net: NetId) -> Driver:
    element = wiring.element(net)
    if element is None:
        raise ValueError(f"net {net} is driven by no element")
    return element


def _stick(wiring: Rewiring, fault: Fault, value: bool) -> None:
    if fault.pin is None:
        wiring.stick_net(fault.net, value)
    else:
        wiring.stick_pin(fault.net, fault.pin, value)


def _replace_gate(wiring: Rewiring, net: NetId, kind: GateKind) -> None:
    element = _element(wiring, net)
    if not isinstance(element, Gate):
        raise ValueError(f"net {net} is driven by no gate")
    wiring.put(replace(element, kind=kind))


def _swapped(element: Driver, pin: int, other_pin: int | None) -> Driver:
    if other_pin is None:
        return _on_the_other_asynchronous_pin(element)
    nets = [pin.net for pin in element_pins(element)]
    nets[pin], nets[other_pin] = nets[other_pin], nets[pin]
    return with_pin_nets(element, nets)


def _on_the_other_asynchronous_pin(element: Driver) -> Driver:
    """Both act at one level, as on the common packages."""
    if not isinstance(element, FlipFlop) or (element.clear is None) is (element.preset is None):
        raise ValueError(f"net {element.output} is driven by no flip-flop with one of clear and preset")
    return replace(element, clear=element.preset, preset=element.clear)


def _on_the_other_edge(element: Driver) -> Driver:
    if isinstance(element, FlipFlop):
        return replace(element, edge=Edge.FALL if element.edge is Edge.RISE else Edge.RISE)
    if isinstance(element, Latch):
        return replace(element, enable=Level(element.enable.net, not element.enable.active_high))
    raise ValueError(f"net {element.output} is driven by nothing that has an edge")


def _bridge(wiring: Rewiring, around: Surroundings, first: NetId, second: NetId, technology: Technology) -> None:
    """What both wires carry stands on the net of an element if there is one, so that a loop has one member more."""
    if first not in around.drivers:
        first, second = second, first
    if first not in around.drivers:
        names = around.netlist.nets
        wire = wiring.new_net(f"{names[first].name}~{names[second].name}")
        wiring.move_readers(first, wire)
        wiring.move_readers(second, wire)
        wiring.put(_short(around, wire, (first, second), technology))
        return
    driving = (wiring.driver_apart(first), wiring.driver_apart(second))
    wiring.move_readers(second, first)
    wiring.put(_short(around, first, driving, technology))
    if second in around.drivers:
        wiring.put(Gate(output=second, kind=GateKind.BUFFER, inputs=(first,), takes=around.short_takes))


def _short(around: Surroundings, wire: NetId, driving: tuple[NetId, NetId], technology: Technology) -> Gate:
    """TTL: the lower wins. CMOS: either value where the two differ, the same for all that read it."""
    if technology is Technology.TTL:
        return Gate(output=wire, kind=GateKind.AND, inputs=driving, takes=around.short_takes)
    return Gate(output=wire, kind=GateKind.MAJORITY, inputs=(*driving, FLOATING_WIRE), takes=around.short_takes)


def _lose_pull_up(wiring: Rewiring, around: Surroundings, net: NetId) -> None:
    """Low while the contact is closed; floating while it is open."""
    wire = wiring.new_net(f"{around.netlist.nets[net].name}~switched")
    wiring.move_readers(net, wire)
    wiring.put(Gate(output=wire, kind=GateKind.AND, inputs=(net, FLOATING_WIRE), takes=around.short_takes))
