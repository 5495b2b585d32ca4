"""The tables of runs of the delay views, as lines of plain text at a stated width."""

from dataclasses import replace

import pytest
from report.timed_runs import (
    AT_REST,
    HAZARD,
    HIGH,
    NAND_MUX,
    STAGE,
    design_of,
    page_of,
    run_in_time,
)

from verifier.claims.claim import View
from verifier.evidence.verdict import Verdict
from verifier.report.pieces import plain
from verifier.report.signals import shown_signals
from verifier.report.table import run_table


def test_a_table_in_time_has_a_row_for_each_move_with_its_time_and_its_cause() -> None:
    design = design_of(NAND_MUX)
    assert page_of(design, "wide", run_in_time(design, HIGH, *HAZARD)) == [
        "nand_mux: wide is broken in timed view",
        "  must low pulses of beat last at least 12 ns",
        "",
        "    ns  what happens                             tempo  lever  choose  beat",
        "    --  ---------------------------------------  -----  -----  ------  ----",
        "     0  power up with tempo high, lever high,      1      1      1      1",
        "        choose high",
        "     3  flip choose down                           1      1     [0]     1",
        "     5  from_tempo rises (choose fell 2 ns ago)    1      1      0      1",
        "     7  beat falls (from_tempo rose 2 ns ago)      1      1      0     [0]",
        "     8  other rises (choose fell 5 ns ago)         1      1      0      0",
        "    13  from_lever falls (other rose 5 ns ago)     1      1      0      0",
        "    18  beat rises (from_lever fell 5 ns ago)      1      1      0     [1]",
        "",
        "    broken at 18 ns: beat was low for 11 ns",
    ]


def test_without_delays_the_rows_are_numbered_and_causes_are_named_by_their_step() -> None:
    design = design_of(NAND_MUX)
    rows = page_of(design, "drops", run_in_time(design, HIGH, *HAZARD[:3], timed=False), Verdict.SHOWN)
    assert rows == [
        "nand_mux: drops is shown in any delay view",
        "  can beat falls",
        "",
        "    step  what happens                              tempo  lever  choose  beat",
        "    ----  ----------------------------------------  -----  -----  ------  ----",
        "       0  power up with tempo high, lever high,       1      1      1      1",
        "          choose high",
        "       1  flip choose down                            1      1     [0]     1",
        "       2  from_tempo rises (choose fell at step 1)    1      1      0      1",
        "       3  beat falls (from_tempo rose at step 2)      1      1      0     [0]",
        "",
        "    shown at step 3: beat falls",
    ]


def test_ticks_have_no_row_but_a_run_that_ends_with_one_shows_it() -> None:
    design = design_of(NAND_MUX)
    moves = [(1, ""), (2, ""), *HAZARD[:2], (6, ""), *HAZARD[2:5], (14, ""), (15, ""), (16, "")]
    rows = page_of(design, "quick", run_in_time(design, HIGH, *moves))
    times = [row[:6].strip() for row in rows[5:-2]]
    assert times == ["0", "", "3", "5", "7", "8", "13", "16"]
    assert rows[-3] == "    16  time passes                                1      1      0      0"


def test_moves_of_one_ns_have_a_row_each() -> None:
    design = design_of(STAGE)
    rows = page_of(design, "q.set_up", run_in_time(design, AT_REST, (7, "d"), (7, "clk")))
    assert [" ".join(row.split()) for row in rows if row.startswith("     7")] == [
        "7 set d high [1] 0 1 0 0 0",
        "7 set clk high 1 [1] 1 0 0 0",
    ]


def test_parts_that_fire_together_are_told_by_what_made_them() -> None:
    text = """
        circuit pair
            input  rope
            output ring, hush, spark
            ring  = rope        takes 2..5 ns
            hush  = not rope    takes 2..5 ns
            spark = not ring    takes 1..5 ns
            must quiet in timed view: never (ring and hush)
        """
    design = design_of("\n".join(line[8:] for line in text.splitlines()))
    start = {"rope": 0, "ring": 0, "hush": 1, "spark": 1}
    run = run_in_time(design, start, (1, "rope"), (3, "ring hush"), (4, "rope"), (6, "ring spark"))
    rows = run_table(design.netlist, run, (), view=View.TIMED)
    assert [plain(row) for row in rows] == [
        "    ns  what happens",
        "    --  ----------------------------------------------",
        "     0  power up with rope low",
        "     1  set rope high",
        "     3  ring rises and hush falls (rope rose 2 ns ago)",
        "     4  set rope low",
        "     6  ring falls (rope fell 2 ns ago); spark falls",
        "        (ring rose 3 ns ago)",
    ]


