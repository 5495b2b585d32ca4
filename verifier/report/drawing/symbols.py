"""Sizes of the symbols and where their pins are, in units of the drawing (1 unit = 1 CSS pixel).

Shapes and qualifying symbols follow IEEE Std 91/91a (distinctive shapes for the elementary gates, rectangles with
dependency notation for the rest); the proportions are our own. What is drawn inside an outline stands in `outlines.py`.

Every symbol has a reference line, y = 0: for a gate the line of its output. All pins are on multiples of `GRID`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

from verifier.circuit.netlist import (
    Edge,
    FlipFlop,
    FlipFlopKind,
    Gate,
    GateKind,
    Latch,
    Level,
    NetId,
    SetReset,
    Storage,
)
from verifier.report.drawing.text import NAME_SIZE, PIN_SIZE, shortened, text_width

GRID = 10
"""Distance of neighbouring wires. Everything that a wire can touch is on a multiple of it."""

LEAD = 10
"""How far outside its outline a symbol's box reaches, left and right: room for a negation bubble."""

BUBBLE = 8
"""Diameter of a negation bubble."""

NAME_LINE = 20
"""Room for the name below an outline, a whole number of `GRID`."""

MOST_NAME = 18
"""Characters of a name that are shown; the whole name stands in the symbol's title."""


class Shape(Enum):
    AND = "and"
    OR = "or"
    XOR = "xor"
    TRIANGLE = "triangle"
    BOX = "box"
    BORDER = "border"
    """A pin of the whole circuit, on the border."""


@dataclass(frozen=True, kw_only=True)
class Port:
    """Where a net meets a symbol."""

    net: NetId
    offset: int
    """Below the reference line; negative: above."""
    inset: float = LEAD
    """How far the wire goes on inside the symbol's box until it meets the outline or a bubble."""
    label: str = ""
    inverted: bool = False
    is_edge: bool = False
    """Acts on an edge: a dynamic input, marked by a wedge."""


@dataclass(frozen=True, kw_only=True)
class Symbol:
    shape: Shape
    width: int
    above: int
    """Extent above the reference line, a multiple of `GRID`."""
    below: int
    """Extent below it, the name included."""
    body: tuple[float, float, float, float]
    """Left, top, right, bottom of the outline; x from the left edge of the box, y from the reference line."""
    inputs: tuple[Port, ...] = ()
    outputs: tuple[Port, ...] = ()
    name: str = ""
    """As shown below the outline; empty for none."""
    qualifier: str = ""
    """The general qualifying symbol inside a rectangle."""
    interchangeable: bool = False
    """The order of the input pins means nothing."""


_DISTINCTIVE = {
    GateKind.AND: (Shape.AND, False),
    GateKind.NAND: (Shape.AND, True),
    GateKind.OR: (Shape.OR, False),
    GateKind.NOR: (Shape.OR, True),
    GateKind.XOR: (Shape.XOR, False),
    GateKind.XNOR: (Shape.XOR, True),
    GateKind.BUFFER: (Shape.TRIANGLE, False),
    GateKind.NOT: (Shape.TRIANGLE, True),
}
_QUALIFIER = {
    GateKind.LOW: "0",
    GateKind.HIGH: "1",
    GateKind.MAJORITY: ">n/2",
    GateKind.SELECT: "MUX",
    GateKind.XOR: "2k+1",
    GateKind.XNOR: "2k",
}
_SYMMETRIC = {GateKind.AND, GateKind.OR, GateKind.NAND, GateKind.NOR, GateKind.XOR, GateKind.XNOR, GateKind.MAJORITY}

GATE_LENGTH = 46
GATE_HALF = 20
LARGE_HALF = 30
HOLLOW = 12
"""How deep the input side of OR is drawn in."""
XOR_GAP = 6
"""Distance of the second line of XOR."""


