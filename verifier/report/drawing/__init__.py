"""The circuit drawn from its netlist, as one SVG element that needs nothing from outside.

    from verifier.report.drawing import draw

    page.write(draw(design.netlist).svg)

`graph.py` says what is drawn, `symbols.py` how large it is, `layers.py`, `order.py` and `rows.py` where it stands,
`routing.py` where wires run, `plan.py` puts the geometry together, `svg.py` and `outlines.py` write it down.
"""

from __future__ import annotations

from verifier.circuit.netlist import Netlist
from verifier.report.drawing.graph import nodes_of, top_parts
from verifier.report.drawing.plan import planned
from verifier.report.drawing.style import style
from verifier.report.drawing.svg import Drawing, written

__all__ = ["Drawing", "draw", "style", "top_parts"]


def draw(
    netlist: Netlist, folded: frozenset[str] = frozenset(), *, prefix: str = "circuit", with_style: bool = True
) -> Drawing:
    """The circuit, with each of these parts as one box. `top_parts(netlist)` are the names that stand in no other part.

    Every `id` begins with `prefix`, so drawings with different prefixes can stand in one page; `with_style=False`
    leaves the style sheet out, which is then once `style()`.

    Raises:
        ValueError: a folded name is no part of the circuit.
    """
    return written(netlist, planned(nodes_of(netlist, folded)), prefix, with_style=with_style)
