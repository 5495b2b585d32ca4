"""The function tables of the 74-series gates and of the 157 selector, row by row."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from outside.judging import lengths, verdicts


@dataclass(frozen=True, kw_only=True)
class Package:
    """One gate of a package: its table, two ways to wire it, and a wrong one."""

    pins: str
    """Names of its inputs, in the order of the table's columns."""
    rows: str
    """Input levels and the output level of each row; X: any level."""
    wirings: tuple[str, ...]
    mistake: str
    mistaken_rows: tuple[int, ...]
    """The rows of the table that the mistake does not obey."""


PACKAGES = {
    # Fairchild DM74LS00, DS006439, 2000
    "00": Package(
        pins="a b",
        rows="LLH LHH HLH HHL",
        wirings=("nand(a, b)", "not (a and b)", "not a or not b"),
        mistake="nor(a, b)",
        mistaken_rows=(1, 2),
    ),
    # Fairchild DM74LS02, 2000
    "02": Package(
        pins="a b",
        rows="LLH LHL HLL HHL",
        wirings=("nor(a, b)", "not (a or b)", "not a and not b"),
        mistake="nand(a, b)",
        mistaken_rows=(1, 2),
    ),
    # Fairchild DM74LS04, DS006345
    "04": Package(pins="a", rows="LH HL", wirings=("not a", "nand(a, a)", "nor(a)"), mistake="a", mistaken_rows=(0, 1)),
    # TI TTL Data Book (from memory)
    "08": Package(
        pins="a b",
        rows="LLL LHL HLL HHH",
        wirings=("a and b", "and(a, b)", "not nand(a, b)"),
        mistake="a or b",
        mistaken_rows=(1, 2),
    ),
    # TI TTL Data Book (from memory)
    "10": Package(
        pins="a b c",
        rows="LLLH LLHH LHLH LHHH HLLH HLHH HHLH HHHL",
        wirings=("nand(a, b, c)", "not (a and b and c)", "nand(a, not nand(b, c))"),
        mistake="nand(a, nand(b, c))",
        mistaken_rows=(4, 5, 6, 7),
    ),
    # Fairchild DM74LS32, DS006361
    "32": Package(
        pins="a b",
        rows="LLL LHH HLH HHH",
        wirings=("a or b", "or(a, b)", "nand(not a, not b)"),
        mistake="a xor b",
        mistaken_rows=(3,),
    ),
    # Renesas HD74LS86, REJ03D, 2005; IN74LS86
    "86": Package(
        pins="a b",
        rows="LLL LHH HLH HHL",
        wirings=("a xor b", "xor(a, b)", "nand(nand(a, nand(a, b)), nand(b, nand(a, b)))"),
        mistake="xnor(a, b)",
        mistaken_rows=(0, 1, 2, 3),
    ),
    # National 54LS266; TI SCLS135C (HC266). The table, with the pull-up in place.
    "266": Package(
        pins="a b",
        rows="LLH LHL HLL HHH",
        wirings=("xnor(a, b)", "a == b", "not (a xor b)"),
        mistake="a xor b",
        mistaken_rows=(0, 1, 2, 3),
    ),
    # Renesas HD74LS157, REJ03D0442: strobe, select, A, B
    "157": Package(
        pins="strobe select a b",
        rows="HXXXL LLLXL LLHXH LHXLL LHXHH",
        wirings=(
            "not strobe and (if select then b else a)",
            "(a and not select and not strobe) or (b and select and not strobe)",
        ),
        mistake="not strobe and (if select then a else b)",
        mistaken_rows=(1, 2, 3, 4),
    ),
}
WIRINGS = [(name, wiring) for name, package in PACKAGES.items() for wiring in package.wirings]


def levels(package: Package, row: str) -> str:
    wanted = zip(package.pins.split(), row, strict=False)
    return " and ".join(pin if level == "H" else f"not {pin}" for pin, level in wanted if level != "X")


def circuit(package: Package, wiring: str, turned_over: bool = False) -> str:
    """Each row of the table is a claim; turned over, it claims the other output level."""
    lines = [f"circuit package\n    input {', '.join(package.pins.split())}\n    output y\n    y = {wiring}"]
    for index, row in enumerate(package.rows.split()):
        high = (row[-1] == "H") != turned_over
        lines.append(f"must row_{index}: {levels(package, row)} only when {'y' if high else 'not y'}")
    return "\n    ".join(lines)


def row_numbers(found: dict[str, str], word: str) -> tuple[int, ...]:
    return tuple(
        int(name.removeprefix("row_")) for name, verdict in found.items() if verdict == word and name != "settles"
    )


@pytest.mark.parametrize(("name", "wiring"), WIRINGS)
def test_every_row_of_the_table_is_proved(name: str, wiring: str) -> None:
    found = verdicts(circuit(PACKAGES[name], wiring))
    assert row_numbers(found, "proved") == tuple(range(len(PACKAGES[name].rows.split())))
    assert found["settles"] == "proved"


@pytest.mark.parametrize("name", PACKAGES)
def test_every_row_turned_over_is_broken_at_power_up(name: str) -> None:
    found = lengths(circuit(PACKAGES[name], PACKAGES[name].wirings[0], turned_over=True))
    assert found.pop("settles") is None
    assert set(found.values()) == {1}
    assert len(found) == len(PACKAGES[name].rows.split())


@pytest.mark.parametrize("name", PACKAGES)
def test_a_wrong_gate_breaks_exactly_the_rows_that_it_disobeys(name: str) -> None:
    package = PACKAGES[name]
    assert row_numbers(verdicts(circuit(package, package.mistake)), "broken") == package.mistaken_rows
