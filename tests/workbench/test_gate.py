"""Folders judged side by side, and the ways in which verdicts can differ from those of an earlier revision."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

import verifier
from verifier.errors import CallError
from verifier.evidence.gate_outcome import Change, ChangeKind, GateResult, How, TroubleKind
from verifier.workbench import gate_crew, gate_record
from verifier.workbench.gate import FAILS, wiring_files

BELLS = """\
contract bells
    input  low_key, high_key
    output low_bell, high_bell
    must never_both: never (low_bell and high_bell)
    must low_rings:  low_key leads to low_bell within 1 steps
    can  high_rings: high_bell rises

circuit two_bells fits bells
    low_bell  = low_key
    high_bell = high_key and not low_key
"""
WILD = """\
circuit wild_bells fits bells, breaks never_both
    low_bell  = low_key
    high_bell = high_key
"""
SLOW = """\
circuit timed_bell breaks too_fast
    input  tempo free running high 20..30 ns, low 20..30 ns
    output bell
    must full_pulses: pulses of bell last at least ? ns
    must quick: tempo rises leads to not bell within 10 ns
    must rings: tempo falls leads to bell within ? ns
    must too_fast: tempo falls leads to bell within 2 ns
    can  goes_low: bell falls within the last 3 ns
    bell = not tempo takes 1..3 ns
