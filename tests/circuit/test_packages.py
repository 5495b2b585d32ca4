"""Gates for which there is no package, and what spare gates are good for."""

from __future__ import annotations

from collections import Counter
from itertools import combinations, product

import pytest
from circuit.drawer import bench, gates
from hypothesis import given
from hypothesis import strategies as st

from verifier.circuit.netlist import Edge, FlipFlopKind, GateKind, Level
from verifier.circuit.packages import PACKAGES, parts_needed


@pytest.mark.parametrize(
    ("kind", "inputs", "parts"),
    [
        (GateKind.AND, 5, {"7421": 2}),
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
    found = parts_needed(builder.build())
    used = Counter({each.package.number: each.used for each in found.packages})
    for one in found.stand_ins:
        used.subtract({one.package.number: one.gates})
        used.update({one.serves_as.number: one.gates})
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


@pytest.mark.parametrize(
    ("kind", "wide", "narrow", "number"),
    [
        (GateKind.AND, 3, 2, "7411"),
        (GateKind.AND, 4, 3, "7421"),
        (GateKind.NAND, 3, 2, "7410"),
        (GateKind.NAND, 4, 2, "7420"),
        (GateKind.NOR, 3, 2, "7427"),
    ],
)
def test_a_spare_wider_gate_serves_as_a_narrower_one(kind: GateKind, wide: int, narrow: int, number: str) -> None:
    builder = bench()
    builder.gate("wide", kind, [f"in_{pin}" for pin in range(wide)])
    builder.gate("narrow", kind, [f"in_{pin}" for pin in range(narrow)])
    found = parts_needed(builder.build())
    assert {each.package.number: (each.packages, each.used) for each in found.packages} == {number: (1, 2)}
    assert [(one.package.number, one.gates) for one in found.stand_ins] == [(number, 1)]


def test_a_spare_gate_of_a_wider_kind_is_not_used_where_it_saves_no_package() -> None:
    """Five two-input ANDs beside one spare three-input AND fill a 7408 and need the spare; three need a 7408 anyway."""
    for narrow, expected in ((3, {"7411": 2, "7408": 3}), (5, {"7411": 3, "7408": 4})):
        builder = bench()
        for place in range(2):
            builder.gate(f"wide_{place}", GateKind.AND, ["in_0", "in_1", "in_2"])
        for place in range(narrow):
            builder.gate(f"narrow_{place}", GateKind.AND, ["in_0", "in_1"])
        found = parts_needed(builder.build())
        assert {each.package.number: each.used for each in found.packages} == expected


@pytest.mark.parametrize(
    ("kind", "inputs", "number"),
    [(GateKind.NOR, 3, "7427"), (GateKind.NAND, 3, "7410"), (GateKind.NAND, 4, "7420"), (GateKind.XOR, 2, "7486")],
)
def test_an_inverter_is_made_of_a_spare_gate_that_inverts(kind: GateKind, inputs: int, number: str) -> None:
    builder = bench()
    builder.gate("g", kind, [f"in_{pin}" for pin in range(inputs)])
    builder.gate("n", GateKind.NOT, ["in_0"])
    found = parts_needed(builder.build())
    assert {each.package.number: (each.packages, each.used) for each in found.packages} == {number: (1, 2)}
    assert found.inverters_from_spares == 1


def test_an_and_or_an_or_is_no_inverter() -> None:
    builder = bench()
    builder.gate("g", GateKind.AND, ["in_0", "in_1", "in_2"])
    builder.gate("h", GateKind.OR, ["in_0", "in_1"])
    builder.gate("n", GateKind.NOT, ["in_0"])
    assert [each.package.number for each in parts_needed(builder.build()).packages] == ["7404", "7411", "7432"]


WIDTHS = {"7400": 2, "7402": 2, "7404": 1, "7408": 2, "7410": 3, "7411": 3, "7420": 4, "7421": 4, "7427": 3, "7430": 8}


@given(st.dictionaries(st.sampled_from(sorted(WIDTHS)), st.integers(0, 5), max_size=4))
def test_no_smaller_number_of_packages_holds_the_gates(wanted: dict[str, int]) -> None:
    """Held against all ways to buy packages and to fill them."""
    kinds = {"7400": "nand", "7410": "nand", "7420": "nand", "7430": "nand", "7402": "nor", "7427": "nor"}
    kinds |= {"7408": "and", "7411": "and", "7421": "and"}
    builder = bench()
    for number, count in wanted.items():
        for place in range(count):
            kind = GateKind.NOT if number == "7404" else GateKind(kinds[number])
            builder.gate(f"g_{number}_{place}", kind, [f"in_{pin}" for pin in range(WIDTHS[number])])
    found = parts_needed(builder.build())
    assert sum(each.used for each in found.packages) == sum(wanted.values())
    assert all(each.spare >= 0 for each in found.packages)
    asked = [number for number, count in wanted.items() if count]
    most = {number: -(-wanted[number] // PACKAGES[number].count) for number in asked}
    fitting = (
        sum(bought)
        for bought in product(*(range(most[number] + 1) for number in asked))
        if _fit(Counter(wanted), dict(zip(asked, bought, strict=True)), kinds)
    )
    assert found.package_count == min(fitting)


def _fit(wanted: Counter[str], bought: dict[str, int], kinds: dict[str, str]) -> bool:
    """Hall's theorem: whatever set of numbers is looked at, there are places enough for its gates."""

    def may_serve(place: str, number: str) -> bool:
        if number == "7404":
            return place == "7404" or kinds[place] in ("nand", "nor")
        return place != "7404" and kinds[place] == kinds[number] and WIDTHS[place] >= WIDTHS[number]

    for size in range(1, len(bought) + 1):
        for chosen in combinations(bought, size):
            places = [place for place in bought if any(may_serve(place, number) for number in chosen)]
            if sum(wanted[number] for number in chosen) > sum(bought[p] * PACKAGES[p].count for p in places):
                return False
    return True


@pytest.mark.parametrize("kind", [FlipFlopKind.TOGGLE, FlipFlopKind.JK])
def test_a_flip_flop_that_changes_at_every_rise_is_half_a_7474(kind: FlipFlopKind) -> None:
    builder = bench()
    builder.gate("one", GateKind.HIGH)
    data = ["one", "one"] if kind is FlipFlopKind.JK else "one"
    builder.flip_flop("beat", data, "in_0", kind=kind, clear=Level(builder.net("in_1"), active_high=False))
    found = parts_needed(builder.build())
    assert {each.package.number: each.used for each in found.packages} == {"7474": 1}
    assert found.toggles_from_d == 1


def test_one_that_changes_at_every_fall_or_only_sometimes_stays_in_a_74112() -> None:
    builder = bench()
    builder.gate("one", GateKind.HIGH)
    builder.flip_flop("beat", "one", "in_0", kind=FlipFlopKind.TOGGLE, edge=Edge.FALL)
    builder.flip_flop("bell", "in_1", "in_0", kind=FlipFlopKind.TOGGLE, edge=Edge.FALL)
    found = parts_needed(builder.build())
    assert {each.package.number: each.used for each in found.packages} == {"74112": 2}
    assert found.toggles_from_d == 0


def test_a_second_stage_on_the_fall_of_the_first_shares_its_7474() -> None:
    """The complement that falls when the first rises is there already."""
    builder = bench()
    builder.gate("one", GateKind.HIGH)
    builder.flip_flop("beat", "one", "in_0", kind=FlipFlopKind.TOGGLE)
    builder.flip_flop("slow", "one", "beat", kind=FlipFlopKind.TOGGLE, edge=Edge.FALL)
    found = parts_needed(builder.build())
    assert {each.package.number: each.used for each in found.packages} == {"7474": 2}


def test_every_package_is_met_by_its_own_number() -> None:
    assert all(package.number == number for number, package in PACKAGES.items())
    assert gates(GateKind.NAND, 2, 0) == {}