def test_an_endless_ring_of_gates_names_power_up_as_its_first_cause() -> None:
    text = """
circuit ringing
    input  rope strapped
    output chime
    chime = nand(rope, echo) takes 2 ns start 1
    echo  = chime            takes 3 ns start 1
    must still in timed view: never (chime changes)
"""
    design = design_of(text)
    run = run_in_time(design, {"rope": 1, "chime": 1, "echo": 1}, (2, "chime"), (5, "echo"))
    rows = page_of(design, "still", run)
    assert [row.split("  ")[3] for row in rows if row.startswith(("     2", "     5"))] == [
        "chime falls (unstable at power-up)",
        "echo falls (chime fell 3 ns ago)",
    ]


def test_a_set_reset_latch_with_both_pins_active_says_so() -> None:
    text = """
circuit pair
    input  pull, hush
    output ring
    ring = set_reset(pull, hush) start 0 takes 2 ns
    must still in timed view: never (ring falls)
"""
    design = design_of(text)
    start = {"pull": 0, "hush": 1, "ring": 0}
    rows = page_of(design, "still", run_in_time(design, start, (4, "pull"), (6, "ring"), (8, "ring")))
    assert [row.split("  ")[3] for row in rows if row.startswith(("     6", "     8"))] == [
        "ring rises (pull rose 2 ns ago)",
        "ring falls (set and reset are both active)",
    ]


def test_a_flip_flop_that_a_breach_left_unsure_says_since_when() -> None:
    design = design_of(STAGE)
    run = run_in_time(design, AT_REST, (7, "d"), (10, "clk"), (14, "q"), (30, "q"))
    rows = run_table(design.netlist, run, (), view=View.TIMED)
    assert [plain(row) for row in rows[-2:]] == [
        "    14  q rises (unsure since clk rose 4 ns ago)",
        "    30  q falls (unsure since clk rose 20 ns ago)",
    ]


def test_a_flip_flop_in_order_names_its_clock_and_one_that_is_cleared_the_pin_that_cleared_it() -> None:
    design = design_of(STAGE)
    run = run_in_time(design, AT_REST, (7, "d"), (27, "clk"), (31, "q"), (60, "clr"), (64, "q"))
    rows = run_table(design.netlist, run, (), view=View.TIMED)
    assert [plain(row) for row in rows if " q " in plain(row)] == [
        "    31  q rises (clk rose 4 ns ago)",
        "    64  q falls (clr fell 4 ns ago)",
    ]


@pytest.mark.parametrize("width", [60, 80, 100])
def test_no_row_is_wider_than_the_page_however_long_the_reasons_are(width: int) -> None:
    design = design_of(NAND_MUX.replace("from_tempo", "what_comes_from_the_free_running_tempo"))
    start = {name.replace("from_tempo", "what_comes_from_the_free_running_tempo"): v for name, v in HIGH.items()}
    moves = [(at, name.replace("from_tempo", "what_comes_from_the_free_running_tempo")) for at, name in HAZARD]
    rows = page_of(design, "wide", run_in_time(design, start, *moves), width=width)
    assert max(map(len, rows)) <= width
    begins, deed_width = 8, len(rows[4].split()[1])
    table = [row[begins : begins + deed_width].strip() for row in rows[5 : rows.index("", 3)]]
    assert "beat rises (from_lever fell 5 ns ago)" in " ".join(table)


def test_further_blocks_repeat_the_times_and_have_the_same_rows() -> None:
    design = design_of(NAND_MUX)
    run = run_in_time(design, HIGH, *HAZARD)
    signals = shown_signals(design.netlist, None, ["other", "from_tempo", "from_lever"])
    rows = [plain(row) for row in run_table(design.netlist, run, signals, view=View.TIMED)]
    assert rows[rows.index("") + 1 :] == [
        "    ns  from_tempo  from_lever",
        "    --  ----------  ----------",
        "     0      0           1",
        "     3      0           1",
        "     5     [1]          1",
        "     7      1           1",
        "     8      1           1",
        "    13      1          [0]",
        "    18      1           0",
    ]


def test_the_settled_table_is_not_touched_by_the_other_views() -> None:
    design = design_of(NAND_MUX)
    run = replace(run_in_time(design, HIGH, *HAZARD[:1]), times=None)
    rows = [plain(row) for row in run_table(design.netlist, run, (), view=View.SETTLED)]
    assert rows[0] == "    step  what to do"
    assert rows[-1] == "       1  flip choose down"
