"""How many packages a handful of parts needs, by what the data books say is in each."""

from __future__ import annotations

import pytest
from circuit.drawer import bench, gates, needed

from verifier.circuit.netlist import Edge, FlipFlopKind, GateKind, Level

# (kind, inputs, how many of them, package, how many in one package, source)
BOOK = [
    (GateKind.NAND, 2, 4, "7400", "Fairchild DM74LS00 (DS006439)"),
    (GateKind.NOR, 2, 4, "7402", "Fairchild DM74LS02"),
    (GateKind.NOT, 1, 6, "7404", "Fairchild DM74LS04 (DS006345)"),
    (GateKind.AND, 2, 4, "7408", "TI TTL Data Book, from memory"),
    (GateKind.NAND, 3, 3, "7410", "TI TTL Data Book, from memory"),
    (GateKind.AND, 3, 3, "7411", "from memory"),
    (GateKind.NAND, 4, 2, "7420", "from memory"),
    (GateKind.AND, 4, 2, "7421", "from memory"),
    (GateKind.NOR, 3, 3, "7427", "from memory"),
    (GateKind.NAND, 8, 1, "7430", "from memory"),
    (GateKind.OR, 2, 4, "7432", "Fairchild DM74LS32 (DS006361)"),
    (GateKind.XOR, 2, 4, "7486", "Hitachi HD74LS86"),
    (GateKind.XNOR, 2, 4, "74266", "TI SCLS135C"),
]


@pytest.mark.parametrize(("kind", "inputs", "in_one", "number", "source"), BOOK)
def test_a_package_holds_as_many_gates_as_the_data_book_says(
    kind: GateKind, inputs: int, in_one: int, number: str, source: str
) -> None:
    assert gates(kind, inputs, in_one) == {number: (1, 0)}, source
    assert gates(kind, inputs, in_one + 1) == {number: (2, in_one - 1)}, source


# National TL/F/6373: two D flip-flops, rising edge, clear and preset active low, in a 7474.
def test_two_flip_flops_fill_a_7474_and_three_need_a_second() -> None:
    builder = bench()
    for number in range(2):
        builder.flip_flop(f"q_{number}", "in_0", "in_1", clear=Level(builder.net("in_2"), active_high=False))
    assert needed(builder) == {"7474": (1, 0)}
    builder.flip_flop("q_2", "in_0", "in_1")
    assert needed(builder) == {"7474": (2, 1)}


# National TL/F/6373: the 7474 clears at a low level and samples at the rise; one inverter serves all that need it.
def test_a_clear_at_the_other_level_and_a_clock_on_the_other_edge_need_an_inverter_each() -> None:
    builder = bench()
    for number in range(2):
        builder.flip_flop(f"q_{number}", "in_0", "in_1", edge=Edge.FALL, clear="in_2")
    assert needed(builder) == {"7474": (1, 0), "7404": (1, 4)}


# National TL/F/6382 and Motorola p. 5-1: two JK flip-flops, falling edge, in a 74112. That a JK flip-flop with J and K
# tied together toggles is common practice.
def test_a_toggle_and_a_jk_flip_flop_on_the_fall_share_a_74112() -> None:
    builder = bench()
    builder.flip_flop("q", ["in_0", "in_1"], "in_2", kind=FlipFlopKind.JK, edge=Edge.FALL)
    builder.flip_flop("t", "in_3", "in_2", kind=FlipFlopKind.TOGGLE, edge=Edge.FALL)
    assert needed(builder) == {"74112": (1, 0)}


# Motorola FAST and LS TTL Data p. 5-75: four latches in a 7475, one enable for each pair.
def test_latches_share_a_7475_only_in_pairs_with_one_enable() -> None:
    builder = bench()
    builder.latch("a", "in_0", "in_5")
    builder.latch("b", "in_1", "in_5")
    builder.latch("c", "in_2", "in_6")
    assert needed(builder) == {"7475": (1, 1)}
    builder.latch("d", "in_3", "in_7")
    assert needed(builder) == {"7475": (2, 4)}


# Hitachi HD74LS157 (REJ03D0442): four selectors in a 74157, one selecting pin for all.
def test_selectors_share_a_74157_only_when_one_net_selects() -> None:
    builder = bench()
    for number in range(4):
        builder.gate(f"y_{number}", GateKind.SELECT, ["in_0", "in_1", "in_2"])
    assert needed(builder) == {"74157": (1, 0)}
    builder.gate("z", GateKind.SELECT, ["in_3", "in_1", "in_2"])
    assert needed(builder) == {"74157": (2, 3)}


# National TL/F/6373: a 7474 has Q and its complement at pins of its own.
def test_the_complement_of_a_flip_flop_needs_no_inverter() -> None:
    builder = bench()
    builder.flip_flop("q", "in_0", "in_1")
    builder.gate("q_n", GateKind.NOT, ["q"])
    assert needed(builder) == {"7474": (1, 1)}


# National TL/F/6373: with clear and preset both active, both outputs are high, so neither is the other's complement.
def test_it_does_need_one_where_clear_and_preset_may_both_be_active() -> None:
    builder = bench()
    low = [Level(builder.net(name), active_high=False) for name in ("in_2", "in_3")]
    builder.flip_flop("q", "in_0", "in_1", clear=low[0], preset=low[1])
    builder.gate("q_n", GateKind.NOT, ["q"])
    assert needed(builder) == {"7474": (1, 1), "7404": (1, 5)}
