"""What a builder calls each net: its own name, or what the gate inside an expression computes."""

from __future__ import annotations

from collections import Counter

from verifier.circuit.netlist import Driver, Gate, GateKind, NetId, Netlist

LONGEST_EXPRESSION = 36
"""Characters. A longer one is called by the number that the gate has in its expression: `beat~3`."""


def net_names(netlist: Netlist) -> tuple[str, ...]:
    """A name for each net, no two alike: `agree`, `nand(tempo, on_tempo) in beat`."""
    drivers = netlist.drivers
    names = [_name(netlist, drivers, net) for net in range(len(netlist.nets))]
    count = Counter(names)
    return tuple(name if count[name] == 1 else netlist.nets[net].name for net, name in enumerate(names))


def _name(netlist: Netlist, drivers: dict[NetId, Driver], net: NetId) -> str:
    described = netlist.nets[net]
    stem, mark, _ = described.name.rpartition("~")
    expression = _expression(netlist, drivers, net, LONGEST_EXPRESSION)
    if not described.anonymous or not mark or expression is None:
        return described.name
    return f"{expression} in {stem}"


def _expression(netlist: Netlist, drivers: dict[NetId, Driver], net: NetId, room: int) -> str | None:
    """The gate's function in at most `room` characters; None when there is no room, or no gate without a name."""
    if not netlist.nets[net].anonymous:
        name = netlist.nets[net].name
        return name if len(name) <= room else None
    gate = drivers.get(net)
    if not isinstance(gate, Gate):
        return None
    if gate.kind in (GateKind.LOW, GateKind.HIGH):
        return f"constant {int(gate.kind is GateKind.HIGH)}"
    pins: list[str] = []
    for pin in gate.inputs:
        room -= len(pins[-1]) + 2 if pins else len(gate.kind.value) + 2
        written = _expression(netlist, drivers, pin, room) if room > 0 else None
        if written is None:
            return None
        pins.append(written)
    return _call(gate.kind, pins)


def _call(kind: GateKind, pins: list[str]) -> str:
    if kind is GateKind.SELECT:
        return f"if {pins[0]} then {pins[1]} else {pins[2]}"
    return f"not {pins[0]}" if kind is GateKind.NOT and " " not in pins[0] else f"{kind.value}({', '.join(pins)})"
