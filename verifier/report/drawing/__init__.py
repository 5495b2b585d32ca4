"""The circuit drawn from its netlist, as one SVG element that needs nothing from outside.

    from verifier.report.drawing import draw

    page.write(draw(design.netlist).svg)

`graph.py` says what is drawn, `symbols.py` how large it is, `layers.py`, `order.py` and `rows.py` where it stands,
`routing.py` where wires run, `plan.py` puts the geometry together, `svg.py` and `outlines.py` write it down.
"""

from __future__ import annotations

from verifier.circuit.netlist import Netlist
from verifier.report.drawing.graph import Role, nodes_of, top_parts
from verifier.report.drawing.plan import planned
from verifier.report.drawing.style import style
from verifier.report.drawing.svg import Drawing, written

__all__ = ["MOST_ELEMENTS", "Drawing", "TooMuchToDraw", "draw", "style", "top_parts"]

MOST_ELEMENTS = 400
"""More than this nobody can read, and drawing them takes long."""


class TooMuchToDraw(ValueError):
    """There are more than `MOST_ELEMENTS` gates, storage parts and folded parts."""


def draw(
    netlist: Netlist, folded: frozenset[str] = frozenset(), *, prefix: str = "circuit", with_style: bool = True
) -> Drawing:
    """The circuit, with each of these parts as one box. `top_parts(netlist)` are the names that stand in no other part.

    Every `id` begins with `prefix`, so drawings with different prefixes can stand in one page; `with_style=False`
    leaves the style sheet out, which is then once `style()`.

    Raises:
        ValueError: a folded name is no part of the circuit.
        TooMuchToDraw: there are too many elements, even with these parts folded.
    """
    nodes = nodes_of(netlist, folded)
    count = sum(node.role in (Role.ELEMENT, Role.PART) for node in nodes)
    if count > MOST_ELEMENTS:
        raise TooMuchToDraw(f"{netlist.name} has {count} elements, and no more than {MOST_ELEMENTS} can be drawn")
    return written(netlist, planned(nodes), prefix, with_style=with_style)
