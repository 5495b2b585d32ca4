"""The circuit's drawing on the page, of which the script makes marked copies; parts can be folded in it."""

from __future__ import annotations

from verifier.circuit.netlist import Netlist
from verifier.report.drawing import TooMuchToDraw, draw, top_parts
from verifier.report.page.markup import Markup, element


def drawing_figure(netlist: Netlist, identity: str) -> Markup | None:
    """None for a circuit that is too large to be drawn, folded or not."""
    parts = frozenset(top_parts(netlist))
    whole = _drawn(netlist, frozenset(), identity)
    folded = _drawn(netlist, parts, f"{identity}-folded") if parts else None
    if whole is None and folded is None:
        return None
    fold = element("label", element("input", type="checkbox", class_="fold"), " draw each part as one box")
    return element(
        "figure",
        element("p", fold, class_="folding", hidden=True) if whole is not None and folded is not None else None,
        _region(netlist, whole, "no"),
        _region(netlist, folded, "yes", hidden=whole is not None),
        id=identity,
        class_="drawing",
    )


def _drawn(netlist: Netlist, folded: frozenset[str], prefix: str) -> str | None:
    try:
        return draw(netlist, folded, prefix=prefix, with_style=False).svg
    except TooMuchToDraw:
        return None


def _region(netlist: Netlist, drawn: str | None, folded: str, hidden: bool = False) -> Markup | None:
    if drawn is None:
        return None
    label = f"Drawing of {netlist.name}" + (", parts as boxes" if folded == "yes" else "")
    return element(
        "div",
        Markup(drawn),
        class_="drawn",
        data_folded=folded,
        tabindex=0,
        role="region",
        aria_label=label,
        hidden=hidden,
    )


def circuit_copy(drawing: str | None, name: str) -> Markup | None:
    """Where the script puts a copy of the circuit's drawing; hidden until it has."""
    if not drawing:
        return None
    return element(
        "div",
        class_="circuit-copy",
        data_drawing=drawing,
        tabindex=0,
        role="region",
        aria_label=f"Circuit: {name}",
        hidden=True,
    )
