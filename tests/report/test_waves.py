"""Timing diagrams in text: exact ones at a stated width, and random ones read back from the characters alone."""

# ruff: noqa: RUF001  the box-drawing lines are what is meant

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from report.random_runs import circuits_and_runs, netlist_of
from report.sample_runs import (
    BEAT,
    FALSE_EDGE,
    LEVER,
    TEMPO,
    judged,
    multiplexer_design,
    plain_multiplexer,
    run_of,
    step,
)
from report.timed_runs import HAZARD, HIGH, NAND_MUX, claim_of, design_of, run_in_time

from verifier.circuit.netlist import Netlist
from verifier.claims.claim import Claim, ClaimKind, View
from verifier.claims.formula import AgainAndAgain, LeadsTo, StepWord
from verifier.claims.run import Run, StepEvents
from verifier.evidence.verdict import ClaimResult, Verdict
from verifier.report.pieces import plain
from verifier.report.shown_run import RunStyle, shown_run
from verifier.report.signals import shown_signals
from verifier.report.table import run_table
from verifier.report.told_run import run_of_verdict
from verifier.report.verdicts import run_lines
from verifier.report.wave_layout import Gap, Mark, WaveDiagram, wave_diagram
from verifier.report.waves import can_be_written, wave_lines


def diagram_of(netlist: Netlist, run: Run, *marks: Mark) -> WaveDiagram:
    view = View.SETTLED if run.times is None else View.TIMED
    return wave_diagram(netlist, run, shown_signals(netlist), view=view, marks=marks)


def drawn(netlist: Netlist, run: Run, *marks: Mark, width: int = 80, ascii_only: bool = False) -> list[str]:
    return [plain(row) for row in wave_lines(diagram_of(netlist, run, *marks), width=width, ascii_only=ascii_only)]


def test_edges_stand_at_their_steps_and_the_last_one_is_marked() -> None:
    assert drawn(plain_multiplexer(), FALSE_EDGE, Mark(instant=1, text="broken at step 1")) == [
        "    step    0     1",
        "            ┬─────┬─────",
        "            ────────────",
        "    tempo         ┊",
        "                  ┊",
        "    lever   ────────────",
        "                  ╭─────",
        "    choose  ──────╯",
        "                  ╭─────",
        "    beat    ──────╯",
        "                  ^ broken at step 1",
    ]


def test_in_ascii_the_same_shapes_are_made_of_other_characters() -> None:
    run = run_of("0010", "1010", "0010")
    endless = Run(run.instants, run.events, loop_from=1)
    assert drawn(plain_multiplexer(), endless, ascii_only=True) == [
        "    step    0     1     2",
        "            +-----+-----+--------",
        "                  .-----.     .--",
        "    tempo   ------'     '-----'",
        "",
        "    lever   ---------------------",
        "            ---------------------",
        "    choose",
        "",
        "    beat    ---------------------",
        "                  \\==========/",
    ]


def test_a_loop_has_a_bracket_and_begins_again_behind_it() -> None:
    run = run_of("0010", "1010", "0010", "0110", "0010")
    rows = drawn(plain_multiplexer(), Run(run.instants, run.events, loop_from=1))
    assert rows[:4] == [
        "    step    0     1     2     3     4",
        "            ┬─────┬─────┬─────┬─────┬─────╌╌╌",
        "                  ╭─────╮                 ╭╌╌",
        "    tempo   ──────╯     ╰─────────────────╯",
    ]
    assert rows[-1] == "                  ╚══════ for ever ══════╝"


def test_a_bus_shows_its_number_once_for_as_long_as_it_stays() -> None:
    netlist = netlist_of({"count": 4, "full": 1})
    assert drawn(netlist, run_of("00000", "10000", "10000", "01011")) == [
        "    step   0     1     2     3",
        "           ┬─────┬─────┬─────┬─────",
        "    count  < 0 ─>< 1 ───────>< 10 ─",
        "                             ╭─────",
        "    full   ──────────────────╯",
    ]


def timed_run(*moves: tuple[int, str]) -> Run:
    rows = [tuple(digit == "1" for digit in row) for _, row in moves]
    return Run(tuple(rows), (StepEvents(),) * len(rows), times=tuple(ns for ns, _ in moves))


def test_time_is_to_scale_and_what_is_not_says_so() -> None:
    run = timed_run((0, "00"), (0, "10"), (2, "11"), (5, "01"), (905, "00"))
    diagram = diagram_of(netlist_of({"tempo": 1, "beat": 1}), run, Mark(instant=4, text="broken at 905 ns"))
    assert diagram.columns == (0, 2, 6, 12, 24, 28)
    assert diagram.gaps == (Gap.NO_TIME, Gap.TO_SCALE, Gap.TO_SCALE, Gap.NOT_TO_SCALE)
    assert [plain(row) for row in wave_lines(diagram)] == [
        "    ns     0     2     5           905",
        "           ┬═┬───┬─────┬╱ 900 ns ╱─┬───",
        "             ╭─────────╮           ┊",
        "    tempo  ──╯         ╰────╱╱─────────",
        "                 ╭──────────╱╱─────╮",
        "    beat   ──────╯                 ╰───",
        "                                   ^ broken at 905 ns",
        "           ══ no time passes: several moves in one ns, in their order",
        "           ╱╱ not to scale",
    ]


