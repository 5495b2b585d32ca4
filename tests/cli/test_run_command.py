"""`run`: playing an input sequence."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from verifier.cli import main
from verifier.evidence.simulator import SimulationLimit
from verifier.workbench import sequence

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


GIVENS = """\
circuit striker
    input  rope, lever
    output strike
    given alone: never (rope and lever)
    given eased: always (rope falls implies not lever)
    given later: rope leads to lever
    strike = rope or lever
"""


def test_a_broken_given_is_noted_on_its_row_and_in_the_record(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "striker.wiring").write_text(GIVENS)
    assert main(["run", "striker.wiring", "rope", "lever", "rope", "wait", "--json", "record.json"]) == 0
    assert capsys.readouterr().out.splitlines()[4:] == [
        "       0  power up with rope low, lever low   0      0      0",
        "       1  set rope high                      [1]     0     [1]",
        "       2  set lever high                      1     [1]     1",
        "          * not permitted: given alone",
        "       3  set rope low                       [0]     1      1",
        "          * not permitted: given eased",
        "       4  wait                                0      1      1",
        "          * not judged on a run that ends: given later",
    ]
    (circuit,) = json.loads((folder / "record.json").read_text())["circuits"]
    assert circuit["broken_givens"] == [{"at": 2, "given": "alone"}, {"at": 3, "given": "eased"}]
    assert [note["at"] for note in circuit["notes"]] == [2, 3, 4]


def test_a_given_that_is_broken_at_power_up_is_noted_there(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "striker.wiring").write_text(GIVENS)
    assert main(["run", "striker.wiring", "--start", "rope=1", "--start", "lever=1", "rope", "--json", "-"]) == 0
    (circuit,) = json.loads(capsys.readouterr().out)["circuits"]
    assert circuit["broken_givens"] == [{"at": 0, "given": "alone"}, {"at": 1, "given": "eased"}]
    told = [note["at"] for note in circuit["notes"] if "another start is given with --start" in note["note"]]
    assert told == [0]


def test_a_step_with_too_many_ways_is_told_with_loop_and_limit(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def gives_up(*_: object) -> None:
        raise SimulationLimit("internal words")

    monkeypatch.setattr(sequence, "play", gives_up)
    pair = "circuit striker\n    input  rope\n    output strike\n    strike = nor(rope, held)\n    held = not strike\n"
    (folder / "striker.wiring").write_text(pair)
    assert main(["run", "striker.wiring", "rope"]) == 3
    told = capsys.readouterr().err
    assert "internal words" not in told
    assert "this cannot be played: one step can go in more ways than are tried" in told
    assert "the largest loop has 2 members: strike and held" in told


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
