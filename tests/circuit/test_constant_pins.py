"""What is left of a gate with constant pins, against its whole truth table."""

from __future__ import annotations

from itertools import product

import pytest
from oracle.targets import gate_function

from verifier.circuit.constant_pins import reduced
from verifier.circuit.netlist import Gate, GateKind

PIN_COUNTS = {
    GateKind.BUFFER: (1,),
    GateKind.NOT: (1,),
    GateKind.SELECT: (3,),
    GateKind.MAJORITY: (1, 3, 5),
    **dict.fromkeys(
        (GateKind.AND, GateKind.OR, GateKind.NAND, GateKind.NOR, GateKind.XOR, GateKind.XNOR), (1, 2, 3, 4)
    ),
}
CASES = [(kind, count) for kind, counts in PIN_COUNTS.items() for count in counts]


@pytest.mark.parametrize(("kind", "count"), CASES)
def test_the_function_is_the_same_and_depends_on_each_pin_that_is_left(kind: GateKind, count: int) -> None:
    gate = Gate(output=99, kind=kind, inputs=tuple(range(count)))
    for known in product((None, False, True), repeat=count):
        left = reduced(gate, known)
        for free in product((False, True), repeat=count):
            values = tuple(level if level is not None else free[pin] for pin, level in enumerate(known))
            assert gate_function(left.kind, tuple(values[pin] for pin in left.inputs)) == gate_function(kind, values)
        if all(level is None for level in known):
            assert left is gate
        elif left.kind not in (GateKind.SELECT, GateKind.MAJORITY):
            assert all(known[pin] is None for pin in left.inputs)
