"""`faults` as a person or a script meets it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from verifier.cli import main

TWO_BELLS = """\
circuit two_bells
    input  low_key, high_key
    output low_bell, high_bell
    must never_both: never (low_bell and high_bell)
    can  high_rings: high_bell rises
    low_bell  = low_key
    high_bell = high_key and not low_key
"""
FIRST_SCREEN = """\
two_bells  (two_bells.wiring)
  26 of 34 faults noticed (76 %), 1 harmless, 7 unnoticed
"""


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("two_bells.wiring").write_text(TWO_BELLS)
    return tmp_path


def test_the_first_lines_give_the_share_and_the_call_fails_on_an_unnoticed_fault(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["faults", "two_bells.wiring"]) == 1
    page = capsys.readouterr().out
    assert page.startswith(FIRST_SCREEN)
    assert max(map(len, page.splitlines())) <= 80
    assert "noticed first by" in page


def test_an_unnoticed_fault_comes_with_steps_and_a_claim(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["faults", "two_bells.wiring", "--fault", "low_bell: output stuck low"]) == 1
    page = capsys.readouterr().out
    assert "no claim notices it, yet at power-up low_bell is low and on the good circuit high" in " ".join(page.split())
    assert "must say_it: low_key only when low_bell" in page
    assert "good low_bell" in page


def test_one_noticed_fault_is_shown_with_the_table_that_notices_it(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["faults", "two_bells.wiring", "--fault", "not low_key in high_bell: output stuck high"]) == 0
    page = capsys.readouterr().out
    assert "never_both, proved on the good circuit, is broken" in page
    assert "power up with" in page
    assert "low_bell is high and high_bell is high, which must never be" in " ".join(page.split())


def test_kinds_may_be_written_with_a_hyphen(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["faults", "two_bells.wiring", "--kind", "wrong-gate", "--kind", "missing-wire"]) == 1
    page = capsys.readouterr().out
    assert "missing wire" in page
    assert "bridge" not in page


@pytest.mark.parametrize("kind", ["no pull-up", "no-pull-up", "no pull up"])
def test_a_kind_whose_name_has_a_hyphen_can_be_asked_for(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    Path("key.wiring").write_text("circuit key\n    input low_key by hand\n    output bell\n    bell = not low_key\n")
    assert main(["faults", "key.wiring", "--kind", kind]) != 2
    assert "no pull-up" in capsys.readouterr().out


@pytest.mark.parametrize("number", ["0", "-1", "two"])
def test_a_wrong_number_of_processes_is_called_one(number: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["faults", "two_bells.wiring", f"--processes={number}"])
    assert "a number of processes is a whole number from 1 to 256" in capsys.readouterr().err


def test_no_time_leaves_faults_undecided(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["faults", "two_bells.wiring", "--limit", "0.000001"]) == 3
    assert re.search(r"of 34 faults noticed .*\b[0-9]+ undecided", capsys.readouterr().out)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--fault", "low_bell: output stuck lo"], "did you mean low_bell: output stuck low"),
        (["--kind", "loose screw"], "there is stuck, missing wire"),
        (["--circuit", "three_bells"], "there is no circuit named three_bells"),
        (["--resume", "nowhere/outcomes"], "cannot use nowhere/outcomes"),
    ],
)
def test_a_wrong_call_teaches(arguments: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["faults", "two_bells.wiring", *arguments]) == 2
    assert told in capsys.readouterr().err


def test_the_record_has_every_fault_with_its_outcome(capsys: pytest.CaptureFixture[str]) -> None:
    main(["faults", "two_bells.wiring", "--json", "-"])
    record = json.loads(capsys.readouterr().out)
    (circuit,) = record["circuits"]
    assert record["technology"] == "ttl"
    listed = [fault["name"] for outcome in circuit["outcomes"] for fault in outcome["faults"]]
    assert len(listed) == len(set(listed)) == circuit["faults"]
    assert circuit["noticed"] + circuit["harmless"] + circuit["unnoticed"] + circuit["undecided"] == len(listed)
    for outcome in circuit["outcomes"]:
        if outcome["standing"] == "unnoticed":
            last, good = outcome["trace"]["steps"][-1]["values"], outcome["good_trace"]["steps"][-1]["values"]
            assert any(last[bell] != good[bell] for bell in ("low_bell", "high_bell"))
        if outcome["standing"] == "noticed":
            assert outcome["noticed_by"] in ("never_both", "high_rings", "settles")


def test_a_resumed_campaign_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    main(["faults", "two_bells.wiring", "--resume", "outcomes"])
    first = capsys.readouterr().out
    main(["faults", "two_bells.wiring", "--resume", "outcomes"])
    second = capsys.readouterr().out
    assert "judged in an earlier call" in second
    assert first.splitlines()[:12] == second.splitlines()[:12]


def test_a_circuit_of_which_nothing_can_be_judged_is_told_and_the_others_are_judged(
    capsys: pytest.CaptureFixture[str],
) -> None:
    contradictory = TWO_BELLS.replace("two_bells", "stuck_keys").replace(
        "    low_bell ", "    given a: low_key\n    given b: not low_key\n    low_bell ", 1
    )
    Path("both.wiring").write_text(TWO_BELLS + contradictory)
    assert main(["faults", "both.wiring"]) == 2
    printed = capsys.readouterr()
    assert "no run obeys" in printed.err
    assert "two_bells" in printed.out