def test_a_diagram_is_folded_before_a_step_and_each_part_has_its_names_and_numbers() -> None:
    netlist = netlist_of({"count": 4, "full": 1})
    run = run_of("00000", "00000", "00001", "00001", "00000", "10000")
    assert drawn(netlist, run, Mark(instant=5, text="broken at step 5"), width=40) == [
        "    step   0     1     2     3",
        "           ┬─────┬─────┬─────┬─────",
        "    count  < 0 ────────────────────",
        "                       ╭───────────",
        "    full   ────────────╯",
        "",
        "    step   4     5",
        "           ┬─────┬─────",
        "    count   0 ──>< 1 ──",
        "           ╮     ┊",
        "    full   ╰───────────",
        "                 ^ broken at step 5",
    ]


def test_among_many_signals_one_that_stays_low_takes_one_line() -> None:
    netlist = netlist_of({f"bell_{number}": 1 for number in range(13)})
    rows = drawn(netlist, run_of("0" * 13, "01" + "0" * 11), Mark(instant=1, text="broken at step 1"))
    assert rows[2:7] == [
        "    bell_0   ────────────",
        "                   ╭─────",
        "    bell_1   ──────╯",
        "    bell_2   ────────────",
        "    bell_3   ────────────",
    ]
    assert len(rows) == 2 + 13 + 1 + 1


def test_moves_in_one_ns_are_not_parted_by_a_fold() -> None:
    moves = [(ns, "1" if place % 2 else "0") for place, ns in enumerate((0, 1, 2, 3, 4, 5, 6, 6, 6, 6, 7))]
    rows = drawn(netlist_of({"tempo": 1}), timed_run(*moves), width=42)
    assert [row for row in rows if "┬" in row] == ["           ┬───┬───┬───┬───┬───┬───", "           ┬═┬═┬═┬───┬───"]


def test_a_circuit_without_signals_still_has_its_steps_and_what_to_do() -> None:
    netlist = netlist_of({})
    run = Run(((), ()), (StepEvents(), StepEvents()))
    rows = [plain(row) for row in shown_run(netlist, run, (), style=RunStyle.WAVES)]
    assert rows == [
        "    step  0     1",
        "          ┬─────┬─────",
        "",
        *(plain(row) for row in run_table(netlist, run, ())),
    ]


@pytest.mark.parametrize("view", [View.SETTLED, View.TIMED])
def test_a_table_is_what_it_was_before_there_were_diagrams(view: View) -> None:
    design = design_of(NAND_MUX)
    run = run_in_time(design, HIGH, *HAZARD)
    signals = shown_signals(design.netlist)
    assert shown_run(design.netlist, run, signals, style=RunStyle.TABLE, view=view) == run_table(
        design.netlist, run, signals, view=view
    )


def test_the_words_around_a_diagram_are_those_around_a_table() -> None:
    design = design_of(NAND_MUX)
    run = run_in_time(design, HIGH, *HAZARD)
    result = ClaimResult(claim=claim_of(design, "wide"), verdict=Verdict.BROKEN, engine="by hand", seconds=0.1, run=run)
    tabled, waved = (
        [plain(row) for row in run_lines(design, result, width=80, style=style)]
        for style in (RunStyle.TABLE, RunStyle.WAVES)
    )
    assert waved[:3] == tabled[:3]
    assert waved[-1] == tabled[-1] == "    broken at 18 ns: beat was low for 11 ns"
    assert "    18  beat rises (from_lever fell 5 ns ago)" in waved
    assert any(row.endswith("broken at 18 ns ^") for row in waved)


def test_an_endless_breach_is_marked_where_what_never_comes_is_asked_for() -> None:
    leads = LeadsTo(left=step(LEVER, StepWord.RISES), right=BEAT)
    claim = Claim(name="answers", kind=ClaimKind.MUST, formula=leads, text="lever rises leads to beat")
    run = run_of("0000", "0100", "1100", "0100")
    endless = Run(run.instants, run.events, loop_from=2)
    told = run_of_verdict(multiplexer_design(claim), judged(claim, Verdict.BROKEN, endless))
    assert told is not None
    assert [(mark.instant, mark.text) for mark in told.marks()] == [(1, "broken by what begins at step 1")]
    shown = replace(claim, kind=ClaimKind.CAN, formula=AgainAndAgain(operand=TEMPO))
    told = run_of_verdict(multiplexer_design(shown), judged(shown, Verdict.SHOWN, endless))
    assert told is not None
    assert told.marks() == ()