"""


def gated(folder: Path, against: Path | None = None, *, trust: bool = False, processes: int = 1) -> GateResult:
    terms = verifier.GateTerms(
        version="1", against=None if against is None else str(against), keeps_evidence=True, trust_unchanged=trust
    )
    return verifier.gate([str(folder)], terms, processes=processes, limit=100.0)


def record(result: GateResult, path: Path) -> Path:
    from verifier.workbench.content_key import own_digest

    path.write_text(gate_record.record_text(gate_record.record_of(result.files, "1", own_digest())))
    return path


def changes(folder: Path, before: str, after: str) -> list[tuple[str, str, str]]:
    """Kind, circuit and claim of everything that differs once the file says something else."""
    return [(change.kind.value, change.circuit, change.claim) for change in changed(folder, before, after)]


def changed(folder: Path, before: str, after: str) -> tuple[Change, ...]:
    (folder / "bells.wiring").write_text(before)
    against = record(gated(folder), folder / "record.json")
    (folder / "bells.wiring").write_text(after)
    return gated(folder, against).changes


def swapped(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new)


# What changed


def test_an_unchanged_folder_has_no_changes(tmp_path: Path) -> None:
    assert changes(tmp_path, BELLS + WILD, "# a comment\n" + BELLS + WILD) == []


def test_a_claim_that_holds_no_more_is_newly_broken_even_where_that_is_expected(tmp_path: Path) -> None:
    after = swapped(BELLS, "high_key and not low_key", "high_key")
    assert changes(tmp_path, BELLS, after) == [("newly-broken", "two_bells", "never_both")]
    after = swapped(after, "two_bells fits bells", "two_bells fits bells, breaks never_both")
    assert changes(tmp_path, BELLS, after) == [("newly-broken", "two_bells", "never_both")]
    assert changes(tmp_path, after, BELLS) == [("newly-proved", "two_bells", "never_both")]


def test_a_can_that_became_impossible_is_newly_broken(tmp_path: Path) -> None:
    after = swapped(BELLS, "high_key and not low_key", "low_key and not low_key")
    assert changes(tmp_path, BELLS, after) == [("newly-broken", "two_bells", "high_rings")]


def test_claims_and_circuits_disappear_and_appear(tmp_path: Path) -> None:
    fewer = swapped(BELLS, "    can  high_rings: high_bell rises\n", "")
    assert changes(tmp_path, BELLS, fewer) == [("disappeared", "two_bells", "high_rings")]
    assert changes(tmp_path, fewer, BELLS) == [("appeared", "two_bells", "high_rings")]
    assert changes(tmp_path, BELLS + WILD, BELLS) == [("disappeared", "wild_bells", "")]
    assert changes(tmp_path, BELLS, BELLS + WILD) == [("appeared", "wild_bells", "")]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("    output", "    given alone: never (low_key rises and high_key)\n    output"),
        ("low_key, high_key\n", "low_key by hand\n    input  high_key\n"),
        ("low_key, high_key\n", "low_key strapped\n    input  high_key\n"),
    ],
)
def test_an_assumption_more_weakens_proofs_and_one_less_strengthens_them(old: str, new: str, tmp_path: Path) -> None:
    after = swapped(BELLS, old, new)
    proofs = [("two_bells", name) for name in ("never_both", "low_rings", "settles")]
    assert changes(tmp_path, BELLS, after) == [("weakened", *proof) for proof in proofs]
    assert changes(tmp_path, after, BELLS) == [("strengthened", *proof) for proof in proofs]


def test_a_strapped_input_that_is_moved_by_hand_now_is_no_new_assumption(tmp_path: Path) -> None:
    strapped = swapped(BELLS, "low_key, high_key\n", "low_key strapped\n    input  high_key\n")
    kinds = {kind for kind, _, _ in changes(tmp_path, strapped, strapped.replace("strapped", "by hand"))}
    assert kinds == {"strengthened"}


def test_a_proof_that_came_with_an_assumption_says_so(tmp_path: Path) -> None:
    wild = BELLS + WILD
    tamed = swapped(wild, "    output", "    given alone: never (low_key and high_key)\n    output")
    (change,) = (one for one in changed(tmp_path, wild, tamed) if one.kind is ChangeKind.NEWLY_PROVED)
    assert change.circuit == "wild_bells"
    assert change.why == ("was broken, is proved", "now assumes given: never (low_key and high_key)")


def test_a_claim_whose_trigger_cannot_happen_any_more_is_weakened(tmp_path: Path) -> None:
    before = swapped(
        BELLS, "    can  high_rings", "    must quiet: high_bell rises only when high_key\n    can  high_rings"
    )
    after = swapped(before, "high_key and not low_key", "low_key and not low_key")
    kinds = changes(tmp_path, before, after)
    assert ("weakened", "two_bells", "quiet") in kinds
    assert ("strengthened", "two_bells", "quiet") in changes(tmp_path, after, before)


def test_a_claim_that_says_something_else_is_reworded_even_by_way_of_a_let(tmp_path: Path) -> None:
    other = swapped(BELLS, "within 1 steps", "within 2 steps")
    assert changes(tmp_path, BELLS, other) == [("reworded", "two_bells", "low_rings")]
    with_let = BELLS.replace(
        "    must never_both: never (low_bell and high_bell)", "    let both = {}\n    must never_both: never both"
    )
    before, after = with_let.format("low_bell and high_bell"), with_let.format("low_bell and high_bell and low_key")
    assert changes(tmp_path, before, after) == [("reworded", "two_bells", "never_both")]


def test_an_inner_net_more_rewords_nothing(tmp_path: Path) -> None:
    after = swapped(BELLS, "high_key and not low_key", "high_key and quiet\n    quiet = not low_key")
    assert changes(tmp_path, BELLS, after) == []


def test_a_measured_number_is_worse_or_better_by_what_the_claim_asks(tmp_path: Path) -> None:
    slower = swapped(SLOW, "takes 1..3 ns", "takes 1..5 ns")
    before = {(c.kind.value, c.claim): c.why for c in changed(tmp_path, SLOW, slower)}
    assert before["weakened", "full_pulses"] == ("measured 18 ns, now 16 ns",)
    after = {(c.kind.value, c.claim): c.why for c in changed(tmp_path, slower, SLOW)}
    assert after["strengthened", "full_pulses"] == ("measured 16 ns, now 18 ns",)


def test_wider_ranges_of_the_world_are_fewer_assumptions(tmp_path: Path) -> None:
    wider = swapped(SLOW, "free running high 20..30 ns", "free running high 20..40 ns")
    kinds = {(kind, claim) for kind, _, claim in changes(tmp_path, SLOW, wider)}
    assert ("strengthened", "full_pulses") in kinds
    assert not any(kind == "weakened" for kind, _ in kinds)
    kinds = {(kind, claim) for kind, _, claim in changes(tmp_path, wider, SLOW)}
    assert ("weakened", "full_pulses") in kinds


def test_a_moved_file_is_recognised_by_its_circuits(tmp_path: Path) -> None:
    (tmp_path / "bells.wiring").write_text(BELLS)
    against = record(gated(tmp_path), tmp_path / "record.json")
    (tmp_path / "tower").mkdir()
    (tmp_path / "bells.wiring").rename(tmp_path / "tower" / "carillon.wiring")
    result = gated(tmp_path, against)
    assert result.changes == ()
    assert {claim.how for claim in result.claims} == {How.REJUDGED}


def test_what_lies_outside_the_paths_or_was_not_judged_has_not_disappeared(tmp_path: Path) -> None:
    for name in ("here", "there"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "bells.wiring").write_text(BELLS)
    against = record(gated(tmp_path), tmp_path / "record.json")
    assert gated(tmp_path / "here", against).changes == ()
    (tmp_path / "there" / "bells.wiring").write_text("circuit two_bells\n    nonsense\n")
    assert gated(tmp_path, against).changes == ()
    (tmp_path / "there" / "bells.wiring").unlink()
    assert [change.kind for change in gated(tmp_path, against).changes] == [ChangeKind.DISAPPEARED]


# Records


def test_the_record_of_an_unchanged_folder_has_the_same_bytes(tmp_path: Path) -> None:
    (tmp_path / "bells.wiring").write_text(BELLS + WILD)
    first = record(gated(tmp_path), tmp_path / "first.json")
    again = record(gated(tmp_path, first), tmp_path / "again.json")
    assert first.read_bytes() == again.read_bytes()


def test_timed_proofs_are_proved_again_unless_the_record_is_to_be_trusted(tmp_path: Path) -> None:
    (tmp_path / "bell.wiring").write_text(SLOW)
    first = gated(tmp_path)
    against = record(first, tmp_path / "record.json")
    again, trusting = gated(tmp_path, against), gated(tmp_path, against, trust=True)
    for result in (again, trusting):
        assert result.changes == ()
        assert [claim.verdict for claim in result.claims] == [claim.verdict for claim in first.claims]
    hows = {claim.recorded.claim: claim.how for claim in again.claims}
    assert hows["full_pulses"] is How.JUDGED
    assert {hows[name] for name in ("too_fast", "goes_low", "settles")} == {How.REJUDGED}
    trusted = {claim.recorded.claim: claim.how for claim in trusting.claims}
    assert trusted["full_pulses"] is How.TRUSTED
    assert trusted["too_fast"] is How.REJUDGED


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"sum": "", "gate_record": 1}', "\x00", "[" * 10_000, '"bells"'])
def test_a_damaged_record_is_refused(text: str, tmp_path: Path) -> None:
    (tmp_path / "bells.wiring").write_text(BELLS)
    (tmp_path / "record.json").write_text(text)
    with pytest.raises(CallError, match="no record of a gate"):
        gated(tmp_path, tmp_path / "record.json")


# Files and processes


def test_folders_are_searched_but_not_hidden_ones_and_no_file_comes_twice(tmp_path: Path) -> None:
    for name in ("b/two.wiring", "a/one.wiring", ".git/three.wiring", "a/.cache/four.wiring", "a/notes.txt"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(BELLS)
    os.symlink(tmp_path / "a" / "one.wiring", tmp_path / "b" / "same.wiring")
    found = wiring_files([str(tmp_path / "a" / "one.wiring"), str(tmp_path)])
    assert [Path(path).name for path in found] == ["one.wiring", "two.wiring"]


@pytest.mark.parametrize("path", ["no_such_folder", "empty"])
def test_a_path_without_wiring_files_is_refused(path: str, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(CallError):
        wiring_files([str(tmp_path / path)])


def test_several_processes_come_to_the_verdicts_of_one(tmp_path: Path) -> None:
    (tmp_path / "bells.wiring").write_text(BELLS + WILD)
    (tmp_path / "bell.wiring").write_text(SLOW)
    (tmp_path / "wrong.wiring").write_text("circuit\n")
    (tmp_path / "families.wiring").write_text("family slow\n    and takes 1..2 ns\n")
    one, two = gated(tmp_path), gated(tmp_path, processes=2)
    assert [file.path for file in one.files] == [file.path for file in two.files]
    told = [[(claim.recorded, claim.tells) for claim in result.claims] for result in (one, two)]
    assert told[0] == told[1]
    assert [trouble.kind for trouble in two.troubles] == [TroubleKind.INPUT]
    assert {file.path for file in two.files if file.warnings} == set()


def test_a_process_that_dies_leaves_its_claims_undecided_and_the_others_judged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "bells.wiring").write_text(BELLS)
    (tmp_path / "bell.wiring").write_text(SLOW)
    given = gate_crew._Hand.give

    def give(hand: gate_crew._Hand, order: object) -> None:
        given(hand, order)  # type: ignore[arg-type]
        if getattr(order, "name", "") == "timed_bell":
            os.kill(hand._process.pid, signal.SIGKILL)

    monkeypatch.setattr(gate_crew._Hand, "give", give)
    result = gated(tmp_path, processes=2)
    reasons = {claim.recorded.claim: claim.reason for claim in result.claims if claim.is_open}
    assert reasons == dict.fromkeys(
        ("full_pulses", "quick", "rings", "too_fast", "goes_low", "settles"), "its process ended by itself"
    )
    assert {circuit.name: len(circuit.claims) for file in result.files for circuit in file.circuits}["two_bells"] == 4


def test_without_time_everything_is_undecided_and_nothing_is_lost(tmp_path: Path) -> None:
    (tmp_path / "bells.wiring").write_text(BELLS)
    terms = verifier.GateTerms(version="1")
    result = verifier.gate([str(tmp_path)], terms, processes=1, limit=1e-9)
    assert [claim.is_open for claim in result.claims] == [True] * 4


def test_the_changes_that_fail_by_default_are_those_that_take_something_away() -> None:
    assert {kind.value for kind in FAILS} == {"newly-broken", "disappeared", "weakened"}
