"""The outline of a symbol and what stands inside it, as SVG.

x counts from the left edge of the symbol's box, y from its reference line.
"""

from __future__ import annotations

from verifier.report.drawing.symbols import BUBBLE, HOLLOW, XOR_GAP, Port, Shape, Symbol
from verifier.report.drawing.text import NAME_SIZE, PIN_SIZE, shown

WEDGE = 8
"""Length of the mark of a dynamic input."""

OVERHANG = 5
"""How far an input side that is drawn on goes past its last pin."""

NEGATED = "\u0305"
"""Behind a label: a line over it."""


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
    match symbol.shape:
        case Shape.BOX:
            return _shape("outline", "M", left, top, "H", right, "V", bottom, "H", left, "Z")
        case Shape.BORDER:
            return _shape("pad", "M", 0, top, "V", bottom)
        case Shape.TRIANGLE:
            return _shape("outline", "M", left, top, "L", right, 0, "L", left, bottom, "Z")
        case Shape.AND:
            rounding = min(bottom, (right - left) / 2)
            straight, arc = right - rounding, ("A", rounding, bottom, 0, 0, 1, right - rounding, bottom)
            return _shape("outline", "M", left, top, "H", straight, *arc, "H", left, "Z")
        case Shape.OR:
            return _pointed(left, right, bottom)
        case Shape.XOR:
            back = left - XOR_GAP
            second = _shape("outline open", "M", back, top, "Q", back + HOLLOW, 0, back, bottom)
            return _pointed(left, right, bottom) + second


def _pointed(left: float, right: float, half: float) -> str:
    """OR: drawn in at the left, two curves that meet in a point at the right."""
    near, far = (left + share * (right - left) for share in (0.5, 0.8))
    shoulder, rise = left + 8, 0.42 * half
    upper = ("H", shoulder, "C", near, -half, far, -rise, right, 0)
    lower = ("C", far, rise, near, half, shoulder, half, "H", left)
    return _shape("outline", "M", left, -half, *upper, *lower, "Q", left + HOLLOW, 0, left, -half, "Z")


def _extension(symbol: Symbol) -> str:
    """The input side drawn on, up and down, for pins that the outline has no room for."""
    if symbol.shape in (Shape.BOX, Shape.BORDER) or not symbol.inputs:
        return ""
    left, top, _, bottom = symbol.body
    highest, lowest = symbol.inputs[0].offset, symbol.inputs[-1].offset
    above = ("M", left, top, "V", highest - OVERHANG) if highest < top else ()
    below = ("M", left, bottom, "V", lowest + OVERHANG) if lowest > bottom else ()
    return _shape("outline open", *above, *below) if above or below else ""


def _input_marks(port: Port, left: float) -> str:
    """What a pin shows at the outline: negation outside, a wedge and the label inside."""
    parts = []
    if port.inverted:
        parts.append(_bubble(left - BUBBLE / 2, port.offset))
    if port.is_edge:
        y = port.offset
        parts.append(_shape("outline open", "M", left, y - 5, "L", left + WEDGE, y, "L", left, y + 5))
    if port.label:
        x = left + (WEDGE + 2 if port.is_edge else 5)
        parts.append(_text("pin", x, port.offset, port.label, "start", PIN_SIZE))
    return "".join(parts)


def _bubble(x: float, y: float) -> str:
    return f'<circle class="outline" cx="{number(x)}" cy="{number(y)}" r="{number(BUBBLE / 2)}"/>'


def _shape(kind: str, *pieces: str | float) -> str:
    """A path of commands and coordinates."""
    line = " ".join(piece if isinstance(piece, str) else number(piece) for piece in pieces)
    return f'<path class="{kind}" d="{line}"/>'


def _text(kind: str, x: float, y: float, text: str, anchor: str, size: int) -> str:
    """One line, its middle at this height."""
    place = f'x="{number(x)}" y="{number(y + 0.35 * size)}" text-anchor="{anchor}"'
    if text.endswith(NEGATED):
        # Few fonts place the combining line well.
        return f'<text class="{kind}" {place} text-decoration="overline">{shown(text.removesuffix(NEGATED))}</text>'
    return f'<text class="{kind}" {place}>{shown(text)}</text>'


def number(value: float) -> str:
    """A coordinate without needless digits."""
    return f"{value:.2f}".rstrip("0").rstrip(".") if value % 1 else str(int(value))