def gate_symbol(gate: Gate, name: str) -> Symbol:
    """Distinctive shapes where the standard has them: XOR of three and more inputs is a parity element, a rectangle."""
    shape, inverted = _DISTINCTIVE.get(gate.kind, (Shape.BOX, False))
    if shape is Shape.BOX or (shape is Shape.XOR and len(gate.inputs) > 2):
        return _rectangular_gate(gate, name)
    offsets = pin_offsets(len(gate.inputs))
    half = 16 if shape is Shape.TRIANGLE else GATE_HALF if len(offsets) <= 3 else LARGE_HALF
    length = 30 if shape is Shape.TRIANGLE else GATE_LENGTH
    reach = max([half, *(abs(offset) + 6 for offset in offsets)])
    body = (LEAD, -half, LEAD + length, half)
    inputs = tuple(
        Port(net=net, offset=offset, inset=LEAD + _depth(shape, offset, half))
        for net, offset in zip(gate.inputs, offsets, strict=True)
    )
    output = Port(net=gate.output, offset=0, inset=LEAD - BUBBLE if inverted else LEAD, inverted=inverted)
    return _named(
        Symbol(
            shape=shape,
            width=length + 2 * LEAD,
            above=_on_grid(reach),
            below=_on_grid(reach),
            body=body,
            inputs=inputs,
            outputs=(output,),
            interchangeable=gate.kind in _SYMMETRIC,
        ),
        name,
    )


def hollow_at(offset: float, half: float) -> float:
    """How far the drawn-in input side of OR stands back at this height: a quadratic curve, 0 at its ends."""
    along = min(1.0, max(0.0, (offset + half) / (2 * half)))
    return 2 * along * (1 - along) * HOLLOW


def pin_offsets(count: int) -> tuple[int, ...]:
    """Symmetric about the output, on the grid; two pins stand further apart, four leave out the middle."""
    if count == 2:
        return (-GRID, GRID)
    half = count // 2
    middle = (0,) if count % 2 else ()
    return tuple(GRID * step for step in (*range(-half, 0), *middle, *range(1, half + 1)))


def storage_symbol(storage: Storage, name: str) -> Symbol:
    """A rectangle in dependency notation: C1 rules 1D, 1T, 1J and 1K; S and R act by themselves."""
    match storage:
        case FlipFlop():
            letters = {FlipFlopKind.D: "D", FlipFlopKind.TOGGLE: "T", FlipFlopKind.JK: "JK"}[storage.kind]
            pins = [(net, f"1{letter}", False, False) for net, letter in zip(storage.data, letters, strict=True)]
            pins.insert(1, (storage.clock, "C1", storage.edge is Edge.FALL, True))
            above = [_level_pin(storage.preset, "S")] if storage.preset else []
            pins = [*above, *pins, *([_level_pin(storage.clear, "R")] if storage.clear else [])]
        case Latch():
            pins = [(storage.data, "1D", False, False), _level_pin(storage.enable, "C1")]
        case SetReset():
            pins = [(storage.set, "S", False, False), (storage.reset, "R", False, False)]
    first = -GRID if not (isinstance(storage, FlipFlop) and storage.preset) else -3 * GRID
    inputs = tuple(
        Port(
            net=net,
            offset=first + 2 * GRID * index,
            label=label,
            inverted=inverted,
            is_edge=is_edge,
            inset=LEAD - BUBBLE if inverted else LEAD,
        )
        for index, (net, label, inverted, is_edge) in enumerate(pins)
    )
    begins = "" if storage.start is None else f"I={int(storage.start)}"
    output = Port(net=storage.output, offset=-GRID, label=begins)
    return _rectangle(inputs, (output,), name, length=60)


