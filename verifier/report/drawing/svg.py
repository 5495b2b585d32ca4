"""A plan written down as one `<svg>` element, with what a script and a screen reader need to find their way in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from verifier.circuit.element_pins import pins_of
from verifier.circuit.netlist import Edge, FlipFlop, FlipFlopKind, Gate, GateKind, Latch, NetId, Netlist, SetReset
from verifier.report.drawing.graph import Node, Role
from verifier.report.drawing.outlines import number, outline
from verifier.report.drawing.plan import Placed, Plan, Wire
from verifier.report.drawing.style import style
from verifier.report.drawing.text import NAME_SIZE, shortened, shown, text_width
from verifier.report.pieces import listing

MOST_BORDER_NAME = 24
"""Characters of a pin's name that are shown beside the border."""

EDGE = 10
"""Free space all round."""

HEADING = 26
"""Room for the circuit's name."""

GAP = 8
"""Between the border and the names of the pins."""

DOT = 3.2

_KIND = {FlipFlopKind.D: "flip-flop", FlipFlopKind.TOGGLE: "toggle flip-flop", FlipFlopKind.JK: "JK flip-flop"}


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """A drawn circuit. Lengths are in CSS pixels at its natural size."""

    width: float
    height: float
    svg: str
    """One `<svg>` element."""
    nets: Mapping[NetId, str]
    """Net to the `id` of its wires, `<g class="net" data-net="17">`; nets inside folded parts have none."""
    elements: Mapping[NetId, str]
    """Net to the `id` of what drives it, `<g class="element" data-element="17">`, or of the folded part."""


def written(netlist: Netlist, plan: Plan, prefix: str, *, with_style: bool) -> Drawing:
    """The plan as SVG; every `id` in it begins with `prefix`."""
    writer = _Writer(netlist, plan, prefix)
    return writer.drawing(with_style=with_style)


