"""The one table of exit codes: how each call ends, tried end to end."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from report.sample_runs import NO_FALSE_EDGE, RUN_FROM_TEMPO, SETTLES, judged, multiplexer_design

from verifier.cli import COMMANDS, main
from verifier.commands.common import ExitCode, exit_code
from verifier.evidence.verdict import ClaimResult, DesignResult, Verdict
from verifier.workbench import judge as judging

UNEXPECTED = replace(NO_FALSE_EDGE, expected_to_break=False)
FINE = judged(NO_FALSE_EDGE, Verdict.BROKEN)
SURPRISING = judged(UNEXPECTED, Verdict.BROKEN)
IMPOSSIBLE = judged(RUN_FROM_TEMPO, Verdict.IMPOSSIBLE)
OPEN = judged(SETTLES, Verdict.UNDECIDED)
EMPTY = judged(SETTLES, Verdict.PROVED, empty=True)


def result(*claims: ClaimResult, interrupted: bool = False) -> DesignResult:
    return DesignResult(design=multiplexer_design(), claims=claims, assumes=(), interrupted=interrupted)


@pytest.mark.parametrize(
    ("results", "code"),
    [
        ([], 0),
        ([result(FINE, EMPTY)], 0),
        ([result(FINE), result(SURPRISING)], 1),
        ([result(IMPOSSIBLE)], 1),
        ([result(FINE, OPEN)], 3),
        ([result(OPEN), result(SURPRISING)], 1),
        ([result(FINE, interrupted=True)], 130),
        ([result(SURPRISING), result(OPEN, interrupted=True)], 130),
    ],
)
def test_the_worst_that_was_found_decides_the_exit_code(results: list[DesignResult], code: int) -> None:
    assert exit_code(results) == code


def test_the_numbers_are_the_ones_promised_to_scripts() -> None:
    assert {code.name: code.value for code in ExitCode} == {
        "AS_EXPECTED": 0,
        "NOT_AS_EXPECTED": 1,
        "BAD_INPUT": 2,
        "UNDECIDED": 3,
        "DISAGREEMENT": 4,
        "INTERRUPTED": 130,
        "OUTPUT_CLOSED": 141,
    }


GOOD = """\
circuit two_bells
    input  low_key, high_key
    output low_bell, high_bell
    must never_both: never (low_bell and high_bell)
    low_bell  = low_key
    high_bell = high_key and not low_key
"""
BROKEN = GOOD.replace(" and not low_key", "")
WRONG = GOOD.replace("low_bell  = low_key", "low_bell  = low_kye")


@pytest.mark.parametrize(
    ("text", "options", "code"),
    [
        (GOOD, [], 0),
        (BROKEN, [], 1),
        (WRONG, [], 2),
        (GOOD, ["--claim", "no_such_claim"], 2),
        (GOOD, ["--circuit", "no_such_circuit"], 2),
        (GOOD, ["--json", "no_such_folder/verdicts.json"], 2),
    ],
)
def test_each_call_ends_with_its_code(
    text: str, options: list[str], code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("two_bells.wiring").write_text(text)
    assert main(["check", "two_bells.wiring", *options]) == code
    assert main(["compare", "two_bells.wiring", *options]) == code


@pytest.mark.parametrize(
    "call",
    [
        [],
        ["chime", "two_bells.wiring"],
        ["check"],
        ["check", "two_bells.wiring", "--limit", "soon"],
        ["check", "two_bells.wiring", "--limit", "-1"],
        ["check", "two_bells.wiring", "--limit", "nan"],
        ["check", "two_bells.wiring", "--depth", "0"],
        ["check", "two_bells.wiring", "--view", "sideways"],
        ["check", "two_bells.wiring", "--lim", "3"],
        ["gate"],
        ["report", "two_bells.wiring"],
    ],
)
def test_a_call_that_makes_no_sense_ends_with_two(call: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(call)
    assert ended.value.code == 2
    assert "usage: edgewright" in capsys.readouterr().err


@pytest.mark.parametrize("call", [["--help"], ["check", "--help"], ["--version"]])
def test_help_and_version_end_well(call: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(call)
    assert ended.value.code in (0, None)
    assert "edgewright" in capsys.readouterr().out


def test_every_line_of_help_that_describes_a_command_ends_with_one_mark(capsys: pytest.CaptureFixture[str]) -> None:
    for command in COMMANDS:
        with pytest.raises(SystemExit):
            main([command, "--help"])
        described = " ".join(capsys.readouterr().out.split("\n\n")[1].split())
        assert described[0].isupper()
        assert re.fullmatch(r"[^.?]*[.?]", described)


CONTRADICTORY = """\
circuit never_rung
    input  rope
    output gong
    given low:  never rope
    given high: rope
    gong = rope
"""


@pytest.mark.parametrize(("text", "command"), [(GOOD, "check"), (BROKEN, "check"), (GOOD, "compare")])
def test_contradictory_givens_end_with_two_and_the_other_circuits_get_their_verdicts(
    text: str, command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("bells.wiring").write_text(CONTRADICTORY + text)
    assert main([command, "bells.wiring", "--json", "record.json"]) == 2
    printed = capsys.readouterr()
    assert printed.err.startswith("bells.wiring:5:5: error: circuit never_rung: no run obeys the givens low and high")
    assert "NOT judged, for the error reported: never_rung" in printed.out
    assert "two_bells" in printed.out
    record = json.loads(Path("record.json").read_text())
    assert [circuit["name"] for circuit in record["circuits"]] == ["two_bells"]
    (refused,) = record["refused"]
    assert (refused["name"], refused["errors"][0]["code"]) == ("never_rung", "contradictory-givens")
    assert main([command, "bells.wiring", "--circuit", "two_bells"]) == (1 if text == BROKEN else 0)


def test_where_nothing_is_left_to_judge_no_verdict_is_printed_or_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("bells.wiring").write_text(CONTRADICTORY)
    assert main(["check", "bells.wiring", "--json", "record.json"]) == 2
    assert capsys.readouterr().out == ""
    assert not Path("record.json").exists()


def test_a_disagreement_ends_with_four_and_no_verdict(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def disagrees(*_: object) -> None:
        raise judging.InternalDisagreement("the two do not agree")

    monkeypatch.setattr(judging, "recheck", disagrees)
    path, record = tmp_path / "two_bells.wiring", tmp_path / "verdicts.json"
    path.write_text(GOOD)
    assert main(["check", str(path), "--json", str(record)]) == 4
    printed = capsys.readouterr()
    assert "proved" not in printed.out
    assert "internal disagreement" in printed.err
    assert not record.exists()


def test_an_unforeseen_exception_is_one_line_and_its_traceback_is_there_for_the_asking(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def falls_over(*_: object) -> None:
        raise ZeroDivisionError("a\x1b[2J bug")

    monkeypatch.setattr(judging.Judge, "judge", falls_over)
    path = tmp_path / "two_bells.wiring"
    path.write_text(GOOD)
    monkeypatch.delenv("EDGEWRIGHT_TRACEBACK", raising=False)
    assert main(["check", str(path)]) == 4
    (told,) = capsys.readouterr().err.splitlines()
    assert told.startswith("edgewright: internal error (ZeroDivisionError: a\\x1b[2J bug); please report")
    monkeypatch.setenv("EDGEWRIGHT_TRACEBACK", "1")
    assert main(["check", str(path)]) == 4
    assert "Traceback" in capsys.readouterr().err