def test_a_mark_without_room_beside_it_is_told_on_lines_of_its_own() -> None:
    netlist = netlist_of({"a": 1})
    at_the_end = drawn(netlist, run_of(*"01010"), Mark(instant=4, text="broken at step 4"), width=40)
    assert at_the_end[-1] == "broken at step 4 ^".rjust(len("    step  ") + 4 * 6 + 1)
    told = drawn(netlist, run_of(*"01010"), Mark(instant=1, text="a long sentence " * 4 + "ends"), width=40)
    assert told[4].strip() == "^"
    assert " ".join(" ".join(told[5:]).split()) == "a long sentence " * 4 + "ends"
    assert all(len(row) <= 40 for row in told)


# Random diagrams, read back. The reader knows the shapes and where names end, and nothing of the layout.


HIDDEN = -1


class Reader:
    """Reads the values of every instant off the printed lines."""

    def __init__(self, rows: list[str], names: list[str], buses: set[str], ascii_only: bool) -> None:
        tick, self.not_a_level = ("+", " :") if ascii_only else ("┬", " ┊")
        self.values: dict[str, list[int]] = {name: [] for name in names}
        self.instants = 0
        rulers = [place for place, row in enumerate(rows) if row.strip().startswith(tick)]
        for ruler in rulers:
            ticks = [place for place, letter in enumerate(rows[ruler]) if letter == tick]
            self.instants += len(ticks)
            self.part(rows[ruler + 1 :], buses, ticks)

    def part(self, rows: list[str], buses: set[str], ticks: list[int]) -> None:
        left = iter(rows)
        for name, values in self.values.items():
            upper = "" if name in buses else next(left)
            lower = next(left)
            assert lower.split()[0] == name
            values += self.numbers(lower, ticks) if name in buses else self.levels(upper, lower, ticks)

    def levels(self, upper: str, lower: str, ticks: list[int]) -> list[int]:
        """At the column behind a tick, the line is either above or below."""
        read = []
        for tick in ticks:
            high, low = (row.ljust(tick + 2)[tick + 1] not in self.not_a_level for row in (upper, lower))
            assert high != low, (upper, lower, tick)
            read.append(int(high))
        return read

    def numbers(self, drawn: str, ticks: list[int]) -> list[int]:
        """What stands between the points around a tick, or the end of the part."""
        read = []
        for tick in ticks:
            opened, closed = drawn.rfind("<", 0, tick + 1), drawn.find("<", tick + 1)
            span = drawn[max(opened, ticks[0]) : closed if closed > 0 else None]
            read.append(int(re.findall("[0-9]+|$", span)[0] or HIDDEN))
        return read


@settings(deadline=None, max_examples=60)
@given(circuits_and_runs(), st.sampled_from((60, 80, 120)), st.booleans())
def test_every_value_can_be_read_off_the_characters(made: tuple[Netlist, Run], width: int, ascii_only: bool) -> None:
    netlist, run = made
    diagram = diagram_of(netlist, run)
    rows = [plain(row) for row in wave_lines(diagram, width=width, ascii_only=ascii_only)]
    assert all(len(row) <= width for row in rows)
    assert not ascii_only or all(row.isascii() for row in rows)
    buses = {row.name for row in diagram.rows if row.width > 1}
    read = Reader(rows, [row.name for row in diagram.rows], buses, ascii_only)
    assert read.instants == len(diagram.numbers)
    for row in diagram.rows:
        for value, seen in zip(row.values, read.values[row.name], strict=True):
            assert seen in (value, HIDDEN)
        for first, after in row.spans():
            assert row.values[first] in read.values[row.name][first:after]


@settings(deadline=None, max_examples=60)
@given(circuits_and_runs(timed=True))
def test_gaps_that_are_to_scale_have_the_same_scale(made: tuple[Netlist, Run]) -> None:
    diagram = diagram_of(*made)
    spans = [
        (later - now, right - left)
        for gap, (now, later), (left, right) in zip(
            diagram.gaps, pairwise(diagram.numbers), pairwise(diagram.columns[:-1]), strict=True
        )
        if gap is Gap.TO_SCALE
    ]
    for ns, columns in spans:
        for other_ns, other_columns in spans:
            assert abs(columns * other_ns - other_columns * ns) <= (ns + other_ns) / 2
    assert all(left < right for left, right in pairwise(diagram.columns))
    same_ns = [now == later for now, later in pairwise(diagram.numbers)]
    assert [gap is Gap.NO_TIME for gap in diagram.gaps] == same_ns


@pytest.mark.parametrize(
    ("encoding", "environment", "lines"),
    [
        ("utf-8", {}, True),
        ("utf-8", {"LANG": "en_GB.UTF-8"}, True),
        ("utf-8", {"LANG": "C"}, False),
        ("utf-8", {"LC_ALL": "POSIX", "LANG": "en_GB.UTF-8"}, False),
        ("utf-8", {"LC_ALL": "C.UTF-8", "LANG": "C"}, True),
        ("ascii", {}, False),
        ("latin-1", {}, False),
        (None, {}, False),
        ("no such", {}, False),
    ],
)
def test_lines_are_drawn_only_where_they_can_be_written(
    encoding: str | None, environment: dict[str, str], lines: bool
) -> None:
    assert can_be_written(encoding, environment) is lines
