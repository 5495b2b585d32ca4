"""What is left of a gate when some of its pins stand at a constant level."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from verifier.circuit.netlist import Gate, GateKind, NetId

Known = bool | None
"""The level at which a pin stands for ever; None: it may move."""

_CONTROLLING = {
    GateKind.AND: (False, False),
    GateKind.NAND: (False, True),
    GateKind.OR: (True, True),
    GateKind.NOR: (True, False),
}
"""The level of one pin that decides the gate, and the output then."""


def constant(output: NetId, value: bool) -> Gate:
    return Gate(output=output, kind=GateKind.HIGH if value else GateKind.LOW, inputs=())


def reduced(gate: Gate, known: Sequence[Known]) -> Gate:
    """The same function with as few constant pins as there is a gate for; without inputs if nothing can move it.

    Exact, pin by pin: the result depends on a pin only if the gate does.
    """
    if not any(level is not None for level in known):
        return gate
    moving = tuple(net for net, level in zip(gate.inputs, known, strict=True) if level is None)
    levels = [level for level in known if level is not None]
    match gate.kind:
        case GateKind.AND | GateKind.NAND | GateKind.OR | GateKind.NOR:
            deciding, decided = _CONTROLLING[gate.kind]
            if deciding in levels:
                return constant(gate.output, decided)
            return replace(gate, inputs=moving) if moving else constant(gate.output, not decided)
        case GateKind.XOR | GateKind.XNOR:
            return _parity(gate, moving, flipped=sum(levels) % 2 == 1)
        case GateKind.BUFFER | GateKind.NOT:
            return constant(gate.output, levels[0] is (gate.kind is GateKind.BUFFER))
        case GateKind.MAJORITY:
            return _majority(gate, moving, levels)
        case GateKind.SELECT:
            return _select(gate, known)
        case GateKind.LOW | GateKind.HIGH:
            return gate


def _parity(gate: Gate, moving: tuple[NetId, ...], flipped: bool) -> Gate:
    is_odd = (gate.kind is GateKind.XOR) is not flipped
    if not moving:
        return constant(gate.output, not is_odd)
    return replace(gate, kind=GateKind.XOR if is_odd else GateKind.XNOR, inputs=moving)


def _majority(gate: Gate, moving: tuple[NetId, ...], levels: Sequence[bool]) -> Gate:
    """With as many constants missing as moving pins, any one of these decides or all are needed."""
    needed = len(gate.inputs) // 2 + 1 - sum(levels)
    if needed <= 0 or needed > len(moving):
        return constant(gate.output, needed <= 0)
    if needed == 1:
        return replace(gate, kind=GateKind.OR, inputs=moving)
    return replace(gate, kind=GateKind.AND, inputs=moving) if needed == len(moving) else gate


def _select(gate: Gate, known: Sequence[Known]) -> Gate:
    (selector, high, low), (choice, when_high, when_low) = gate.inputs, known
    if choice is not None:
        return _follows(gate, high, when_high) if choice else _follows(gate, low, when_low)
    if when_high is not None and when_low is not None:
        if when_high is when_low:
            return constant(gate.output, when_high)
        return replace(gate, kind=GateKind.BUFFER if when_high else GateKind.NOT, inputs=(selector,))
    if when_high is True:
        return replace(gate, kind=GateKind.OR, inputs=(selector, low))
    if when_low is False:
        return replace(gate, kind=GateKind.AND, inputs=(selector, high))
    return gate


def _follows(gate: Gate, net: NetId, level: Known) -> Gate:
    return replace(gate, kind=GateKind.BUFFER, inputs=(net,)) if level is None else constant(gate.output, level)
