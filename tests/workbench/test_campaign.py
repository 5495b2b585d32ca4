"""Campaigns: which faults the claims notice, which are harmless, and what tells of the others."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import pytest
from workbench.miswired import (
    HELD_CHOICE,
    TWO_BELLS,
    all_faults,
    batch_of,
    board_with,
    confirm,
    design_of,
    named,
    standings,
    verdicts_of,
)

import verifier
from verifier.circuit.fault import FaultKind, Technology
from verifier.claims.claim import Design, WiringFile
from verifier.errors import CallError
from verifier.evidence.fault_outcome import FaultOutcome, Standing
from verifier.evidence.simulator import Simulator
from verifier.evidence.telling import Follower, Telling
from verifier.evidence.verdict import Verdict
from verifier.language import loads
from verifier.workbench.fault_judge import FaultJudge
from verifier.workbench.suggested_claim import Suggester


def file_of(text: str) -> WiringFile:
    return loads(text, "miswired.wiring")


def outcome_of(text: str, fault: str, technology: Technology = Technology.TTL) -> FaultOutcome:
    design = design_of(text)
    chosen = named(design, fault, technology)
    outcome = FaultJudge(batch_of(design, (chosen,))).judge(chosen)
    confirm(design, chosen, outcome)
    return outcome


@pytest.mark.parametrize("technology", Technology)
def test_every_outcome_comes_with_evidence_that_the_simulator_confirms(technology: Technology) -> None:
    design = design_of(HELD_CHOICE)
    faults = all_faults(design, technology)
    judge = FaultJudge(batch_of(design, faults))
    outcomes = [judge.judge(fault) for fault in faults]
    for fault, outcome in zip(faults, outcomes, strict=True):
        confirm(design, fault, outcome)
    assert {outcome.standing for outcome in outcomes} >= {Standing.NOTICED, Standing.UNNOTICED}
    for outcome in outcomes:
        assert (outcome.noticed is not None) == (outcome.standing is Standing.NOTICED)
        assert (outcome.telling is not None) == (outcome.standing is Standing.UNNOTICED)


def test_a_stuck_pin_is_noticed_by_the_claim_that_it_breaks() -> None:
    outcome = outcome_of(TWO_BELLS, "not low_key in high_bell: output stuck high")
    assert outcome.noticed is not None
    assert (outcome.noticed.claim, outcome.noticed.verdict) == ("never_both", Verdict.BROKEN)
    assert outcome.noticed.run is not None


def test_a_can_that_becomes_impossible_notices_a_fault_by_proof() -> None:
    outcome = outcome_of(HELD_CHOICE, "beat: output stuck low")
    assert outcome.noticed is not None
    assert (outcome.noticed.claim, outcome.noticed.verdict) == ("run_from_tempo", Verdict.IMPOSSIBLE)
    assert outcome.noticed.run is None


def test_an_unnoticed_fault_has_steps_that_tell_and_a_claim_that_would_notice() -> None:
    outcome = outcome_of(TWO_BELLS, "low_bell: output stuck low")
    assert outcome.standing is Standing.UNNOTICED
    assert outcome.suggestion == "low_key only when low_bell"


def test_a_suggested_claim_can_be_written_into_the_file_and_then_notices_the_fault() -> None:
    design = design_of(HELD_CHOICE)
    faults = all_faults(design)
    judge = FaultJudge(batch_of(design, faults))
    tried = 0
    for fault in faults:
        outcome = judge.judge(fault)
        if not outcome.suggestion:
            continue
        claim = f"    must say_it: {outcome.suggestion}\n"
        longer = design_of(HELD_CHOICE.replace("    agree ", claim + "    agree ", 1))
        assert verifier.check_design(longer, claims=["say_it"]).claims[0].verdict is Verdict.PROVED
        board = board_with(longer, fault.representative)
        assert verifier.check_design(board, claims=["say_it"]).claims[0].verdict is Verdict.BROKEN
        tried += 1
    assert tried > 0


def test_a_fault_that_only_races_is_noticed_by_settles() -> None:
    text = """\
circuit pair
    input  set_n, reset_n by hand
    output ringing
    ringing = nand(set_n, quiet)
    quiet   = nand(reset_n, ringing)
"""
    outcome = outcome_of(text, "ringing: a 7486 (xor) in place of the 7400 (nand)")
    assert outcome.noticed is not None
    assert outcome.noticed.claim == "settles"


def test_a_fault_at_power_up_alone_is_told_by_the_first_row() -> None:
    text = "circuit held\n    input tempo\n    output beat\n    beat = flipflop(beat) on rise of tempo start 0\n"
    outcome = outcome_of(text, "beat: output stuck high")
    assert outcome.telling is not None
    assert len(outcome.telling.run) == 1


ALARM = """\
circuit alarm
    input  trip_n
    input  clear_n by hand
    output horn, lamp, second_lamp
    horn   = nand(trip_n, quiet)
    quiet  = nand(clear_n, horn)
    lamp   = not quiet
    second_lamp = lamp
