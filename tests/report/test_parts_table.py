"""What `compare` prints under its matrix, and what it writes of it."""

from __future__ import annotations

from circuit.drawer import bench
from report.sample_runs import multiplexer_design

from verifier.circuit.measures import Measures, measures
from verifier.circuit.netlist import FlipFlopKind, GateKind
from verifier.report.parts_table import parts_lines, parts_record
from verifier.report.pieces import plain


def lines(*circuits: tuple[str, Measures], width: int = 80) -> list[str]:
    return [plain(row) for row in parts_lines(circuits, width=width)]


def selector_and_register() -> Measures:
    builder = bench()
    builder.gate("y", GateKind.SELECT, ["in_0", "in_1", "in_2"])
    for number in range(3):
        builder.flip_flop(f"q_{number}", "y", "in_3")
    return measures(builder.build())


def votes(count: int) -> Measures:
    builder = bench()
    builder.gate("y", GateKind.MAJORITY, [f"in_{pin}" for pin in range(count)])
    return measures(builder.build())


def test_sizes_stand_in_a_table_and_packages_below_it() -> None:
    plain_mux = measures(multiplexer_design().netlist)
    assert lines(("plain_mux", plain_mux), ("registered", selector_and_register())) == [
        "circuit     gates  flip-flops  latches  depth  packages  spare",
        "plain_mux       1           -        -      1         1      3",
        "registered      1           3        -      1         3      4",
        "",
        "  plain_mux: 74157 (3 spare)",
        "  registered: 2 x 7474 (1 spare), 74157 (3 spare)",
        "",
        "  7474: 2 x D flip-flop, rising edge;",
        "  74157: 4 x selector (one selecting pin for all four)",
    ]


def test_what_has_no_package_says_so() -> None:
    rows = lines(("vote", votes(5)))
    assert "  vote: no package for majority of 5" in rows
    assert not any("74" in row for row in rows)


def test_spare_gates_that_serve_as_inverters_are_told() -> None:
    builder = bench()
    builder.gate("y", GateKind.NAND, ["in_0", "in_1"])
    builder.gate("z", GateKind.NOT, ["y"])
    assert "  pair: 7400 (2 spare), a gate of a 7400 as inverter (an input tied)" in lines(
        ("pair", measures(builder.build()))
    )


def test_stand_ins_and_toggles_are_told_and_written_down() -> None:
    builder = bench()
    builder.gate("wide", GateKind.AND, ["in_0", "in_1", "in_2"])
    builder.gate("narrow", GateKind.AND, ["in_0", "in_1"])
    builder.gate("one", GateKind.HIGH)
    builder.flip_flop("beat", "one", "in_3", kind=FlipFlopKind.TOGGLE)
    found = measures(builder.build())
    told = " ".join(" ".join(lines(("divider", found))).split())
    assert "divider: 7411 (1 spare), 7474 (1 spare), a gate of a 7411 as two-input AND (an input tied)," in told
    assert "1 toggle in a 7474 (D on its own complement)" in told
    record = parts_record(found)
    assert record["stand_ins"] == [{"number": "7411", "serves_as": "7408", "gates": 1}]
    assert record["toggles_from_d"] == 1


def test_a_circuit_of_wires_needs_nothing() -> None:
    assert "  wires: nothing but wires" in lines(("wires", measures(bench().build())))


def test_a_name_too_long_for_the_table_stands_above_its_figures() -> None:
    name = "the_sequencer_of_the_great_carillon"
    rows = lines((name, selector_and_register()))
    assert rows[1] == name
    assert rows[2].split() == ["1", "3", "-", "1", "3", "4"]
    assert max(map(len, rows)) <= 80


def test_on_a_narrow_terminal_the_figures_are_told_one_after_the_other() -> None:
    rows = lines(("registered", selector_and_register()), width=44)
    assert rows[0].startswith("registered: gates 1, flip-flops 3")
    assert max(map(len, rows)) <= 44


def test_no_package_is_broken_over_two_lines() -> None:
    builder = bench()
    for kind in (GateKind.AND, GateKind.OR, GateKind.NAND, GateKind.NOR, GateKind.XOR, GateKind.XNOR):
        builder.gate(kind.value, kind, ["in_0", "in_1"])
    rows = lines(("all_kinds_of_gates", measures(builder.build())), width=50)
    assert all(row.count("(") == row.count(")") for row in rows if "spare)" in row)
    assert max(map(len, rows)) <= 50


def test_names_cannot_steer_a_terminal() -> None:
    assert not any("\x1b" in row for row in lines(("bell\x1b[2J", votes(3))))


def test_the_record_says_the_same_as_data() -> None:
    record = parts_record(selector_and_register())
    assert record == {
        "gates": 1,
        "flip_flops": 3,
        "latches": 0,
        "loops": 0,
        "depth": 1,
        "packages": [
            {"number": "7474", "holds": "D flip-flop, rising edge", "packages": 2, "used": 3, "spare": 1},
            {"number": "74157", "holds": "selector", "packages": 1, "used": 1, "spare": 3},
        ],
        "stand_ins": [],
        "toggles_from_d": 0,
        "inverters_from_spares": 0,
        "without_package": [],
    }
