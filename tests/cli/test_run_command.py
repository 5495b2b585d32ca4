"""`run`: playing an input sequence."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from verifier.cli import main

BELLS = """\
circuit striker
    input  tempo free running
    input  lever by hand
    output strike
    held   = flipflop(lever) on rise of tempo
    strike = held and tempo
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "striker.wiring").write_text(BELLS)
    return tmp_path


PLAYED = """\
striker  (striker.wiring)

    step  what to do                          tempo  lever  strike  held
    ----  ----------------------------------  -----  -----  ------  ----
       0  power up with tempo low, lever low    0      0      0      0
       1  flip lever up                         0     [1]     0      0
       2  tempo rises                          [1]     1     [1]    [1]
       3  wait                                  1      1      1      1
"""


def test_the_steps_are_shown_with_all_pins_and_the_nets_asked_for(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["run", "striker.wiring", "--start", "held=0", "lever=1", "--nets", "held", "tempo", "wait"]) == 0
    assert capsys.readouterr().out == PLAYED


def test_steps_can_come_from_a_file_or_from_standard_input(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    steps = "lever=1   # a press\ntempo\n\nwait\n"
    (folder / "steps.txt").write_text(steps)
    call = ["run", "striker.wiring", "--start", "held=0", "--nets", "held", "--steps"]
    assert main([*call, "steps.txt"]) == 0
    assert capsys.readouterr().out == PLAYED
    monkeypatch.setattr("sys.stdin", io.StringIO(steps))
    assert main([*call, "-"]) == 0
    assert capsys.readouterr().out == PLAYED


def test_what_else_could_have_happened_stands_below_the_row(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["run", "striker.wiring", "tempo"]) == 0
    out = capsys.readouterr().out
    assert "* may start in other ways" in out
    assert max(map(len, out.splitlines())) <= 80


def test_the_record_of_a_run_has_the_trace_in_the_form_of_verdicts(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["run", "striker.wiring", "lever", "--start", "held=1", "--json", "-"]) == 0
    record = json.loads(capsys.readouterr().out)
    (circuit,) = record["circuits"]
    assert circuit["trace"] == {
        "signals": ["tempo", "lever", "strike"],
        "loop_from": None,
        "steps": [
            {"at": 0, "values": {"tempo": 0, "lever": 0, "strike": 0}},
            {"at": 1, "values": {"tempo": 0, "lever": 1, "strike": 0}},
        ],
    }


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (["levr"], "there is no input named levr\n  did you mean lever?"),
        (["lever", "--nets", "hold"], "striker has no net named hold\n  did you mean held?"),
        (["lever", "--steps", "steps.txt"], "both on the command line and with --steps"),
        (["--steps", "no_such.txt"], "cannot read no_such.txt"),
        (["--circuit", "strikr"], "there is no circuit named strikr"),
        (["\x1b[2J"], "there is no input named \\x1b[2J"),
    ],
)
def test_a_wrong_call_is_told_and_nothing_is_played(
    call: list[str], told: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["run", "striker.wiring", *call]) == 2
    printed = capsys.readouterr()
    assert told in printed.err
    assert printed.out == ""


def test_a_file_with_several_circuits_needs_a_choice(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "striker.wiring").write_text(BELLS + "\n" + BELLS.replace("striker", "other"))
    assert main(["run", "striker.wiring", "lever"]) == 2
    assert "choose one with --circuit: striker, other" in capsys.readouterr().err
    assert main(["run", "striker.wiring", "lever", "--circuit", "other"]) == 0
