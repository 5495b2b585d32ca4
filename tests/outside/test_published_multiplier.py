"""c6288 multiplies: 16 by 16 bits, 32 bits of product. Hansen, Yalcin, Hayes, IEEE Design & Test 16(3), 1999.

Pins in numeric order (looked up, and own computation): the first number, lowest bit first; the second; the product's
bits 0 to 29; then N6287 is bit 31, and N6288 bit 30.
"""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache

import pytest

from outside.netlist_data import GateList, shipped
from outside.published_circuits import design_from, in_numeric_order, with_gates_of_kind
from outside.walking import evaluated
from verifier import Claim, ClaimKind, Design
from verifier.claims.formula import Signal
from verifier.evidence.simulator import Simulator
from verifier.views.settled import SettledModel

BITS = 16
WEIGHT_OF_OUTPUT = [*range(30), 31, 30]
CORNERS = [0, 1, 2, 3, 0x00FF, 0x5555, 0x7FFF, 0x8000, 0xAAAA, 0xFF00, 0xFFFE, 0xFFFF]

Numbers = list[tuple[int, int]]


def corner_and_random_numbers() -> Numbers:
    chance = random.Random(6288)
    drawn = [(chance.getrandbits(BITS), chance.getrandbits(BITS)) for _ in range(4096)]
    return [(a, b) for a in CORNERS for b in CORNERS] + drawn


@cache
def c6288(variant: str = "c6288") -> GateList:
    return shipped(variant)


def wrong_products(gate_list: GateList, numbers: Numbers) -> int:
    """How many products the settled view's own graph gets wrong, all worked out in one walk over it."""
    design = asking_for_each_output(design_from("multiplier", gate_list))
    model = SettledModel(design)
    systems = [model.system(claim) for claim in design.claims]
    graph = model.graph
    register = {graph.names[r.variable >> 1]: r for system in systems for r in system.registers}
    at_first = {register["started"].variable: 0}
    everywhere = (1 << len(numbers)) - 1
    known = dict.fromkeys((2 * node for node in graph.names), 0)
    for index, column in enumerate(columns(numbers)):
        # At the first instant an input has the value of a choice.
        (choice,) = graph.substitute([register[f"in_{index}"].next], at_first)
        known[choice] = column
    bad = evaluated(graph, [system.bad for system in systems], known, everywhere)
    found = [column ^ everywhere for column in bad]
    wrong = 0
    for place, expected in enumerate(product_columns(numbers)):
        wrong |= found[WEIGHT_OF_OUTPUT.index(place)] ^ expected
    return wrong.bit_count()


def asking_for_each_output(design: Design) -> Design:
    """With a claim for each output, in order: it is high."""
    claims = tuple(
        Claim(name=pin.name, kind=ClaimKind.MUST, formula=Signal(name=pin.name, nets=pin.nets, width=1), text=pin.name)
        for pin in design.netlist.outputs
    )
    return replace(design, claims=claims)


def columns(numbers: Numbers) -> list[int]:
    """For each input pin its values, one bit for each pair of numbers."""
    return [_column([pair[which] for pair in numbers], bit) for which in (0, 1) for bit in range(BITS)]


def product_columns(numbers: Numbers) -> list[int]:
    return [_column([a * b for a, b in numbers], bit) for bit in range(2 * BITS)]


def _column(values: list[int], bit: int) -> int:
    return sum((value >> bit & 1) << place for place, value in enumerate(values))


@pytest.mark.parametrize("variant", ["c6288", "c6288g"])
def test_corner_and_random_products_are_right_on_the_graph_of_the_settled_view(variant: str) -> None:
    assert wrong_products(c6288(variant), corner_and_random_numbers()) == 0


def test_a_wrong_gate_spoils_some_of_the_products() -> None:
    gate_list = c6288()
    nors = [net for net, (kind, _) in gate_list.gates.items() if kind == "nor"]
    wrong = with_gates_of_kind(gate_list, {nors[len(nors) // 2]: "or"})
    assert wrong_products(wrong, corner_and_random_numbers()) > 1000


def test_the_last_two_outputs_are_not_in_numeric_order() -> None:
    assert in_numeric_order(c6288().outputs)[-2:] == ["N6287", "N6288"]
    swapped = replace(c6288(), gates=_with_names_swapped(c6288(), "N6287", "N6288"))
    assert wrong_products(swapped, corner_and_random_numbers()) > 1000


def _with_names_swapped(gate_list: GateList, one: str, other: str) -> dict[str, tuple[str, tuple[str, ...]]]:
    gates = dict(gate_list.gates)
    assert not any({one, other} & {*pins} for _, pins in gates.values())
    gates[one], gates[other] = gates[other], gates[one]
    return gates


@pytest.mark.parametrize(("a", "b"), [(0, 0xFFFF), (1, 0x8001), (0xFFFF, 0xFFFF), (0xBE11, 0x70E5), (27, 499)])
def test_the_simulator_multiplies_too(a: int, b: int) -> None:
    netlist = design_from("multiplier", c6288()).netlist
    net = {name: nets[0] for name, nets in netlist.signals.items()}
    simulator = Simulator(netlist)
    ((first, _),) = simulator.first_instants(dict.fromkeys(netlist.input_nets, False))
    wanted = {net[f"in_{bit}"]: bool((a | b << BITS) >> bit & 1) for bit in range(2 * BITS)}
    (outcome,) = simulator.step(first, wanted)
    product = sum(outcome.instant[net[f"out_{index}"]] << WEIGHT_OF_OUTPUT[index] for index in range(2 * BITS))
    assert product == a * b
