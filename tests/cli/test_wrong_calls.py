"""Calls that are misspelt, and how what is said about a call fits a terminal."""

from __future__ import annotations

from pathlib import Path

import pytest

from verifier.cli import COMMANDS, main


def told(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """The complaint about a call that cannot be read."""
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    return capsys.readouterr().err


def test_a_misspelt_command_is_told_with_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    said = told(["chek", "bells.wiring"], capsys)
    assert "there is no command chek; did you mean check" in said
    assert said.startswith("usage: edgewright [-h]")
    assert "did you mean" not in told(["zzz"], capsys)


@pytest.mark.parametrize(
    ("arguments", "nearest"),
    [
        (["check", "bells.wiring", "--circiut", "bells"], "unknown option --circiut; did you mean --circuit?"),
        (["equal", "bells.wiring", "a", "b", "--powerup=all"], "unknown option --powerup; did you mean --power-up?"),
        (["run", "bells.wiring", "--zzz"], "unknown option --zzz\n"),
    ],
)
def test_a_misspelt_option_is_told_with_the_nearest_and_the_usage_of_its_command(
    arguments: list[str], nearest: str, capsys: pytest.CaptureFixture[str]
) -> None:
    said = told(arguments, capsys)
    assert nearest in said
    assert said.startswith(f"usage: edgewright {arguments[0]} ")


def test_one_word_too_many_is_told_with_the_usage_of_its_command(capsys: pytest.CaptureFixture[str]) -> None:
    said = told(["draw", "bells.wiring", "-o", "b.svg", "more"], capsys)
    assert "one word too many: more" in said
    assert said.startswith("usage: edgewright draw ")


@pytest.mark.parametrize("command", [[], *([name] for name in COMMANDS)])
def test_help_fits_eighty_columns(command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main([*command, "--help"])
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 80


PAIR = """\
circuit lantern
    input  lever by hand
    input  choose by hand
    input  tempo free running
    output lamp, beat
    lamp = lever
    beat = tempo and choose
circuit other_lantern
    input  lever, chosen, beats
    output lamp[2]
    lamp = join(lever, chosen and beats)
"""


def test_a_long_complaint_is_wrapped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("pair.wiring").write_text(PAIR)
    for columns, width in ((None, 80), ("50", 50)):
        if columns is not None:
            monkeypatch.setenv("COLUMNS", columns)
        assert main(["equal", "pair.wiring", "lantern", "other_lantern"]) == 2
        rows = capsys.readouterr().err.splitlines()
        assert rows[0].startswith("edgewright: lantern and other_lantern")
        assert all(row.startswith("  ") for row in rows[1:])
        assert width - 20 < max(map(len, rows)) <= width


def test_a_path_in_a_complaint_is_never_cut(capsys: pytest.CaptureFixture[str]) -> None:
    path = "tower/" * 20 + "bells.wiring"
    assert main(["check", path]) == 2
    assert path in capsys.readouterr().err


def test_a_comparison_that_had_no_time_speaks_of_no_claim(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("pair.wiring").write_text(PAIR)
    assert main(["equal", "pair.wiring", "lantern", "lantern", "--limit", "1e-9"]) == 3
    answer = " ".join(capsys.readouterr().out.split("These verdicts rest on")[0].split())
    assert "may or may not behave the same" in answer
    assert "claim" not in answer
