"""The outline of a symbol and what stands inside it, as SVG; x from the left edge of its box, y from its reference line."""

from __future__ import annotations

from verifier.report.drawing.symbols import BUBBLE, HOLLOW, XOR_GAP, Port, Shape, Symbol
from verifier.report.drawing.text import NAME_SIZE, PIN_SIZE, shown

WEDGE = 8
"""Length of the mark of a dynamic input."""


def outline(symbol: Symbol) -> str:
    """The outline, negation bubbles, wedges, labels of pins, the qualifying symbol and the name."""
    parts = [_path(symbol), _extension(symbol)]
    left, top, right, bottom = symbol.body
    for port in symbol.inputs:
        parts.append(_input_marks(port, left))
    for port in symbol.outputs:
        if port.inverted:
            parts.append(_bubble(right + BUBBLE / 2, port.offset))
        if port.label:
            parts.append(_text("pin", right - 5, port.offset, port.label, "end", PIN_SIZE))
    if symbol.qualifier:
        middle = bottom + top if not symbol.inputs else 2 * top + 32
        parts.append(_text("qualifier", (left + right) / 2, middle / 2, symbol.qualifier, "middle", PIN_SIZE))
    if symbol.name:
        parts.append(_text("name", symbol.width / 2, symbol.below - 12, symbol.name, "middle", NAME_SIZE))
    return "".join(parts)


def _path(symbol: Symbol) -> str:
    left, top, right, bottom = symbol.body
    length = right - left
    match symbol.shape:
        case Shape.BOX:
            return f'<rect class="outline" x="{number(left)}" y="{number(top)}" width="{number(length)}" height="{number(bottom - top)}"/>'
        case Shape.BORDER:
            return f'<path class="pad" d="M0 {number(top)}V{number(bottom)}"/>'
        case Shape.TRIANGLE:
            line = f"M{number(left)} {number(top)}L{number(right)} 0L{number(left)} {number(bottom)}Z"
        case Shape.AND:
            shoulder = right - min(bottom, length / 2)
            radii = f"{number(right - shoulder)} {number(bottom)}"
            line = f"M{number(left)} {number(top)}H{number(shoulder)}A{radii} 0 0 1 {number(shoulder)} {number(bottom)}H{number(left)}Z"
        case Shape.OR | Shape.XOR:
            line = _pointed(left, right, bottom)
    second = ""
    if symbol.shape is Shape.XOR:
        back = left - XOR_GAP
        second = f'<path class="outline open" d="M{number(back)} {number(top)}Q{number(back + HOLLOW)} 0 {number(back)} {number(bottom)}"/>'
    return f'<path class="outline" d="{line}"/>{second}'


def _pointed(left: float, right: float, half: float) -> str:
    """OR: drawn in at the left, two curves that meet in a point at the right."""
    length = right - left
    near, far, rise = left + 0.5 * length, left + 0.8 * length, 0.42 * half
    upper = f"H{number(left + 8)}C{number(near)} {number(-half)} {number(far)} {number(-rise)} {number(right)} 0"
    lower = (
        f"C{number(far)} {number(rise)} {number(near)} {number(half)} {number(left + 8)} {number(half)}H{number(left)}"
    )
    return f"M{number(left)} {number(-half)}{upper}{lower}Q{number(left + HOLLOW)} 0 {number(left)} {number(-half)}Z"


def _extension(symbol: Symbol) -> str:
    """The input side drawn on, up and down, for pins that the outline has no room for."""
    if symbol.shape in (Shape.BOX, Shape.BORDER) or not symbol.inputs:
        return ""
    left, top, _, bottom = symbol.body
    highest, lowest = symbol.inputs[0].offset, symbol.inputs[-1].offset
    back = left - XOR_GAP if symbol.shape is Shape.XOR else left
    drawn = ""
    if highest < top:
        drawn += f"M{number(back)} {number(top)}V{highest - 5}"
    if lowest > bottom:
        drawn += f"M{number(back)} {number(bottom)}V{lowest + 5}"
    return f'<path class="outline open" d="{drawn}"/>' if drawn else ""


def _input_marks(port: Port, left: float) -> str:
    """What a pin shows at the outline: negation outside, a wedge and the label inside."""
    parts = []
    if port.inverted:
        parts.append(_bubble(left - BUBBLE / 2, port.offset))
    if port.is_edge:
        y = port.offset
        points = f"M{number(left)} {y - 5}L{number(left + WEDGE)} {y}L{number(left)} {y + 5}"
        parts.append(f'<path class="outline open" d="{points}"/>')
    if port.label:
        x = left + (WEDGE + 2 if port.is_edge else 5)
        parts.append(_text("pin", x, port.offset, port.label, "start", PIN_SIZE))
    return "".join(parts)


def _bubble(x: float, y: float) -> str:
    return f'<circle class="outline" cx="{number(x)}" cy="{number(y)}" r="{number(BUBBLE / 2)}"/>'


def _text(kind: str, x: float, y: float, text: str, anchor: str, size: int) -> str:
    """One line, its middle at this height."""
    return f'<text class="{kind}" x="{number(x)}" y="{number(y + 0.35 * size)}" text-anchor="{anchor}">{shown(text)}</text>'


def number(value: float) -> str:
    """A coordinate without needless digits."""
    return f"{value:.2f}".rstrip("0").rstrip(".") if value % 1 else str(int(value))
