"""Input that is no wiring file, or a hostile one: one clear error, exit code 2, nothing written."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from verifier.cli import main

GOOD = """\
circuit two_bells
    input  low_key, high_key
    output low_bell, high_bell
    must never_both: never (low_bell and high_bell)
    low_bell  = low_key
    high_bell = high_key and not low_key
"""


def cyclic(folder: Path) -> None:
    (folder / "bad.wiring").write_text('use "other.wiring"\n' + GOOD)
    (folder / "other.wiring").write_text('use "bad.wiring"\n')


def climbing(folder: Path) -> None:
    (folder.parent / "outside.wiring").write_text("part echo(a) gives (b)\n    b = a\n")
    (folder / "bad.wiring").write_text('use "../outside.wiring"\n' + GOOD)


def with_text(text: str) -> Callable[[Path], None]:
    return lambda folder: (folder / "bad.wiring").write_text(text) and None


def with_bytes(content: bytes) -> Callable[[Path], None]:
    return lambda folder: (folder / "bad.wiring").write_bytes(content) and None


def fifty_megabytes(folder: Path) -> None:
    with (folder / "bad.wiring").open("wb") as stream:
        stream.truncate(50 * 1024 * 1024)


NESTED = GOOD.replace("low_bell  = low_key", "low_bell  = " + "(" * 50_000 + "low_key" + ")" * 50_000)
NEGATED = GOOD.replace("low_bell  = low_key", "low_bell  = " + "not " * 50_000 + "low_key")

CASES: dict[str, tuple[Callable[[Path], None], str]] = {
    "truncated": (with_text(GOOD[:-12]), "bad.wiring:6:"),
    "binary": (with_bytes(bytes(range(256)) * 8), "bad.wiring:1:1: error"),
    "not UTF-8": (with_bytes(b"circuit caf\xe9\n"), "UTF-8"),
    "empty": (with_text(""), "bad.wiring"),
    "only a comment": (with_text("# nothing here\n"), "bad.wiring"),
    "fifty megabytes": (fifty_megabytes, "larger than"),
    "deep parentheses": (with_text(NESTED), "bad.wiring:5:"),
    "deep negation": (with_text(NEGATED), "bad.wiring:5:"),
    "use that loops": (cyclic, "error"),
    "use that is missing": (with_text('use "no_such.wiring"\n' + GOOD), "no_such.wiring"),
    "use that climbs out": (climbing, "bad.wiring:1:"),
    "names that differ by case alone": (
        with_text(GOOD + "    Low_bell = high_key\n"),
        "bad.wiring:7:",
    ),
    "a folder": (lambda folder: (folder / "bad.wiring").mkdir(), "folder"),
    "no file": (lambda folder: None, "there is no file"),
    "escape sequences": (with_text(GOOD.replace("never_both", "never_\x1b[2Jboth")), "bad.wiring:4:"),
    "escape sequences in a comment": (with_text(GOOD + "# \x1b]0;owned\x07\n"), "bad.wiring:7:"),
    "text that runs backwards": (with_text(GOOD + "# \u202egnihton\n"), "bad.wiring:7:"),
}


EVERYWHERE = ("binary", "empty", "no file")
"""All commands read files in one way, so the others try a few cases only."""


@pytest.mark.parametrize(
    ("command", "name"),
    [("check", name) for name in CASES] + [(command, name) for command in ("compare", "run") for name in EVERYWHERE],
)
def test_bad_input_is_one_clear_error(
    command: str, name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    make, told = CASES[name]
    folder = tmp_path / "folder"
    folder.mkdir()
    monkeypatch.chdir(folder)
    make(folder)
    before = sorted(entry.name for entry in folder.iterdir())
    assert main([command, "bad.wiring", "--json", "verdicts.json"]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert told in printed.err
    assert len(set(re.findall(r"^bad\.wiring:\d+", printed.err, re.MULTILINE))) <= 1
    assert "Traceback" not in printed.err
    assert all(letter.isprintable() for line in printed.err.splitlines() for letter in line)
    assert sorted(entry.name for entry in folder.iterdir()) == before


def test_a_use_outside_the_folder_is_allowed_when_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "folder"
    folder.mkdir()
    monkeypatch.chdir(folder)
    climbing(folder)
    assert main(["check", "bad.wiring", "--allow-outside"]) == 0
    assert "proved      never_both" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("claim", "phrase"),
    [
        ("in any delay view: eventually low_bell", "eventually in a delay view"),
        ("in timed view: low_bell within the last 5 steps", "steps"),
    ],
)
def test_a_claim_that_cannot_be_decided_yet_is_refused_and_says_that_it_was_not_judged(
    claim: str, phrase: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("bells.wiring").write_text(GOOD + f"    must in_time {claim}\n")
    assert main(["check", "bells.wiring"]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert "bells.wiring:7:" in printed.err
    assert phrase in printed.err
    assert "NOT judged" in printed.err
    assert main(["check", "bells.wiring", "--claim", "never_both"]) == 0