def part_symbol(inputs: Sequence[tuple[NetId, str]], outputs: Sequence[tuple[NetId, str]], name: str) -> Symbol:
    """A folded part: its pins by name, the first one of each side on the same line."""
    left, right = (
        tuple(
            Port(net=net, offset=2 * GRID * index, label=shortened(label, MOST_NAME))
            for index, (net, label) in enumerate(side)
        )
        for side in (inputs, outputs)
    )
    widest = [max((text_width(port.label, PIN_SIZE) for port in side), default=0.0) for side in (left, right)]
    return _rectangle(left, right, name, length=max(80, round(sum(widest)) + 30))


def border_symbol(net: NetId, *, is_input: bool) -> Symbol:
    """A pin of the whole circuit. Its name stands outside the border and takes no room here."""
    port = Port(net=net, offset=0, inset=0)
    return Symbol(
        shape=Shape.BORDER,
        width=0,
        above=GRID,
        below=GRID,
        body=(0, -5, 0, 5),
        inputs=() if is_input else (port,),
        outputs=(port,) if is_input else (),
    )


def _rectangular_gate(gate: Gate, name: str) -> Symbol:
    qualifier = _QUALIFIER[gate.kind]
    if not gate.inputs:
        output = Port(net=gate.output, offset=0)
        box = Symbol(
            shape=Shape.BOX,
            width=24 + 2 * LEAD,
            above=GRID * 2,
            below=GRID * 2,
            body=(LEAD, -12, LEAD + 24, 12),
            outputs=(output,),
            qualifier=qualifier,
        )
        return _named(box, name)
    labels = ("G1", "1", "1\u0305") if gate.kind is GateKind.SELECT else ("",) * len(gate.inputs)
    inputs = tuple(
        Port(net=net, offset=2 * GRID * index - GRID * (len(labels) - 1), label=label)
        for index, (net, label) in enumerate(zip(gate.inputs, labels, strict=True))
    )
    symbol = _rectangle(inputs, (Port(net=gate.output, offset=0),), name, length=50, qualifier=qualifier)
    return replace(symbol, interchangeable=gate.kind in _SYMMETRIC)


def _rectangle(
    inputs: tuple[Port, ...], outputs: tuple[Port, ...], name: str, *, length: int, qualifier: str = ""
) -> Symbol:
    """An outline around its pins, with a line for the qualifying symbol above them."""
    offsets = [port.offset for port in (*inputs, *outputs)] or [0]
    top = min(offsets) - (3 * GRID if qualifier else 2 * GRID)
    bottom = max(offsets) + 2 * GRID
    symbol = Symbol(
        shape=Shape.BOX,
        width=length + 2 * LEAD,
        above=-top,
        below=bottom,
        body=(LEAD, top, LEAD + length, bottom),
        inputs=inputs,
        outputs=outputs,
        qualifier=qualifier,
    )
    return _named(symbol, name)


def _named(symbol: Symbol, name: str) -> Symbol:
    """The same with its name below, wider if the name is."""
    if not name:
        return symbol
    shown = shortened(name, MOST_NAME)
    width = max(symbol.width, _on_grid(text_width(shown, NAME_SIZE) + 4))
    shift = (width - symbol.width) / 2
    left, top, right, bottom = symbol.body
    return replace(
        symbol,
        width=width,
        below=symbol.below + NAME_LINE,
        body=(left + shift, top, right + shift, bottom),
        inputs=tuple(replace(port, inset=port.inset + shift) for port in symbol.inputs),
        outputs=tuple(replace(port, inset=port.inset + shift) for port in symbol.outputs),
        name=shown,
    )


def _depth(shape: Shape, offset: float, half: float) -> float:
    """How far behind the left edge of the outline the wire ends at this height."""
    if shape is Shape.OR:
        return hollow_at(offset, half)
    return hollow_at(offset, half) - XOR_GAP if shape is Shape.XOR else 0.0


def _level_pin(level: Level, label: str) -> tuple[NetId, str, bool, bool]:
    return level.net, label, not level.active_high, False


def _on_grid(length: float) -> int:
    """The smallest multiple of `GRID` that is no less."""
    return GRID * -int(-length // GRID)
