"""Gates that come in packages with the same pins: pull one out, push another in, and it fits.

Quad two-input NAND, AND, OR and XOR have inputs on pins 1 2, 4 5, 9 10, 12 13 and outputs on 3, 6, 8, 11 (7400, 7408,
7432, 7486; from memory). The quad NOR (7402) has its outputs on 1, 4, 10, 13 (Fairchild DM74LS02) and fits none of
them; nor does the quad XNOR (74266): outputs on 3, 4, 10, 11 (from memory). The triple and dual packages and
the inverters: from memory of the data books.
"""

from __future__ import annotations

from verifier.circuit.netlist import Gate, GateKind

SAME_PINS: tuple[dict[tuple[GateKind, int], str], ...] = (
    {
        (GateKind.NAND, 2): "7400",
        (GateKind.AND, 2): "7408",
        (GateKind.OR, 2): "7432",
        (GateKind.XOR, 2): "7486",
    },
    {(GateKind.NAND, 3): "7410", (GateKind.AND, 3): "7411", (GateKind.NOR, 3): "7427"},
    {(GateKind.NAND, 4): "7420", (GateKind.AND, 4): "7421"},
    {(GateKind.NOT, 1): "7404", (GateKind.BUFFER, 1): "7434"},
)
"""Groups of (kind, inputs) to the package's number."""


def mistaken_for(gate: Gate) -> tuple[tuple[str, str, GateKind], ...]:
    """What may stand in its place by mistake: the right number, the wrong number, the wrong kind."""
    if gate.kind is GateKind.BUFFER:
        return ()  # a wire, where nothing else says so
    right = (gate.kind, len(gate.inputs))
    return tuple(
        (group[right], number, kind)
        for group in SAME_PINS
        if right in group
        for (kind, _), number in group.items()
        if kind is not gate.kind
    )
