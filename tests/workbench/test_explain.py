"""What `verifier.explain` finds out about circuits of which the answer is known."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest

import verifier
from verifier.claims.claim import WiringFile
from verifier.claims.lasso_meaning import holds_on
from verifier.claims.run import Run
from verifier.errors import CallError
from verifier.evidence.explanation import At, EndlessReason, Explanation, Leaning, Reason, Smallness
from verifier.evidence.verdict import Verdict
from verifier.language import loads

FROM_THE_PAST = """\
circuit bell_with_a_memory
    input  tempo free running
    input  hole by hand
    input  lamp by hand
    output bell
    must not_twice: never (bell and first and hole)
    first  = flipflop(hole) on rise of tempo start 0
    bell   = flipflop(first) on rise of tempo start 0
"""
POWERS_UP = """\
circuit left_alone
    input  tempo free running
    output bell, lamp
    must silent: never bell
    bell = flipflop(bell) on rise of tempo
    lamp = flipflop(lamp) on rise of tempo
"""
WAITING = """\
circuit waiting
    input  tempo free running
    input  key by hand
    input  lamp by hand
    output bell
    must answers: key for good leads to bell for good
    bell = flipflop(key and not bell) on rise of tempo start 0
"""
TURNS = """\
circuit two_keys
    input  tempo, key
    input  lever by hand
    output bell
    must alone: never (tempo changes and key changes)
    must lever_off: never (lever changes and tempo changes)
    must three: never (lever changes and key changes and tempo changes)
    bell = tempo or key or lever
"""
STRAPPED = """\
circuit strapped_lamp
    input  tempo free running
    input  lamp strapped
    output bell
    must with_tempo: bell changes only when tempo changes
    must goes_on: tempo leads to not tempo
    bell = tempo and lamp
