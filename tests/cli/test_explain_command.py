"""`explain` as a person or a script meets it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from verifier.cli import main

TWO_BELLS = """\
contract two_bells
    input  low_key, high_key, lamp
    output low_bell, high_bell
    given one_hand: never (low_key and high_key)
    given lamp_off: never lamp
    must never_both: never (low_bell and high_bell)
    can  high_rings: high_bell rises

circuit polite fits two_bells
    low_bell  = low_key
    high_bell = high_key and not low_key

circuit plain fits two_bells
    low_bell  = low_key
    high_bell = high_key

circuit rude fits two_bells, breaks never_both
    low_bell  = low_key or high_key
    high_bell = high_key
"""

BROKEN = """\
rude  (two_bells.wiring)
  broken      never_both  as expected
  must never (low_bell and high_bell)

What matters
  1 of the 3 values of inputs: no smaller set does. The other values in the
  table follow from them.

    step  what to do     low_key  high_key  lamp  low_bell  high_bell
    ----  -------------  -------  --------  ----  --------  ---------
       0  power up with     .        1       .       1          1
          high_key high

    broken at step 0: low_bell is high and high_bell is high, which must never
    be
    a dot: what is there follows from the other values by the rules about inputs
    and the givens; no other input sequence has these values

How it comes about
  power-up
    low_bell is high, as high_key is high
    high_bell is high, as high_key is high

These verdicts rest on:
"""

PROVED = """\
plain  (two_bells.wiring)
  proved      never_both
  must never (low_bell and high_bell)

Why it holds
  It follows from one step alone: whatever state the circuit is in, reachable or
  not, no permitted step breaks the claim, and no first instant does. No
  invariant is needed.

What the proof leans on
  leans on          given one_hand (without it a run breaks the claim at
                    power-up)
  does not lean on  given lamp_off
  does not lean on  at most one of low_key, high_key and lamp changes in a step

  Proved again, and the proof judged again, with all that it does not lean on
  given up at once.
  As far as this claim goes, lamp_off may be removed from the file.

These verdicts rest on:
"""


@pytest.fixture
def bells(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.chdir(tmp_path)
    Path("two_bells.wiring").write_text(TWO_BELLS)
    return "two_bells.wiring"


def test_the_page_of_a_broken_claim(bells: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", bells, "--circuit", "rude", "--claim", "never_both"]) == 0
    assert capsys.readouterr().out.startswith(BROKEN)


def test_the_page_of_a_proved_claim_names_the_given_that_may_go(bells: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", bells, "--circuit", "plain", "--claim", "never_both"]) == 0
    assert capsys.readouterr().out.startswith(PROVED)


def test_several_circuits_with_the_claim_are_asked_to_be_told_apart(
    bells: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["explain", bells, "--claim", "never_both"]) == 2
    assert "choose one with --circuit: polite, plain, rude" in capsys.readouterr().err


def test_a_wrong_claim_is_answered_with_the_nearest(bells: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", bells, "--circuit", "rude", "--claim", "never_bath"]) == 2
    assert "did you mean never_both?" in capsys.readouterr().err


def test_the_claim_must_be_named(bells: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["explain", bells])
    assert ended.value.code == 2
    assert "--claim" in capsys.readouterr().err


def test_a_verdict_that_is_not_as_expected_ends_with_1(bells: str) -> None:
    Path(bells).write_text(TWO_BELLS.replace(", breaks never_both", ""))
    assert main(["explain", bells, "--circuit", "rude", "--claim", "never_both"]) == 1


def test_the_record_of_a_broken_claim(bells: str, capsys: pytest.CaptureFixture[str]) -> None:
    main(["explain", bells, "--circuit", "rude", "--claim", "never_both", "--json", "-"])
    (circuit,) = json.loads(capsys.readouterr().out)["circuits"]
    (claim,) = circuit["claims"]
    assert claim["verdict"] == "broken"
    matters = claim["explanation"]["matters"]
    assert matters["inputs"] == [{"at": 0, "input": "high_key"}]
    assert matters["size"] == "smallest"
    assert matters["decided_by"] == [{"at": 0, "net": "low_bell"}, {"at": 0, "net": "high_bell"}]
    assert claim["explanation"]["proof"] is None


def test_the_record_of_a_proved_claim(bells: str, capsys: pytest.CaptureFixture[str]) -> None:
    main(["explain", bells, "--circuit", "plain", "--claim", "never_both", "--json", "-"])
    (circuit,) = json.loads(capsys.readouterr().out)["circuits"]
    explanation = circuit["claims"][0]["explanation"]
    assert explanation["matters"] is None
    assert explanation["proof"]["sentences"] == []
    told = {one["assumption"]: (one["leaning"], one["trace_without"] is not None) for one in explanation["assumptions"]}
    assert told["given one_hand"] == ("leans on", True)
    assert told["given lamp_off"] == ("does not lean on", False)
