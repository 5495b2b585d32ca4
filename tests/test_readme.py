"""The README shows real output: every block that starts with a `$ edgewright` line is run and compared."""

from __future__ import annotations

import contextlib
import io
import re
import shlex
from pathlib import Path

import pytest

from verifier.cli import main

ROOT = Path(__file__).resolve().parents[1]
BLOCK = re.compile(r"(?ms)^```[^\n]*\n(\$ edgewright .*?)^```$")
PROMPT = "$ edgewright "


def sessions() -> list[tuple[str, str]]:
    """Command line and expected output, for every command in every such block."""
    found = []
    for block in BLOCK.findall((ROOT / "README.md").read_text()):
        for part in ("\n" + block).split("\n" + PROMPT)[1:]:
            command, _, output = part.partition("\n")
            found.append((command, output.rstrip("\n")))
    return found


@pytest.mark.parametrize(("command", "output"), sessions(), ids=[command for command, _ in sessions()])
def test_the_readme_shows_what_the_command_prints(command: str, output: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    # A pipe 80 columns wide, without colour, as a reader of a text file has it.
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("FORCE_COLOR", raising=False)
    printed, complaints = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(complaints):
        main(shlex.split(command, comments=True))
    assert complaints.getvalue() == ""
    assert printed.getvalue().rstrip("\n").splitlines() == output.splitlines()


def test_the_readme_shows_a_proof_and_a_broken_claim() -> None:
    outputs = "\n".join(output for _, output in sessions())
    assert "proved" in outputs
    assert "is broken" in outputs


def test_every_line_that_runs_the_command_in_the_readme_is_looked_at() -> None:
    lines = [line for line in (ROOT / "README.md").read_text().splitlines() if line.lstrip().startswith(PROMPT)]
    assert [line.removeprefix(PROMPT) for line in lines] == [command for command, _ in sessions()]


def test_the_readme_has_its_sections_and_every_block_is_closed() -> None:
    lines = (ROOT / "README.md").read_text().splitlines()
    inside = False
    headings = []
    for text in lines:
        if text.startswith("```"):
            inside = not inside
        elif text.startswith("## ") and not inside:
            headings.append(text.removeprefix("## "))
    assert not inside
    assert headings == [
        "Two commands",
        "A first proof and a first broken claim",
        "And with delays: the runt pulse",
        "Why it holds, and why it breaks",
        "Would the claims notice a wrong wire?",
        "Take it to the board",
        "A gate for every change",
        "Look instead of read",
        "The language in one page",
        "What it does not do",
        "Cautions",
    ]