"""


def told_with_the_horn_on() -> tuple[Design, Telling]:
    """The circuit, and a power-up of its board with the lamps stuck low, where the latch comes up with the horn."""
    design = design_of(ALARM)
    board = board_with(design, named(design, "lamp: output stuck low").representative)
    inputs = dict.fromkeys(design.netlist.input_nets, True)
    (horn,) = design.netlist.outputs[0].nets
    (first,) = (one for one, _ in Simulator(board.netlist).first_instants(inputs) if one[horn])
    telling = Follower(design.netlist, board.netlist).told_apart([first])
    assert telling is not None
    return design, telling


def test_a_free_choice_at_power_up_is_not_taken_for_the_fault() -> None:
    """A good circuit whose latch came up the other way would differ at the horn alone; yet the lamps are stuck."""
    design, telling = told_with_the_horn_on()
    nets = {pin.name: pin.nets[0] for pin in design.netlist.outputs}
    assert telling.good_ways == 2
    differing = {name for name, net in nets.items() if telling.run.instants[-1][net] != telling.good[-1][net]}
    assert differing == {"lamp", "second_lamp"}


def test_a_claim_is_found_where_the_good_circuit_may_show_several_things() -> None:
    """The latch comes up either way, so only `horn` and `lamp` together tell."""
    design, telling = told_with_the_horn_on()
    suggestion = Suggester(design).claim_that_notices(telling, time.monotonic() + 60.0)
    assert "horn" in suggestion
    assert suggestion.endswith("only when lamp")
    longer = design_of(ALARM.replace("    horn ", f"    must say_it: {suggestion}\n    horn ", 1))
    assert verifier.check_design(longer, claims=["say_it"]).claims[0].verdict is Verdict.PROVED
    board = board_with(longer, named(longer, "lamp: output stuck low").representative)
    assert verifier.check_design(board, claims=["say_it"]).claims[0].verdict is Verdict.BROKEN


def test_what_the_good_circuit_may_show_as_well_is_harmless() -> None:
    """It comes up either way, and nothing it does depends on `loud`, which is high whatever `silence` is."""
    text = """\
circuit divider
    input  tempo, silence by hand
    output beat
    beat = flipflop(not beat) on rise of tempo preset when loud low
    loud = nand(silence, not silence)
