"""The input pins of an element by name, and the same element with its pins on other nets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from verifier.circuit.netlist import (
    Driver,
    FlipFlop,
    FlipFlopKind,
    Gate,
    GateKind,
    Latch,
    Level,
    NetId,
    Netlist,
    SetReset,
)

_DATA_PIN_NAMES = {FlipFlopKind.D: ("d",), FlipFlopKind.TOGGLE: ("t",), FlipFlopKind.JK: ("j", "k")}

_CONSTANT = {GateKind.LOW: False, GateKind.HIGH: True}


@dataclass(frozen=True)
class ElementPin:
    name: str
    """`input 2` of a gate, `selector`, `d`, `clock`, `clear`, ..."""
    net: NetId


def constant_value(element: Driver | None) -> bool | None:
    """The level at which a gate without inputs stands; None: the element is none, or may move."""
    return _CONSTANT.get(element.kind) if isinstance(element, Gate) else None


def element_pins(element: Driver) -> tuple[ElementPin, ...]:
    """In a fixed order; a flip-flop's `clear` and `preset` only where they are wired."""
    match element:
        case Gate():
            return tuple(map(ElementPin, _gate_pin_names(element), element.inputs))
        case Latch():
            return (ElementPin("d", element.data), ElementPin("enable", element.enable.net))
        case SetReset():
            return (ElementPin("set", element.set), ElementPin("reset", element.reset))
        case FlipFlop():
            data = map(ElementPin, _DATA_PIN_NAMES[element.kind], element.data)
            levels = (("clear", element.clear), ("preset", element.preset))
            asynchronous = (ElementPin(name, level.net) for name, level in levels if level is not None)
            return (*data, ElementPin("clock", element.clock), *asynchronous)


def pins_of(element: Driver) -> tuple[NetId, ...]:
    """All nets that an element reads, in the order of `element_pins`; a net on two pins comes twice."""
    return tuple(pin.net for pin in element_pins(element))


def with_pin_nets(element: Driver, nets: Sequence[NetId]) -> Driver:
    """The element with its pins, in the order of `element_pins`, on these nets."""
    match element:
        case Gate():
            return replace(element, inputs=tuple(nets))
        case Latch():
            return replace(element, data=nets[0], enable=Level(nets[1], element.enable.active_high))
        case SetReset():
            return replace(element, set=nets[0], reset=nets[1])
        case FlipFlop():
            remaining = iter(nets)
            data = tuple(next(remaining) for _ in element.data)
            return replace(
                element,
                data=data,
                clock=next(remaining),
                clear=None if element.clear is None else Level(next(remaining), element.clear.active_high),
                preset=None if element.preset is None else Level(next(remaining), element.preset.active_high),
            )


def readers(netlist: Netlist) -> dict[NetId, list[tuple[NetId, int]]]:
    """Net to the pins that read it, each as the output of its element and the pin's position."""
    found: dict[NetId, list[tuple[NetId, int]]] = {}
    for element in netlist.drivers.values():
        for position, pin in enumerate(element_pins(element)):
            found.setdefault(pin.net, []).append((element.output, position))
    return found


def _gate_pin_names(gate: Gate) -> tuple[str, ...]:
    if gate.kind is GateKind.SELECT:
        return ("selector", "input when high", "input when low")
    if len(gate.inputs) == 1:
        return ("input",)
    return tuple(f"input {position + 1}" for position in range(len(gate.inputs)))