"""


def explained(folder: Path, text: str, claim: str) -> Explanation:
    path = folder / "bells.wiring"
    path.write_text(text)
    return verifier.explain(verifier.load(path), claim)


def reason_of(explanation: Explanation) -> Reason:
    assert isinstance(explanation.reason, Reason)
    return explanation.reason


def test_an_input_that_nothing_hangs_on_matters_at_no_step(tmp_path: Path) -> None:
    reason = reason_of(explained(tmp_path, FROM_THE_PAST, "not_twice"))
    assert reason.smallness is Smallness.SMALLEST
    assert {name for name, _ in reason.pins} == {"tempo", "hole"}
    assert reason.tried is not None
    assert reason.tried.runs > 0


def test_how_storage_happens_to_power_up_matters_where_the_claim_hangs_on_it(tmp_path: Path) -> None:
    explanation = explained(tmp_path, POWERS_UP, "silent")
    reason = reason_of(explanation)
    nets = explanation.design.netlist.nets
    assert reason.pins == ()
    assert [(nets[at.net].name, at.step) for at in reason.chances] == [("bell", 0)]


def test_every_value_of_the_claim_that_is_left_free_in_an_endless_run_may_be_changed(tmp_path: Path) -> None:
    explanation = explained(tmp_path, WAITING, "answers")
    reason = explanation.reason
    assert isinstance(reason, EndlessReason)
    assert reason.smallness is Smallness.SMALLEST
    claim, run = explanation.result.claim, reason.run
    signals = explanation.design.netlist.signals
    values = [At(step, net) for step in range(len(run)) for name in ("key", "bell") for net in signals[name]]
    free = [at for at in values if at not in reason.roots]
    assert len(values) == reason.candidates
    for flips in product((False, True), repeat=len(free)):
        changed = {at for at, flip in zip(free, flips, strict=True) if flip}
        assert not holds_on(claim.formula, _with_changes(run, changed))


def _with_changes(run: Run, changed: set[At]) -> Run:
    instants = tuple(
        tuple(value ^ (At(step, net) in changed) for net, value in enumerate(instant))
        for step, instant in enumerate(run.instants)
    )
    return Run(instants, run.events, loop_from=run.loop_from)


@pytest.mark.parametrize(
    ("claim", "leans_on"),
    [
        ("alone", {"at most one of tempo and key changes in a step"}),
        ("lever_off", {"lever by hand: it changes alone"}),
        ("three", set()),
    ],
)
def test_each_rule_about_inputs_is_given_up_by_itself(claim: str, leans_on: set[str], tmp_path: Path) -> None:
    # Where all three would have to change at once, either of the two rules alone is enough, so neither is leant on.
    explanation = explained(tmp_path, TURNS, claim)
    leaning = {one.what: one.leaning for one in explanation.leaned}
    assert {what for what, how in leaning.items() if how is Leaning.LEANS} == leans_on
    assert len(leaning) == 2


def test_rules_that_are_enough_by_turns_are_not_all_given_up_at_once(tmp_path: Path) -> None:
    explanation = explained(tmp_path, TURNS, "three")
    assert [one.leaning for one in explanation.leaned] == [Leaning.NOT, Leaning.NOT]
    assert [one.together for one in explanation.leaned] == [True, False]


def test_a_strap_and_a_source_that_never_stops_are_found_to_be_leant_on(tmp_path: Path) -> None:
    steady = {one.name: one.leaning for one in explained(tmp_path, STRAPPED, "with_tempo").leaned}
    assert steady == {"lamp": Leaning.LEANS}
    goes_on = {one.name: one.leaning for one in explained(tmp_path, STRAPPED, "goes_on").leaned}
    assert goes_on == {"tempo": Leaning.LEANS, "lamp": Leaning.NOT}


def test_a_measured_claim_is_explained_at_its_number(tmp_path: Path) -> None:
    text = WAITING.replace(
        "must answers: key for good leads to bell for good",
        "must soon: key leads to bell or not key within ? rises of tempo",
    )
    explanation = explained(tmp_path, text, "soon")
    assert explanation.result.verdict is Verdict.PROVED
    assert explanation.result.measured is not None
    assert any("in place of its `?`" in note for note in explanation.notes)
    assert explanation.proof is not None


def test_clauses_about_the_count_to_a_deadline_are_told_by_what_is_due() -> None:
    proof = verifier.explain(verifier.load(SPECS / "synchroniser.wiring"), "keeps_up", "two_stages").proof
    assert proof is not None
    assert not proof.as_claims
    assert "never at once: not lever and the answer is due" in proof.sentences
    assert "never at once: safe and the answer is due" in proof.sentences


SPECS = Path(__file__).parents[2] / "specs"


@pytest.mark.parametrize(
    ("file", "circuit"),
    [
        ("lever_debouncer.wiring", "nand_pair"),
        ("pattern_detector.wiring", "three_bits"),
        ("beat_source.wiring", "hold_until_agree_in_nands"),
        ("hammer_arbiter.wiring", "taking_turns"),
    ],
)
def test_every_line_that_may_stand_in_the_file_is_proved_there(file: str, circuit: str) -> None:
    text = (SPECS / file).read_text(encoding="utf-8")
    design = next(design for design in verifier.load(SPECS / file).designs if design.name == circuit)
    wiring_file = WiringFile(file, (design,))
    proofs = [verifier.explain(wiring_file, claim.name).proof for claim in design.claims]
    lines = [sentence for proof in proofs if proof is not None and proof.as_claims for sentence in proof.sentences]
    assert lines
    claims = "".join(f"    must line_{number}: {sentence}\n" for number, sentence in enumerate(dict.fromkeys(lines)))
    heading = next(row for row in text.splitlines(keepends=True) if row.startswith(f"circuit {circuit}"))
    (whole,) = [one for one in loads(text.replace(heading, heading + claims), file).designs if one.name == circuit]
    judged = verifier.check_design(whole, claims=[f"line_{number}" for number in range(len(dict.fromkeys(lines)))])
    assert {result.verdict for result in judged.claims} == {Verdict.PROVED}


def test_an_undecided_claim_says_that_there_is_nothing_to_explain(tmp_path: Path) -> None:
    path = tmp_path / "bells.wiring"
    path.write_text(WAITING)
    explanation = verifier.explain(verifier.load(path), "answers", limit=1e-9)
    assert explanation.result.verdict is Verdict.UNDECIDED
    assert explanation.reason is None
    assert explanation.notes


def test_a_claim_that_no_circuit_has_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CallError, match="no claim named nothing_such"):
        explained(tmp_path, WAITING, "nothing_such")
