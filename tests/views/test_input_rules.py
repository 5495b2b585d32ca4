"""The inputs' moves by construction are exactly the permitted ones (grammar/README.md, 12.1)."""

from itertools import product

import pytest

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import InputClass
from verifier.logic.bit_graph import BitGraph
from verifier.views.input_rules import changed_inputs

PINS = {
    "none": [],
    "one": [("a", 1, InputClass.FREE)],
    "three singles": [
        ("a", 1, InputClass.FREE),
        ("b", 1, InputClass.BY_HAND),
        ("c", 1, InputClass.FREE_RUNNING),
    ],
    "bus and strap": [
        ("a", 2, InputClass.FREE),
        ("s", 1, InputClass.STRAPPED),
        ("h", 1, InputClass.BY_HAND),
        ("f", 1, InputClass.FREE),
    ],
    "two hands and a bus by hand": [
        ("h", 1, InputClass.BY_HAND),
        ("g", 2, InputClass.BY_HAND),
        ("f", 1, InputClass.FREE_RUNNING),
    ],
}


def permitted(pins, together, before, after):
    """The rule as the reference says it, on the values of whole pins."""
    moved = [pin for pin, old, new in zip(pins, before, after, strict=True) if old != new]
    if any(input_class is InputClass.STRAPPED for _, _, input_class in moved):
        return False
    if any(input_class is InputClass.BY_HAND for _, _, input_class in moved) and len(moved) > 1:
        return False
    return together or len(moved) <= 1


@pytest.mark.parametrize("together", [False, True])
@pytest.mark.parametrize("name", PINS)
def test_exactly_the_permitted_changes_can_be_chosen(name, together):
    pins = PINS[name]
    builder = NetlistBuilder("pins", inputs_may_change_together=together)
    nets = [
        builder.input_bus(pin, width, input_class) if width > 1 else (builder.input(pin, input_class),)
        for pin, width, input_class in pins
    ]
    netlist = builder.build()
    graph = BitGraph()
    old = {net: graph.variable(str(net)) for net in netlist.input_nets}
    choices = []

    def choose():
        choices.append(graph.variable("choice"))
        return choices[-1]

    new = changed_inputs(graph, netlist, old, choose)
    ranges = [range(1 << width) for _, width, _ in pins]
    for before in product(*ranges):
        bits = {
            net: bool(value >> i & 1) for group, value in zip(nets, before, strict=True) for i, net in enumerate(group)
        }
        state = {old[net]: bit for net, bit in bits.items()}
        reached = set()
        for chosen in product([False, True], repeat=len(choices)):
            values = graph.evaluate(
                [new[net] for net in netlist.input_nets], state | dict(zip(choices, chosen, strict=True))
            )
            after_bits = dict(zip(netlist.input_nets, values, strict=True))
            reached.add(tuple(sum(after_bits[net] << i for i, net in enumerate(group)) for group in nets))
        assert reached == {after for after in product(*ranges) if permitted(pins, together, before, after)}