"""
    outcome = outcome_of(text, "loud: output stuck high")
    assert outcome.standing is Standing.HARMLESS


def test_an_open_switch_is_harmless_in_ttl_and_tells_in_cmos() -> None:
    fault = "low_key: no pull-up at the switch"
    text = TWO_BELLS.replace("low_key, high_key", "low_key, high_key by hand")
    assert outcome_of(text, fault).standing is Standing.HARMLESS
    assert outcome_of(text, fault, Technology.CMOS).standing is not Standing.HARMLESS


def test_without_outputs_nothing_is_called_harmless() -> None:
    text = "circuit deaf\n    input tempo\n    must never_high: never (tempo and beat)\n    beat = not tempo\n"
    design = design_of(text)
    stuck = named(design, "beat: output stuck low")
    outcome = FaultJudge(batch_of(design, (stuck,))).judge(stuck)
    assert outcome.standing is Standing.UNDECIDED
    assert "no outputs" in outcome.reason


def test_a_given_about_inputs_makes_a_fault_harmless_that_only_other_inputs_show() -> None:
    text = TWO_BELLS.replace("    low_bell  =", "    given one_hand: not (low_key and high_key)\n    low_bell  =")
    fault = "not low_key in high_bell: output stuck high"
    assert outcome_of(text, fault).standing is Standing.HARMLESS


def test_no_sequence_is_called_telling_that_breaks_a_given() -> None:
    text = TWO_BELLS.replace("    low_bell  =", "    given quiet: not low_bell\n    low_bell  =")
    outcome = outcome_of(text, "low_bell: output stuck low")
    assert outcome.standing is Standing.UNDECIDED
    assert "quiet" in outcome.reason


def test_no_time_leaves_a_fault_undecided() -> None:
    design = design_of(HELD_CHOICE)
    (fault, *_) = all_faults(design)
    judge = FaultJudge(replace(batch_of(design, (fault,)), limit_seconds=1e-6))
    assert judge.judge(fault).standing is Standing.UNDECIDED


def test_a_broken_claim_and_one_of_another_view_are_not_asked() -> None:
    text = HELD_CHOICE.replace(
        "    can  run_from_tempo",
        "    must wrong: never beat\n    must clean in any delay view: beat never glitches\n    can  run_from_tempo",
    ).replace("circuit held_choice", "circuit held_choice, breaks wrong, clean")
    (campaign,) = verifier.faults(file_of(text), kinds=["wrong edge"]).circuits
    assert dict(campaign.left_out) == {"wrong": "broken on the good circuit too", "clean": "of the any delay view"}
    assert [claim.name for claim in campaign.design.claims] == [
        "no_false_edge",
        "run_from_tempo",
        "run_from_lever",
        "settles",
    ]


def test_only_the_kinds_asked_for_are_judged() -> None:
    (campaign,) = verifier.faults(file_of(TWO_BELLS), kinds=["wrong-gate", FaultKind.BRIDGE], processes=1).circuits
    kinds = {fault.kind for one in campaign.judged for fault in one.fault.faults}
    assert kinds == {FaultKind.WRONG_GATE, FaultKind.BRIDGE}


def test_wrong_names_are_refused_with_the_right_ones() -> None:
    with pytest.raises(CallError, match="no kind of fault"):
        verifier.faults(file_of(TWO_BELLS), kinds=["loose screw"])
    with pytest.raises(CallError, match="no technology"):
        verifier.faults(file_of(TWO_BELLS), technology="relays")
    with pytest.raises(CallError, match="no fault named") as refused:
        verifier.faults(file_of(TWO_BELLS), fault="low_bell: output stuck lo")
    assert "low_bell: output stuck low" in refused.value.hint


class TestTheStore:
    def test_an_interrupted_campaign_goes_on_where_it_stopped(self, tmp_path: Path) -> None:
        store, file = tmp_path / "outcomes", file_of(TWO_BELLS)

        def press_ctrl_c(done: int, *_: int) -> None:
            if done == 7:
                raise KeyboardInterrupt

        first = verifier.faults(file, processes=1, resume=store, on_progress=press_ctrl_c)
        assert first.interrupted
        assert len(first.circuits[0].judged) == 7
        told: list[int] = []
        second = verifier.faults(file, processes=1, resume=store, on_progress=lambda done, *_: told.append(done))
        assert second.circuits[0].resumed == told[0] == 7
        assert verdicts_of(second) == verdicts_of(verifier.faults(file, processes=1))

    def test_a_changed_claim_is_judged_anew(self, tmp_path: Path) -> None:
        store = tmp_path / "outcomes"
        verifier.faults(file_of(TWO_BELLS), processes=1, resume=store)
        changed = file_of(TWO_BELLS.replace("never (low_bell and high_bell)", "low_key only when low_bell"))
        (campaign,) = verifier.faults(changed, processes=1, resume=store).circuits
        assert campaign.resumed == 0
        assert standings(campaign)["low_bell: output stuck low"] is Standing.NOTICED

    def test_a_line_that_was_cut_short_is_judged_again(self, tmp_path: Path) -> None:
        store, file = tmp_path / "outcomes", file_of(TWO_BELLS)
        whole = verifier.faults(file, processes=1, resume=store)
        text = store.read_text(encoding="utf-8")
        store.write_text(text[:-20], encoding="utf-8")
        again = verifier.faults(file, processes=1, resume=store)
        assert again.circuits[0].resumed == len(again.circuits[0].faults) - 1
        assert verdicts_of(again) == verdicts_of(whole)
        assert verifier.faults(file, processes=1, resume=store).circuits[0].resumed == len(again.circuits[0].faults)

    def test_what_stayed_undecided_is_tried_again(self, tmp_path: Path) -> None:
        store, file = tmp_path / "outcomes", file_of(TWO_BELLS)
        hurried = verifier.faults(file, processes=1, resume=store, limit=1e-6)
        judged = hurried.circuits[0].judged
        undecided = hurried.circuits[0].with_standing(Standing.UNDECIDED)
        assert undecided
        assert verifier.faults(file, processes=1, resume=store).circuits[0].resumed == len(judged) - len(undecided)

    def test_another_file_is_not_taken_for_a_store(self, tmp_path: Path) -> None:
        other = tmp_path / "notes"
        other.write_text("the bell in the north tower is cracked\n", encoding="utf-8")
        with pytest.raises(CallError, match="no store of outcomes"):
            verifier.faults(file_of(TWO_BELLS), resume=other)
        assert other.read_text(encoding="utf-8").startswith("the bell")
