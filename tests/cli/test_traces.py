"""Timing diagrams and trace files of `check` and `run`, as a person or a script meets them."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from vcdvcd import VCDVCD

from verifier.cli import main

BELLS = """\
contract bells
    input  low_key, high_key
    output low_bell, high_bell
    must never_both:  never (low_bell and high_bell)
    must answers:     low_key for good leads to high_bell for good
    can  high_rings:  high_bell rises

circuit rude fits bells, breaks never_both, answers
    low_bell  = low_key
    high_bell = high_key
"""

DRAWN = """\
rude: never_both is broken
  must never (low_bell and high_bell)

    step       0
               ┬─────
               ──────
    low_key    ┊
               ──────
    high_key   ┊
               ──────
    low_bell   ┊
               ──────
    high_bell  ┊
               ^ broken at step 0

    step  what to do
    ----  -----------------------------------------
       0  power up with low_key high, high_key high

    broken at step 0: low_bell is high and high_bell is high, which must never
    be
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    for name in ("LC_ALL", "LANG"):
        monkeypatch.delenv(name, raising=False)
    (tmp_path / "bells.wiring").write_text(BELLS)
    return tmp_path


def files_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_what_draws_and_writes_is_not_loaded_for_a_table(folder: Path) -> None:
    script = "import sys; from verifier.cli import main; main(sys.argv[1:]); print(*sys.modules, file=sys.stderr)"
    call = [sys.executable, "-c", script, "check", "bells.wiring"]
    loaded = subprocess.run(call, capture_output=True, text=True, check=True).stderr.split()
    assert "verifier.report.check_page" in loaded
    drawing = {"waves", "wave_layout", "wave_svg", "value_change_dump", "trace_csv", "trace_files"}
    assert {f"verifier.report.{name}" for name in drawing}.isdisjoint(loaded)


def test_waves_stand_where_the_table_stood(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "bells.wiring", "--waves", "--claim", "never_both"]) == 0
    assert DRAWN in capsys.readouterr().out


def test_a_locale_without_lines_gets_ascii(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LANG", "C")
    assert main(["check", "bells.wiring", "--waves"]) == 0
    page = capsys.readouterr().out
    assert page.isascii()
    assert "    step       0\n               +-----\n" in page


def test_each_run_is_written_in_each_kind(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "bells.wiring", "--quiet", "--traces", "runs"]) == 0
    names = ["answers", "high_rings", "never_both"]
    assert files_in(folder / "runs") == [f"rude.{name}.{kind}" for name in names for kind in ("csv", "svg", "vcd")]
    assert capsys.readouterr().out.endswith("\n3 traces written to runs, 9 files\n")
    dumped = VCDVCD(str(folder / "runs" / "rude.high_rings.vcd"))
    with (folder / "runs" / "rude.high_rings.csv").open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [int(row["high_bell"]) for row in rows] == [0, 1]
    assert [int(dumped["rude.high_bell"][int(row["step number"])]) for row in rows] == [0, 1]
    picture = ElementTree.parse(folder / "runs" / "rude.high_rings.svg").getroot()
    assert picture[0].text == "rude: high_rings is shown"


def test_two_calls_write_the_same_bytes(folder: Path) -> None:
    for name in ("one", "other"):
        main(["check", "bells.wiring", "--quiet", "--traces", name])
    assert files_in(folder / "one") == files_in(folder / "other")
    for path in (folder / "one").iterdir():
        assert path.read_bytes() == (folder / "other" / path.name).read_bytes()


def test_only_the_kinds_asked_for_are_written_and_triggers_with_witnesses(folder: Path) -> None:
    main(["check", "bells.wiring", "--claim", "answers", "--witness", "--traces", "runs", "--traces-as", "SVG, vcd"])
    assert files_in(folder / "runs") == [
        "rude.answers.svg",
        "rude.answers.trigger.svg",
        "rude.answers.trigger.vcd",
        "rude.answers.vcd",
    ]


def test_a_played_sequence_is_drawn_and_written(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["run", "bells.wiring", "low_key", "high_key", "--waves", "--traces", "runs"]) == 0
    page = capsys.readouterr().out
    assert "                     ╭───────────\n    low_bell   ──────╯\n" in page
    assert page.endswith("\n1 trace written to runs, 3 files\n")
    assert files_in(folder / "runs") == ["rude.csv", "rude.svg", "rude.vcd"]


def test_a_record_on_standard_output_stays_alone_and_the_files_are_written(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "bells.wiring", "--waves", "--traces", "runs", "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["circuits"][0]["name"] == "rude"
    assert len(files_in(folder / "runs")) == 9


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--traces-as", "vcd"], ["--traces-as says how, and nothing says where", "add --traces FOLDER"]),
        (
            ["--traces", "runs", "--traces-as", "vcd,png"],
            ["there are no traces as png", "the kinds are vcd, csv and svg"],
        ),
        (["--traces", "runs", "--traces-as", ","], ["--traces-as names no kind of file"]),
        (["--traces", "no/such/folder"], ["cannot write traces into no/such/folder"]),
        (["--traces", "bells.wiring"], ["cannot write traces into bells.wiring"]),
    ],
)
@pytest.mark.parametrize("command", ["check", "run"])
def test_a_wrong_call_is_told_before_the_work(
    command: str, options: list[str], said: list[str], folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([command, "bells.wiring", *options]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert all(text in printed.err for text in said)


def test_circuits_of_one_name_do_not_overwrite_each_other(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "more.wiring").write_text(BELLS)
    assert main(["check", "bells.wiring", "more.wiring", "--traces", "runs"]) == 2
    assert "two claims would share the traces of rude.never_both" in capsys.readouterr().err
