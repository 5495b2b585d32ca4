"""What is drawn: the pins of the circuit, its elements, and parts folded into one box. No geometry yet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum

from verifier.circuit.element_pins import pins_of
from verifier.circuit.netlist import Driver, Gate, NetId, Netlist
from verifier.report.drawing.symbols import Symbol, border_symbol, gate_symbol, part_symbol, storage_symbol


class Role(Enum):
    INPUT = "input"
    OUTPUT = "output"
    ELEMENT = "element"
    PART = "part"


@dataclass(frozen=True, kw_only=True)
class Node:
    """One thing with pins."""

    role: Role
    name: str
    """Full name: of the pin, of the net that the element drives, of the part."""
    symbol: Symbol
    driven: tuple[NetId, ...] = ()
    """Nets driven inside; of a folded part also those that stay inside."""
    driver: Driver | None = None
    """Of an element."""


def nodes_of(netlist: Netlist, folded: frozenset[str] = frozenset()) -> tuple[Node, ...]:
    """Inputs, then elements and folded parts in the order of the netlist, then outputs.

    Raises:
        ValueError: a folded name is no part of the circuit.
    """
    members = members_of_parts(netlist)
    unknown = sorted(folded - members.keys())
    if unknown:
        raise ValueError(f"{netlist.name} has no part {unknown[0]!r}")
    home = {net: part for part in _outermost(folded) for net in members[part]}
    nodes = [
        Node(role=Role.INPUT, name=_bit_name(pin.name, len(pin.nets), bit), symbol=border_symbol(net, is_input=True))
        for pin in netlist.inputs
        for bit, net in enumerate(pin.nets)
    ]
    drawn: set[str] = set()
    for driver in netlist.drivers.values():
        part = home.get(driver.output)
        if part is None:
            nodes.append(_element(netlist, driver))
        elif part not in drawn:
            drawn.add(part)
            nodes.append(_part(netlist, part, members[part]))
    nodes.extend(
        Node(role=Role.OUTPUT, name=_bit_name(pin.name, len(pin.nets), bit), symbol=border_symbol(net, is_input=False))
        for pin in netlist.outputs
        for bit, net in enumerate(pin.nets)
    )
    return tuple(nodes)


def members_of_parts(netlist: Netlist) -> Mapping[str, tuple[NetId, ...]]:
    """The parts of the circuit by name, those within parts included, with the nets that are driven inside each.

    The name of a part is what stands before the last dot of the names of its nets.
    """
    drivers = netlist.drivers
    found: dict[str, dict[NetId, None]] = {}
    names = [(net.name, (number,)) for number, net in enumerate(netlist.nets)]
    for name, nets in (*names, *netlist.signals.items()):
        for part in _prefixes(name):
            found.setdefault(part, {}).update(dict.fromkeys(net for net in nets if net in drivers))
    return {part: tuple(sorted(nets)) for part, nets in sorted(found.items()) if nets}


def top_parts(netlist: Netlist) -> tuple[str, ...]:
    """Parts that stand in no other part."""
    return tuple(part for part in members_of_parts(netlist) if "." not in part)


def _element(netlist: Netlist, driver: Driver) -> Node:
    net = netlist.nets[driver.output]
    label = "" if net.anonymous else net.name
    symbol = gate_symbol(driver, label) if isinstance(driver, Gate) else storage_symbol(driver, label)
    return Node(role=Role.ELEMENT, name=net.name, symbol=symbol, driven=(driver.output,), driver=driver)


def _part(netlist: Netlist, name: str, members: tuple[NetId, ...]) -> Node:
    """A box with the nets that cross its border."""
    inside = set(members)
    drivers = netlist.drivers
    coming = dict.fromkeys(net for member in members for net in pins_of(drivers[member]) if net not in inside)
    asked = {net for driver in drivers.values() if driver.output not in inside for net in pins_of(driver)}
    asked.update(net for pin in netlist.outputs for net in pin.nets)
    going = [net for net in members if net in asked]
    inner = _inner_names(netlist, name)
    inputs = [(net, "" if netlist.nets[net].anonymous else netlist.nets[net].name) for net in coming]
    outputs = [(net, inner.get(net, netlist.nets[net].name)) for net in going]
    return Node(role=Role.PART, name=name, symbol=part_symbol(inputs, outputs, name), driven=members)


def _inner_names(netlist: Netlist, part: str) -> dict[NetId, str]:
    """What the part itself calls its nets; the shortest name where it has several."""
    found: dict[NetId, str] = {}
    lead = f"{part}."
    for name, nets in netlist.signals.items():
        if not name.startswith(lead):
            continue
        for bit, net in enumerate(nets):
            inner = _bit_name(name.removeprefix(lead), len(nets), bit)
            if net not in found or len(inner) < len(found[net]):
                found[net] = inner
    return found


def _outermost(parts: Iterable[str]) -> list[str]:
    """Without those that stand inside another one of them."""
    chosen = set(parts)
    return sorted(part for part in chosen if not any(outer in chosen for outer in _prefixes(part)))


def _prefixes(name: str) -> list[str]:
    words = name.split(".")
    return [".".join(words[:count]) for count in range(1, len(words)) if all(words[:count])]


def _bit_name(name: str, width: int, bit: int) -> str:
    return name if width == 1 else f"{name}[{bit}]"
