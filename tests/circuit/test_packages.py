"""Gates for which there is no package, and what spare gates are good for."""

from __future__ import annotations

from collections import Counter
from itertools import product

import pytest
from circuit.drawer import bench, gates

from verifier.circuit.netlist import GateKind
from verifier.circuit.packages import PACKAGES, parts_needed


@pytest.mark.parametrize(
    ("kind", "inputs", "parts"),
    [
        (GateKind.AND, 5, {"7408": 1, "7421": 1}),
        (GateKind.AND, 8, {"7408": 1, "7421": 2}),
        (GateKind.OR, 4, {"7432": 3}),
        (GateKind.NAND, 5, {"7430": 1}),
        (GateKind.NAND, 9, {"7408": 1, "7430": 1}),
        (GateKind.NOR, 5, {"7432": 2, "7427": 1}),
        (GateKind.XOR, 4, {"7486": 3}),
        (GateKind.XNOR, 3, {"7486": 1, "74266": 1}),
        (GateKind.MAJORITY, 3, {"7400": 3, "7410": 1}),
    ],
)
def test_a_gate_without_a_package_is_built_up(kind: GateKind, inputs: int, parts: dict[str, int]) -> None:
    builder = bench()
    builder.gate("g", kind, [f"in_{pin}" for pin in range(inputs)])
    used = {each.package.number: each.used for each in parts_needed(builder.build()).packages}
    assert used == parts


@pytest.mark.parametrize(
    ("kind", "inputs"), list(product((GateKind.AND, GateKind.OR, GateKind.NOR, GateKind.NAND), (*range(2, 14), 39)))
)
def test_a_built_up_gate_has_exactly_the_inputs_that_were_asked_for(kind: GateKind, inputs: int) -> None:
    """Each gate of n inputs takes n - 1 nets away; an eight-input NAND may have pins tied high."""
    widths = {"7400": 2, "7402": 2, "7408": 2, "7410": 3, "7411": 3, "7420": 4, "7421": 4, "7427": 3, "7432": 2}
    builder = bench(inputs)
    builder.gate("g", kind, [f"in_{pin}" for pin in range(inputs)])
    used = {each.package.number: each.used for each in parts_needed(builder.build()).packages}
    taken = sum((widths.get(number, 8) - 1) * count for number, count in used.items())
    assert taken == inputs - 1 or ("7430" in used and inputs - 1 <= taken <= 7)


def test_a_large_majority_has_no_package_and_is_named() -> None:
    builder = bench()
    builder.gate("g", GateKind.MAJORITY, [f"in_{pin}" for pin in range(5)])
    found = parts_needed(builder.build())
    assert found.packages == ()
    assert found.without_package == ("majority of 5",)


def test_constants_buffers_and_gates_of_one_input_are_wires() -> None:
    builder = bench()
    builder.gate("low", GateKind.LOW)
    builder.gate("copy", GateKind.BUFFER, ["in_0"])
    builder.gate("alone", GateKind.AND, ["in_0"])
    assert parts_needed(builder.build()).packages == ()


def test_a_few_inverters_are_made_of_spare_nands_and_nors() -> None:
    builder = bench()
    for number in range(3):
        builder.gate(f"nand_{number}", GateKind.NAND, ["in_0", "in_1"])
    builder.gate("nor", GateKind.NOR, ["in_0", "in_1"])
    for number in range(4):
        builder.gate(f"not_{number}", GateKind.NOT, [f"in_{number}"])
    found = parts_needed(builder.build())
    assert Counter({each.package.number: each.packages for each in found.packages}) == {"7400": 1, "7402": 1}
    assert (found.spare, found.inverters_from_spares) == (0, 4)
    builder.gate("not_4", GateKind.NOT, ["in_4"])
    found = parts_needed(builder.build())
    assert [each.package.number for each in found.packages] == ["7400", "7402", "7404"]
    assert found.inverters_from_spares == 0


def test_seven_inverters_with_a_spare_nand_need_one_package_of_inverters() -> None:
    builder = bench()
    for number in range(3):
        builder.gate(f"nand_{number}", GateKind.NAND, ["in_0", "in_1"])
    for number in range(7):
        builder.gate(f"not_{number}", GateKind.NOT, [f"in_{number}"])
    found = parts_needed(builder.build())
    assert {each.package.number: (each.packages, each.used) for each in found.packages} == {
        "7400": (1, 4),
        "7404": (1, 6),
    }


def test_a_set_reset_latch_is_two_cross_coupled_nors() -> None:
    builder = bench()
    builder.set_reset("q", "in_0", "in_1")
    assert {each.package.number: each.used for each in parts_needed(builder.build()).packages} == {"7402": 2}


def test_every_package_is_met_by_its_own_number() -> None:
    assert all(package.number == number for number, package in PACKAGES.items())
    assert gates(GateKind.NAND, 2, 0) == {}
