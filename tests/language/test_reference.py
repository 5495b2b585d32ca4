"""The reference page and the code say the same: examples parse, precedences hold, every code of a finding is listed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from verifier.claims.formula import Formula
from verifier.language import loads

PROJECT = Path(__file__).resolve().parents[2]
PAGE = (PROJECT / "grammar" / "README.md").read_text(encoding="utf-8").partition("# Part II")[0]

PRECEDENCES = [
    (row[1].strip().strip("`"), row[2].strip().strip("`"))
    for row in (line.strip("| ").split(" | ") for line in PAGE.split("\n") if line.startswith("|"))
    if len(row) == 3 and row[1].startswith("`")
]


def examples() -> list[str]:
    """The indented pieces of the page, without their indentation."""
    blocks: list[list[str]] = [[]]
    for line in PAGE.split("\n"):
        if line.startswith("    ") or (not line.strip() and blocks[-1]):
            blocks[-1].append(line[4:])
        elif blocks[-1]:
            blocks.append([])
    return ["\n".join(block).strip("\n") + "\n" for block in blocks if any(block)]


def read(claim: str) -> Formula:
    """The formula of a claim, or of an expression that may be wider than a bit."""
    pins = "    input a, b, c, d, n[4], m[4]\n    output ring\n    ring = a\n"
    if "only when" in claim:
        return loads(f"circuit bell\n{pins}    must x: {claim}\n", "bells.wiring").designs[0].claims[0].formula
    text = f"circuit bell\n{pins}    let it = {claim}\n    must x: it == it\n"
    return loads(text, "bells.wiring").designs[0].claims[0].formula.children[0]


def test_the_table_of_precedences_was_found() -> None:
    assert len(PRECEDENCES) == 13


@pytest.mark.parametrize(("written", "meant"), PRECEDENCES)
def test_a_row_of_the_precedence_table_holds(written: str, meant: str) -> None:
    assert read(written) == read(meant)


def test_the_whole_examples_of_the_page_load() -> None:
    whole = [text for text in examples() if re.match(r"(#.*\n)?(circuit|part|family) ", text)]
    assert len(whole) == 3
    for text in whole:
        codes = {warning.code for warning in loads(text, "bells.wiring").warnings}
        assert codes <= {"no-circuit"}


def test_the_pins_and_the_storage_of_the_page_load() -> None:
    pins = next(text for text in examples() if text.startswith("input  tempo"))
    storage = next(text for text in examples() if text.startswith("q = flipflop"))
    for number, line in enumerate(storage.strip().split("\n")):
        body = f"output r\ninput d, clk, t, reset_n, j, k, a, b, c, enable, s\noutput q\nr = q\n{line}\n"
        body = body.replace("output r\n", "output x\n").replace("r = q\n", "x = q\ninput r\n")
        text = f"circuit c{number}\n" + "".join(f"    {part}\n" for part in body.strip().split("\n"))
        assert loads(text, "bells.wiring").designs[0].netlist.drivers
    body = "".join(f"    {line}\n" for line in pins.strip().split("\n"))
    text = f"circuit bell\n{body}    partial = data\n    beat = tempo\n    count = partial\n"
    assert len(loads(text, "bells.wiring").designs[0].netlist.inputs) == 7


def test_every_code_of_a_finding_is_listed_and_nothing_else() -> None:
    listed = set(re.findall(r"`([a-z-]+)`", " ".join(re.findall(r"^\| (`[^|]*) \|", PAGE.partition("## 9.")[2], re.M))))
    used: set[str] = set()
    for path in (PROJECT / "verifier" / "language").glob("*.py"):
        text = path.read_text(encoding="utf-8")
        used |= set(
            re.findall(r"(?:error|warning|refuse|_error|UnreadableTextError)\(\s*\"([a-z]+(?:-[a-z]+)+)\"", text)
        )
        used |= set(re.findall(r"return \"([a-z]+-[a-z]+)\", f?\"", text)) | set(
            re.findall(r"\"(missing-file)\"", text)
        )
    used |= {"tab", "undriven"}
    assert listed == used


def test_the_catalogue_has_an_example_of_every_code() -> None:
    catalogue = (Path(__file__).parent / "test_mistakes.py").read_text(encoding="utf-8")
    shown = set(re.findall(r"Mistake\(\s*\"([a-z-]+)\"", catalogue))
    listed = set(re.findall(r"`([a-z-]+)`", " ".join(re.findall(r"^\| (`[^|]*) \|", PAGE.partition("## 9.")[2], re.M))))
    # Shown elsewhere: `test_files.py` writes files that are no text or too large.
    assert listed - shown == {"not-text", "too-large"}
    assert shown <= listed
