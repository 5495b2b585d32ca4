"""The delays that come with the program, against figures of data books.

A row of the table that was looked up says so; the others are from memory, in the files as here. All are maxima in ns:
74LS at 5 V, 25 degrees and 15 pF; 74HC at 4.5 V, 25 degrees and 50 pF.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from verifier.circuit.netlist import Delay, FlipFlop, Latch, Netlist, Range, Timing
from verifier.language import load

FOLDER = Path(__file__).resolve().parents[2] / "specs" / "families"
FILES = ("ls", "hc")

ONE_OF_EACH = {
    "buffer": "a", "not": "not a", "and": "a and b", "or": "a or b", "nand": "nand(a, b)", "nor": "nor(a, b)",
    "xor": "a xor b", "xnor": "xnor(a, b)", "majority": "majority(a, b, c)", "if": "if a then b else c",
    "flipflop": "flipflop(a) on rise of c", "toggle": "toggle(a) on rise of c", "jk": "jk(a, b) on rise of c",
    "latch": "latch(a) while c high", "set_reset": "set_reset(a, b)",
}  # fmt: skip
"""Every kind that a family may speak of, in a circuit."""


@dataclass(frozen=True)
class Printed:
    """Maxima of one path of one part."""

    kind: str
    rise: int
    fall: int
    source: str


LS_MAXIMA = [
    Printed("nand", 15, 15, "74LS00, Texas Instruments SDLS025B, from memory"),
    Printed("nor", 15, 15, "74LS02, Texas Instruments SDLS027, from memory"),
    Printed("not", 15, 15, "IN74LS04, looked up"),
    Printed("and", 15, 20, "74LS08, Texas Instruments SDLS033, from memory"),
    Printed("or", 11, 11, "DM74LS32, Fairchild DS006361, looked up"),
    Printed("or", 22, 22, "74LS32, Texas Instruments SDLS100, from memory"),
    Printed("xor", 23, 17, "HD74LS86, revision 2.00, page 2, other input low, looked up"),
    Printed("xor", 30, 22, "the same, other input high"),
    Printed("xnor", 30, 30, "74LS266, Texas Instruments SDLS151, from memory"),
    Printed("if", 14, 14, "74LS157, data, Texas Instruments SDLS058, from memory"),
    Printed("if", 23, 27, "the same, select"),
    Printed("flipflop", 25, 40, "74LS74A, Texas Instruments SDLS119, from memory"),
    Printed("flipflop", 25, 30, "DM74LS74A, Fairchild, page 3, looked up"),
    Printed(
        "jk", 20, 20, "DM74LS112A, Fairchild, page 3; 74LS76A, Motorola FAST and LS TTL Data, page 5-79, looked up"
    ),
    Printed("latch", 27, 17, "74LS75, D to Q, Texas Instruments SDLS120, from memory"),
    Printed("latch", 27, 25, "the same, enable to Q"),
    Printed("set_reset", 22, 15, "74LS279, set, Texas Instruments SDLS093, from memory"),
    Printed("set_reset", 22, 27, "the same, the fall from reset"),
]
HC_MAXIMA = [
    Printed("nand", 18, 18, "74HC00, Texas Instruments SCLS181, looked up"),
    Printed("nor", 18, 18, "74HC02, Texas Instruments, from memory"),
    Printed("not", 19, 19, "74HC04, Texas Instruments, from memory"),
    Printed("and", 20, 20, "74HC08, Texas Instruments, from memory"),
    Printed("or", 20, 20, "74HC32, Texas Instruments, from memory"),
    Printed("xor", 20, 20, "74HC86, Texas Instruments SCLS100E, page 4, looked up"),
]
MAXIMA = {"ls": LS_MAXIMA, "hc": HC_MAXIMA}
PRINTED_MINIMUM = {("ls", "nand"): 3, ("ls", "or"): 3}
"""Fairchild DM74LS00 (the rise) and DM74LS32, at 15 pF, looked up."""


def circuit_in(family: str, folder: Path) -> Netlist:
    """A circuit with one element of each kind, named after it with a `_` behind."""
    lines = "".join(f"    {kind}_ = {text}\n" for kind, text in ONE_OF_EACH.items())
    outputs = ", ".join(f"{kind}_" for kind in ONE_OF_EACH)
    path = folder / "all.wiring"
    path.write_text(
        f'use "families/{family}.wiring"\ncircuit all\n    input a, b, c\n    output {outputs}\n'
        f"    delays from {family}\n{lines}"
    )
    return load(path).designs[0].netlist


def delays_of(netlist: Netlist) -> dict[str, Delay]:
    found = {netlist.nets[net].name.removesuffix("_"): driver.takes for net, driver in netlist.drivers.items()}
    return {kind: takes for kind, takes in found.items() if takes is not None}


def timings_of(netlist: Netlist) -> dict[str, Timing]:
    storage: tuple[FlipFlop | Latch, ...] = (*netlist.flip_flops, *netlist.latches)
    found = {netlist.nets[element.output].name.removesuffix("_"): element.timing for element in storage}
    return {kind: timing for kind, timing in found.items() if timing is not None}


@pytest.mark.parametrize("family", FILES)
def test_a_family_gives_a_delay_to_every_kind_of_gate_and_storage(tmp_path: Path, family: str) -> None:
    delays = delays_of(circuit_in(family, tmp_path))
    assert set(delays) == set(ONE_OF_EACH)
    assert all(0 < found.low <= found.high for takes in delays.values() for found in (takes.rise, takes.fall))


@pytest.mark.parametrize("family", FILES)
def test_the_slowest_path_that_is_printed_is_the_maximum(tmp_path: Path, family: str) -> None:
    delays = delays_of(circuit_in(family, tmp_path))
    for kind in {row.kind for row in MAXIMA[family]}:
        rows = [row for row in MAXIMA[family] if row.kind == kind]
        assert delays[kind].rise.high == max(row.rise for row in rows), rows
        assert delays[kind].fall.high == max(row.fall for row in rows), rows


@pytest.mark.parametrize("family", FILES)
def test_the_minimum_is_the_printed_one_or_a_fifth_of_the_fastest_maximum(tmp_path: Path, family: str) -> None:
    delays = delays_of(circuit_in(family, tmp_path))
    for kind in {row.kind for row in MAXIMA[family]}:
        rows = [row for row in MAXIMA[family] if row.kind == kind]
        printed = PRINTED_MINIMUM.get((family, kind))
        assert delays[kind].rise.low == (printed or math.ceil(min(row.rise for row in rows) / 5)), rows
        assert delays[kind].fall.low == (printed or math.ceil(min(row.fall for row in rows) / 5)), rows


def test_what_74ls_storage_asks_of_its_pins_is_as_printed(tmp_path: Path) -> None:
    """74LS74A: set-up 20 as in a published table of metastability windows (2008, looked up), which has a hold of 0;
    hold 5 and widths 25 by Texas Instruments SDLS119, from memory. 74LS76A, sibling of the 74LS112A: Motorola, page
    5-79, looked up. 74LS75: Texas Instruments SDLS120, from memory."""
    timings = timings_of(circuit_in("ls", tmp_path))
    assert timings["flipflop"] == Timing(set_up=20, hold=5, clock_width=25, clear_width=25, settling=80)
    assert timings["jk"] == timings["toggle"] == Timing(
        set_up=20, hold=0, clock_width=20, clear_width=25, settling=80
    )  # fmt: skip
    assert timings["latch"] == Timing(set_up=20, hold=5, clock_width=20)


def test_what_a_74hc74_asks_of_its_pins_is_as_printed(tmp_path: Path) -> None:
    """Set-up and hold as in a published table of metastability windows (2008, looked up); widths from memory."""
    timing = timings_of(circuit_in("hc", tmp_path))["flipflop"]
    assert (timing.set_up, timing.hold, timing.clock_width, timing.clear_width) == (20, 0, 16, 20)


def test_the_typical_delay_of_a_74hc74_lies_in_its_range(tmp_path: Path) -> None:
    """15 ns, Texas Instruments SCLS577A, front page, looked up."""
    takes = delays_of(circuit_in("hc", tmp_path))["flipflop"]
    assert all(found.low < 15 < found.high for found in (takes.rise, takes.fall))


def test_gates_that_are_assumed_are_made_of_those_they_are_said_to_be_made_of(tmp_path: Path) -> None:
    for family in FILES:
        delays = delays_of(circuit_in(family, tmp_path))
        nand, majority = delays["nand"], delays["majority"]
        assert majority.rise == majority.fall == Range(2 * nand.rise.low, 2 * nand.rise.high)
        assert delays["buffer"] == delays["and"]
        assert delays["toggle"] == delays["jk"]
    nand, held = delays["nand"], delays["set_reset"]
    assert held == Delay(rise=nand.rise, fall=Range(nand.fall.low, 2 * nand.fall.high))


def test_the_settling_time_is_that_of_the_worked_example(tmp_path: Path) -> None:
    """Mean time between failures exp(t/tau) / (T0 f a) with T0 = 0.4 s and tau = 1.5 ns (course notes CSE 467,
    University of Washington, looked up), f = 10 MHz, a = 100 kHz, t = 80 ns: 3.6e11 s (Wakerly, Digital Design,
    chapter 8, from memory)."""
    settling = timings_of(circuit_in("ls", tmp_path))["flipflop"].settling
    seconds = math.exp(settling / 1.5) / (0.4 * 10e6 * 100e3)
    assert seconds == pytest.approx(3.6e11, rel=0.02)
    assert seconds / (365.25 * 24 * 3600) == pytest.approx(11_000, rel=0.1)


@pytest.mark.parametrize("family", FILES)
def test_every_line_stands_below_a_comment_that_says_where_its_figures_come_from(family: str) -> None:
    text = (FOLDER / f"{family}.wiring").read_text(encoding="utf-8")
    assert "one fifth" in text.partition("family ")[0]
    pieces = text.partition(f"family {family}\n")[2].strip("\n").split("\n\n")
    assert len(pieces) == len(ONE_OF_EACH)
    for piece in pieces:
        comment = " ".join(line.strip() for line in piece.split("\n") if line.strip().startswith("#"))
        assert re.search(r"looked up|from memory|[Aa]ssumed", comment), piece
        named = re.search(r"74(LS|HC)\d+", comment)
        assert named is not None, piece


def test_there_are_no_other_files_in_the_folder() -> None:
    assert sorted(path.name for path in FOLDER.glob("*.wiring")) == sorted(f"{family}.wiring" for family in FILES)