class _Writer:
    def __init__(self, netlist: Netlist, plan: Plan, prefix: str) -> None:
        self._netlist = netlist
        self._plan = plan
        self._prefix = prefix
        self._elements: dict[NetId, str] = {}

    def drawing(self, *, with_style: bool) -> Drawing:
        left, right = (self._margin(role) for role in (Role.INPUT, Role.OUTPUT))
        width = left + self._plan.width + right
        height = HEADING + self._plan.height + 2 * EDGE
        wires = [self._wire(wire) for wire in self._plan.wires]
        symbols = [self._symbol(placed, place) for place, placed in enumerate(self._plan.placed)]
        rows = [
            f'<svg xmlns="http://www.w3.org/2000/svg" class="circuit-drawing" role="graphics-document document"'
            f' aria-labelledby="{self._id("title")} {self._id("about")}"'
            f' width="{number(width)}" height="{number(height)}"'
            f' viewBox="{number(-left)} {number(-HEADING - EDGE)} {number(width)} {number(height)}">',
            f'<title id="{self._id("title")}">{shown(self._netlist.name)}</title>',
            f'<desc id="{self._id("about")}">{shown(self._about())}</desc>',
            f"<style>{style()}</style>" if with_style else "",
            f'<text class="heading" x="0" y="-12" aria-hidden="true">{shown(self._netlist.name)}</text>',
            f'<rect class="board" width="{number(self._plan.width)}" height="{number(self._plan.height)}"/>',
            '<g class="nets">',
            *wires,
            '</g>\n<g class="elements">',
            *symbols,
            "</g>\n</svg>\n",
        ]
        return Drawing(
            width=width,
            height=height,
            svg="\n".join(row for row in rows if row),
            nets={wire.net: self._id("net", wire.net) for wire in self._plan.wires},
            elements=self._elements,
        )

    def _margin(self, role: Role) -> float:
        """Room beside the border for the names of the pins."""
        names = [placed.node.name for placed in self._plan.placed if placed.node.role is role]
        widest = max((text_width(shortened(name, MOST_BORDER_NAME), NAME_SIZE) for name in names), default=0.0)
        return EDGE + (GAP + widest if names else 0)

    def _about(self) -> str:
        netlist = self._netlist
        inputs, outputs = listing([pin.name for pin in netlist.inputs]), listing([pin.name for pin in netlist.outputs])
        storage = len(netlist.flip_flops) + len(netlist.latches) + len(netlist.set_resets)
        return (
            f"Circuit drawing, inputs left, outputs right. Inputs: {inputs or 'none'}. Outputs: {outputs or 'none'}. "
            f"Gates: {len(netlist.gates)}. Storage parts: {storage}."
        )

    def _wire(self, wire: Wire) -> str:
        path = "".join(
            f"M{number(x)} {number(y)}" + (f"H{number(right)}" if y == bottom else f"V{number(bottom)}")
            for (x, y), (right, bottom) in wire.stretches
        )
        dots = "".join(
            f'<circle class="junction" cx="{number(x)}" cy="{number(y)}" r="{DOT}"/>' for x, y in wire.junctions
        )
        return (
            f'<g class="net" id="{self._id("net", wire.net)}" data-net="{wire.net}">'
            f"<title>{shown(self._netlist.nets[wire.net].name)}</title>"
            f'<path class="band" d="{path}"/><path class="line" d="{path}"/>{dots}</g>'
        )

    def _symbol(self, placed: Placed, place: int) -> str:
        node = placed.node
        match node.role:
            case Role.INPUT | Role.OUTPUT:
                return self._border_pin(placed, place)
            case Role.ELEMENT:
                net = node.driven[0]
                kinds = "element " + _kind_class(node)
                identity, data = self._id("element", net), f'data-element="{net}"'
            case Role.PART:
                kinds = "element part"
                numbers = " ".join(map(str, node.driven))
                identity = self._id("element", node.driven[0])
                data = f'data-element="{numbers}" data-part="{shown(node.name)}"'
        self._elements.update(dict.fromkeys(node.driven, identity))
        symbol = node.symbol
        reach = (
            f'<rect class="reach" y="{-symbol.above}" width="{symbol.width}" height="{symbol.above + symbol.below}"/>'
        )
        return self._group(placed, kinds, identity, data, self._told(node), reach + outline(symbol))

    def _border_pin(self, placed: Placed, place: int) -> str:
        node = placed.node
        is_input = node.role is Role.INPUT
        port = (node.symbol.outputs if is_input else node.symbol.inputs)[0]
        x, anchor = (-GAP, "end") if is_input else (GAP, "start")
        name = shortened(node.name, MOST_BORDER_NAME)
        text = f'<text class="name" x="{x}" y="{number(0.35 * NAME_SIZE)}" text-anchor="{anchor}">{shown(name)}</text>'
        identity = self._id("element", port.net) if is_input else self._id("output", place)
        if is_input:
            self._elements[port.net] = identity
        told = f"{node.role.value} {node.name}"
        kinds = f"element border {node.role.value}"
        return self._group(placed, kinds, identity, f'data-element="{port.net}"', told, outline(node.symbol) + text)

    def _group(self, placed: Placed, kinds: str, identity: str, data: str, told: str, inside: str) -> str:
        move = f"translate({number(placed.x)} {number(placed.y)})"
        return (
            f'<g class="{kinds}" id="{identity}" {data} role="graphics-symbol img" aria-label="{shown(told)}"'
            f' transform="{move}"><title>{shown(told)}</title>{inside}</g>'
        )

    def _told(self, node: Node) -> str:
        """The element in words."""
        names = self._netlist.nets
        if node.driver is None:
            coming = listing([names[port.net].name for port in node.symbol.inputs])
            going = listing([names[port.net].name for port in node.symbol.outputs])
            return f"part {node.name}, folded; from {coming or 'nothing'} to {going or 'nothing'}"
        match node.driver:
            case Gate() as gate:
                if gate.kind in (GateKind.LOW, GateKind.HIGH):
                    return f"{node.name}, always {gate.kind.value}"
                if gate.kind is GateKind.SELECT:
                    chooser, high, low = (names[net].name for net in gate.inputs)
                    return f"select {node.name}: {high} while {chooser} is high, {low} while it is low"
                return f"{gate.kind.value} {node.name} of {self._names_of(pins_of(gate))}"
            case FlipFlop() as flip_flop:
                edge = "rise" if flip_flop.edge is Edge.RISE else "fall"
                told = f"{_KIND[flip_flop.kind]} {node.name} of {self._names_of(flip_flop.data)}"
                told += f" on {edge} of {names[flip_flop.clock].name}"
                for word, level in (("clear", flip_flop.clear), ("preset", flip_flop.preset)):
                    if level is not None:
                        told += f", {word} when {names[level.net].name} {_level(level.active_high)}"
                return told
            case Latch() as latch:
                enable = f"{names[latch.enable.net].name} {_level(latch.enable.active_high)}"
                return f"latch {node.name} of {names[latch.data].name} while {enable}"
            case SetReset() as pair:
                return f"set-reset latch {node.name}, set by {names[pair.set].name}, reset by {names[pair.reset].name}"

    def _names_of(self, nets: Sequence[NetId]) -> str:
        return listing([self._netlist.nets[net].name for net in nets])

    def _id(self, kind: str, of: int | None = None) -> str:
        return f"{self._prefix}-{kind}" if of is None else f"{self._prefix}-{kind}-{of}"


def _kind_class(node: Node) -> str:
    match node.driver:
        case Gate() as gate:
            return f"gate {gate.kind.value}"
        case FlipFlop():
            return "storage flip-flop"
        case Latch():
            return "storage latch"
        case _:
            return "storage set-reset"


def _level(active_high: bool) -> str:
    return "high" if active_high else "low"
