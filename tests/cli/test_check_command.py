"""`check` and `compare` as a person or a script meets them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from verifier.call import EXAMPLE
from verifier.cli import main

TWO_CIRCUITS = """\
contract two_bells
    input  low_key, high_key
    output low_bell, high_bell
    must never_both: never (low_bell and high_bell)
    can  high_rings: high_bell rises

circuit polite fits two_bells
    low_bell  = low_key
    high_bell = high_key and not low_key

circuit rude fits two_bells, breaks never_both
    low_bell  = low_key
    high_bell = high_key
"""

PAGE = """\
polite, fits two_bells  (two_bells.wiring)
  proved      never_both
  shown       high_rings
  proved      settles

rude, fits two_bells  (two_bells.wiring)
  broken      never_both  as expected
  shown       high_rings
  proved      settles

rude: never_both is broken
  must never (low_bell and high_bell)

    step  what to do                   low_key  high_key  low_bell  high_bell
    ----  ---------------------------  -------  --------  --------  ---------
       0  power up with low_key high,     1        1         1          1
          high_key high

    broken at step 0: low_bell is high and high_bell is high, which must never
    be

3 proved, 1 broken, 2 shown: all as expected

These verdicts rest on:
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "two_bells.wiring").write_text(TWO_CIRCUITS)
    return tmp_path


def test_the_page_has_verdicts_first_then_the_broken_runs_then_what_it_rests_on(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "two_bells.wiring"]) == 0
    printed = capsys.readouterr()
    assert printed.out.startswith(PAGE)
    assert "A proof speaks of the model" in printed.out
    assert printed.err == ""
    assert max(map(len, printed.out.splitlines())) <= 80


def test_quiet_leaves_the_runs_out_and_show_adds_the_shown_ones(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["check", "two_bells.wiring", "--quiet"])
    assert "step  what to do" not in capsys.readouterr().out
    main(["check", "two_bells.wiring", "--show"])
    assert capsys.readouterr().out.count("step  what to do") == 3


def test_compare_puts_circuits_down_and_claims_across(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", "two_bells.wiring"]) == 0
    assert capsys.readouterr().out.splitlines()[:3] == [
        "circuit  never_both  high_rings  settles",
        "polite   proved      shown       proved",
        "rude     broken      shown       proved",
    ]


def test_circuits_and_claims_can_be_chosen_and_options_may_stand_anywhere(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "--circuit", "rude", "--claim", "settles", "two_bells.wiring", "--limit", "5"]) == 0
    out = capsys.readouterr().out
    assert "rude" in out
    assert "polite" not in out
    assert "never_both" not in out


@pytest.mark.parametrize("command", ["check", "compare"])
def test_a_dash_prints_the_record_and_nothing_else(
    command: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([command, "two_bells.wiring", "--json", "-"]) == 0
    printed = capsys.readouterr()
    record = json.loads(printed.out)
    assert printed.err == ""
    assert [circuit["name"] for circuit in record["circuits"]] == ["polite", "rude"]
    broken = record["circuits"][1]["claims"][0]
    assert (broken["verdict"], broken["expected"], broken["as_expected"]) == ("broken", "broken", True)
    assert broken["trace"]["steps"] == [
        {"at": 0, "values": {"low_key": 1, "high_key": 1, "low_bell": 1, "high_bell": 1}}
    ]


def test_a_path_gets_the_record_beside_the_page(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "two_bells.wiring", "--json", "verdicts.json"]) == 0
    assert capsys.readouterr().out.startswith(PAGE)
    assert json.loads((folder / "verdicts.json").read_text())["circuits"][0]["file"] == "two_bells.wiring"


def test_several_files_are_judged_in_one_go_and_a_file_given_twice_only_once(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "other.wiring").write_text(TWO_CIRCUITS.replace("polite", "gentle"))
    assert main(["check", "two_bells.wiring", "other.wiring", "two_bells.wiring", "--quiet"]) == 0
    out = capsys.readouterr().out
    assert [line.split(",")[0] for line in out.splitlines() if "fits two_bells" in line] == [
        "polite",
        "rude",
        "gentle",
        "rude",
    ]


def test_the_example_in_the_help_is_true(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = EXAMPLE.splitlines()
    text = "\n".join(line[2:] for line in lines if not line.startswith("  $") and line.startswith("  "))
    (folder / "two_bells.wiring").write_text(text + "\n")
    assert main(["check", "two_bells.wiring"]) == 0
    assert "proved      never_both" in capsys.readouterr().out


def test_warnings_go_to_the_error_stream(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "two_bells.wiring").write_text(TWO_CIRCUITS + "    spare     = low_key and high_key\n")
    assert main(["check", "two_bells.wiring"]) == 0
    printed = capsys.readouterr()
    assert "spare" in printed.err
    assert "warning" in printed.err
    assert "spare" not in printed.out


def test_compare_writes_what_each_circuit_is_made_of_and_check_does_not(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compare", "two_bells.wiring", "--json", "-"]) == 0
    circuits = json.loads(capsys.readouterr().out)["circuits"]
    assert {circuit["name"]: circuit["parts"]["gates"] for circuit in circuits} == {"polite": 2, "rude": 0}
    assert main(["check", "two_bells.wiring", "--json", "-"]) == 0
    assert all("parts" not in circuit for circuit in json.loads(capsys.readouterr().out)["circuits"])


def test_a_circuit_for_which_no_claim_is_written_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    bare = "circuit bare\n    input rope\n    output bell\n    bell = rope\n"
    claimed = bare.replace("bare", "claimed") + "    must rings: bell == rope\n"
    told = "no claim is written for bare: only what is asked of every circuit was judged\n"
    Path("bells.wiring").write_text(bare + claimed)
    assert main(["check", "bells.wiring"]) == 0
    assert "3 proved: all as expected\n" + told in capsys.readouterr().out
    assert main(["compare", "bells.wiring"]) == 0
    assert told in capsys.readouterr().out
    assert main(["check", "bells.wiring", "--circuit", "claimed", "--claim", "settles"]) == 0
    assert "no claim is written" not in capsys.readouterr().out
