"""Saved proofs: what a file says, and whether it still proves the claim about the circuit as it is now."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

import verifier
from verifier.circuit.builder import NetlistBuilder
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.formula import Literal
from verifier.cli import main
from verifier.errors import CallError, InternalDisagreement, SourceError
from verifier.evidence.certificate_reading import read_certificate
from verifier.evidence.verdict import Fit, Rechecked
from verifier.logic.session import judge_script
from verifier.workbench import certificates, equality
from verifier.workbench.certificates import certificate_name

RING = """\
contract two_bells
    input  tempo free running
    output low_bell, high_bell
    must never_both: never (low_bell and high_bell)
    must one_waits:  low_bell falls only when once high_bell
    must rings:      low_bell again and again
    must answered:   low_bell leads to high_bell
    can  both_ring:  low_bell and high_bell

circuit ring fits two_bells, breaks both_ring
    low_bell  = flipflop(high_bell) on rise of tempo start 1
    high_bell = flipflop(low_bell) on rise of tempo start 0
"""
PROOFS = {"never_both", "one_waits", "rings", "answered", "both_ring", "settles"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "bells.wiring").write_text(RING)
    result = verifier.check(tmp_path / "bells.wiring", wishes=verifier.Wishes(certificates=True))
    (tmp_path / "proofs").mkdir()
    verifier.write_certificates(tmp_path / "proofs", result.designs)
    return tmp_path


def rechecked(folder: Path, text: str = RING) -> dict[str, Rechecked]:
    path = folder / "bells.wiring"
    path.write_text(text)
    return {entry.claim: entry for entry in verifier.recheck_saved(folder / "proofs", verifier.load(path))}


def fits(folder: Path, text: str = RING) -> dict[str, Fit]:
    return {name: entry.fit for name, entry in rechecked(folder, text).items()}


def test_each_proof_has_its_file_which_stands_alone_and_says_what_it_is_about(folder: Path) -> None:
    files = {path.name for path in (folder / "proofs").iterdir()}
    assert files == {f"ring.{name}.smt2" for name in PROOFS}
    for name in PROOFS:
        text = (folder / "proofs" / f"ring.{name}.smt2").read_text(encoding="ascii")
        assert judge_script(text) == ["unsat", "unsat", "unsat"]
        header = [line for line in text.splitlines() if line.startswith("; ")]
        assert "; circuit: ring" in header
        assert f"; claim: {name}" in header
        assert "; view: settled" in header
        assert any(line.startswith("; assumes: tempo: free running") for line in header)
    assert "; kind: can" in (folder / "proofs" / "ring.both_ring.smt2").read_text()
    assert "; rounds: " in (folder / "proofs" / "ring.rings.smt2").read_text()


def test_an_unchanged_circuit_fits_every_proof_without_a_remark(folder: Path) -> None:
    found = rechecked(folder)
    assert {name: (entry.fit, entry.why) for name, entry in found.items()} == dict.fromkeys(PROOFS, (Fit.FITS, ""))


def test_a_proof_does_not_fit_a_circuit_with_one_gate_changed(folder: Path) -> None:
    changed = fits(folder, RING.replace("flipflop(low_bell)", "flipflop(not low_bell)"))
    assert changed["never_both"] is Fit.NO_LONGER
    assert changed["both_ring"] is Fit.NO_LONGER
    assert changed["settles"] is Fit.FITS


def test_a_proof_fits_again_once_the_change_is_taken_back(folder: Path) -> None:
    fits(folder, RING.replace("start 0", "start 1"))
    assert set(fits(folder).values()) == {Fit.FITS}


def test_a_proof_that_carries_over_to_a_changed_circuit_says_that_the_file_is_old(folder: Path) -> None:
    doubled = RING.replace("flipflop(high_bell)", "flipflop(high_bell and not low_bell)")
    found = rechecked(folder, doubled)
    assert found["never_both"].fit is Fit.FITS
    assert "describes an earlier circuit" in found["never_both"].why


def test_a_renamed_register_is_named(folder: Path) -> None:
    renamed = (
        RING.replace("high_bell = flipflop(low_bell)", "bell_2    = flipflop(low_bell)") + "    high_bell = bell_2\n"
    )
    entry = rechecked(folder, renamed)["never_both"]
    assert entry.fit is Fit.NO_LONGER
    assert "speaks of `high_bell`" in entry.why


def test_a_changed_claim_and_one_of_another_kind_no_longer_fit(folder: Path) -> None:
    assert fits(folder, RING.replace("never (low_bell and", "never (low_bell or"))["never_both"] is Fit.NO_LONGER
    entry = rechecked(folder, RING.replace("low_bell again and again", "low_bell or high_bell"))["rings"]
    assert (entry.fit, entry.why) == (Fit.NO_LONGER, "the claim asks another kind of question now")


def test_claims_without_a_proof_are_missing_and_proofs_without_a_claim_do_not_fit(folder: Path) -> None:
    (folder / "proofs" / "ring.settles.smt2").unlink()
    found = fits(folder, RING.replace("must rings:", "must sounds:"))
    assert found["settles"] is Fit.MISSING
    assert found["sounds"] is Fit.MISSING
    assert found["rings"] is Fit.NO_LONGER


def test_a_claim_that_is_expected_to_break_misses_no_proof(folder: Path) -> None:
    for name in ("both_ring", "never_both"):
        (folder / "proofs" / f"ring.{name}.smt2").unlink()
    found = fits(folder, RING.replace("breaks both_ring", "breaks both_ring, never_both"))
    assert "never_both" not in found
    assert found["both_ring"] is Fit.MISSING  # a `can` that is expected to be impossible has a proof


def test_a_weaker_invariant_is_refused_and_the_transition_relation_of_the_file_is_not_believed(folder: Path) -> None:
    path = folder / "proofs" / "ring.never_both.smt2"
    text = path.read_text()
    path.write_text(re.sub(r"(define-fun invariant \(\) Bool) .*\)", r"\1 true)", text))
    assert fits(folder)["never_both"] is Fit.NO_LONGER
    # A file that says of itself that nothing is ever bad proves nothing about the circuit.
    tame = re.sub(r"(define-fun bad \(\) Bool) .*\)", r"\1 false)", text)
    path.write_text(re.sub(r"(define-fun invariant(-next)? \(\) Bool) .*\)", r"\1 true)", tame))
    assert judge_script(path.read_text()) == ["unsat", "unsat", "unsat"]
    assert fits(folder)["never_both"] is Fit.NO_LONGER


def test_a_false_invariant_proves_nothing(folder: Path) -> None:
    path = folder / "proofs" / "ring.never_both.smt2"
    path.write_text(re.sub(r"(define-fun invariant \(\) Bool) .*\)", r"\1 (and true false))", path.read_text()))
    entry = rechecked(folder)["never_both"]
    assert entry.fit is Fit.NO_LONGER
    assert "`start`" in entry.why


def test_a_file_that_is_about_another_claim_does_not_fit(folder: Path) -> None:
    (folder / "proofs" / "ring.both_ring.smt2").rename(folder / "proofs" / "ring.never_both.smt2")
    assert fits(folder)["never_both"] is Fit.NO_LONGER


@pytest.mark.parametrize("rounds", ["0", "1", "99999999999", "many", "\u0663"])
def test_a_wrong_number_of_rounds_does_not_fit_or_is_refused(folder: Path, rounds: str) -> None:
    path = folder / "proofs" / "ring.rings.smt2"
    path.write_text(re.sub(r"(?m)^; rounds: .*$", f"; rounds: {rounds}", path.read_text()), encoding="utf-8")
    if rounds.isascii():
        assert fits(folder)["rings"] is Fit.NO_LONGER
    else:
        with pytest.raises(
            CallError, match=r"ring\.rings\.smt2 is no certificate of Edgewright: it is not plain ASCII"
        ):
            fits(folder)


def test_givens_that_contradict_each_other_fit_nothing(folder: Path) -> None:
    with pytest.raises(SourceError, match="no run obeys"):
        fits(folder, RING + "    given absurd: low_bell and not low_bell\n")


GARBAGE = ["", "bells", "; Edgewright certificate", "; Edgewright certificate\n; circuit: ring\n; claim: settles\n"]
INVARIANTS = [
    "(and true",
    "(and true (or false |x|)",
    "(and true |x|)",
    "(and true (or false (or false |x|)))",
    "(and true (or false |x|) junk)",
    "(or false |x|)",
    "(and true (or false (not |x|))) (assert false)",
]


@pytest.mark.parametrize(
    "text", GARBAGE + [f"{GARBAGE[3]}(define-fun invariant () Bool {body})" for body in INVARIANTS]
)
def test_garbage_is_refused(text: str) -> None:
    with pytest.raises(CallError):
        read_certificate(text, "proof.smt2")


def test_an_invariant_is_read_as_it_was_written() -> None:
    body = "(and true (or false |a b| (not |c[1]|)) false (or false |(not|))"
    saved = read_certificate(f"{GARBAGE[3]}(define-fun invariant () Bool {body})", "proof.smt2")
    assert saved.clauses == ((("a b", True), ("c[1]", False)), (), (("(not", True),))


def test_file_names_are_safe_and_told_apart() -> None:
    netlist = replace(NetlistBuilder("plain").build(), name="../up")
    design = Design(netlist=netlist, file="f", claims=())
    claims = [Claim(name=name, kind=ClaimKind.MUST, formula=Literal(value=1), text="1") for name in ("a b", "a/b")]
    names = {certificate_name(design, claim) for claim in claims}
    assert len(names) == 2
    assert all(re.fullmatch(r"[A-Za-z0-9_-][A-Za-z0-9_.-]*\.smt2", name) for name in names)


def test_the_command_writes_into_its_folder_and_judges_what_is_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("bells.wiring").write_text(RING)
    assert main(["check", "bells.wiring", "--certificates", "proofs"]) == 0
    assert {path.name for path in tmp_path.iterdir()} == {"bells.wiring", "proofs"}
    assert len(list(Path("proofs").iterdir())) == len(PROOFS)
    assert capsys.readouterr().out.splitlines()[-1] == "6 certificates written to proofs"
    assert main(["recheck", "proofs", "bells.wiring"]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == "6 fits"
    Path("bells.wiring").write_text(RING.replace("flipflop(low_bell)", "flipflop(not low_bell)"))
    assert main(["recheck", "proofs", "bells.wiring", "--json", "-"]) == 1
    entries = json.loads(capsys.readouterr().out)["certificates"]
    assert {entry["claim"]: entry["fit"] for entry in entries}["never_both"] == "no longer fits"
    Path("proofs/stray.smt2").write_text("ding dong")
    assert main(["recheck", "proofs", "bells.wiring"]) == 2
    assert "stray.smt2 is no certificate" in capsys.readouterr().err


def test_files_that_cannot_be_read_are_told_by_name_and_the_others_are_judged(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(folder)
    Path("proofs/ring.settles.smt2").write_bytes(b"\xff\xfe")
    Path("proofs/empty.smt2").touch()
    Path("proofs/folder.smt2").mkdir()
    Path("proofs/gone.smt2").symlink_to("nowhere")
    assert main(["recheck", "proofs", "bells.wiring", "--json", "record.json"]) == 2
    printed = capsys.readouterr()
    told = [
        "proofs/empty.smt2 is no certificate of Edgewright",
        "proofs/folder.smt2 is no regular file",
        "cannot read proofs/gone.smt2: No such file or directory",
        "proofs/ring.settles.smt2 is no certificate of Edgewright: it is not plain ASCII text",
    ]
    assert printed.err.replace("\n  ", " ").splitlines() == [f"edgewright: {line}" for line in told]
    assert printed.out.splitlines()[-1] == "5 fits, 4 errors"
    assert "settles" not in printed.out
    record = json.loads(Path("record.json").read_text())
    assert record["errors"] == told
    assert {entry["claim"] for entry in record["certificates"]} == PROOFS - {"settles"}


def test_a_circuit_with_contradictory_givens_does_not_stop_the_judging_of_the_others(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = folder / "bells.wiring"
    absurd = RING.replace("circuit ring fits", "circuit other fits") + "    given absurd: low_bell and not low_bell\n"
    path.write_text(RING + absurd[absurd.index("circuit other") :])
    (folder / "proofs" / "other.settles.smt2").write_text((folder / "proofs" / "ring.settles.smt2").read_text())
    assert main(["recheck", str(folder / "proofs"), str(path)]) == 2
    printed = capsys.readouterr()
    assert "circuit other: no run obeys the given absurd" in printed.err
    assert printed.out.splitlines()[-1] == "6 fits, 1 error"


def test_a_folder_that_cannot_be_one_is_refused_before_the_work(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = str(folder / "bells.wiring")
    assert main(["check", file, "--certificates", file]) == 2
    assert main(["check", file, "--certificates", str(folder / "no" / "such")]) == 2
    assert main(["recheck", str(folder / "no"), file]) == 2
    other = folder / "other.wiring"
    other.write_text(RING)
    capsys.readouterr()
    assert main(["check", file, str(other), "--certificates", str(folder / "proofs")]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert "would share the certificate ring." in printed.err


def test_a_disagreement_about_one_circuit_is_told_and_the_others_are_judged(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = folder / "bells.wiring"
    path.write_text(RING + RING[RING.index("circuit ring") :].replace("ring", "second", 1))
    judge_of = certificates.Judge

    def disagreeing(design: Design, **rest: object) -> object:
        if design.name == "ring":
            raise InternalDisagreement("two ways of judging differ")
        return judge_of(design, **rest)  # type: ignore[arg-type]

    monkeypatch.setattr(certificates, "Judge", disagreeing)
    assert main(["recheck", str(folder / "proofs"), str(path)]) == 4
    told = capsys.readouterr()
    assert "two ways of judging differ" in told.err
    assert "missing" in told.out
    assert "second" in told.out


def test_a_disagreement_while_comparing_is_not_hidden(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "bells.wiring"
    path.write_text(RING + RING[RING.index("circuit ring") :].replace("ring", "second", 1))

    def disagreeing(*_: object, **__: object) -> None:
        raise InternalDisagreement("two ways of judging differ")

    monkeypatch.setattr(equality, "check_design", disagreeing)
    assert main(["equal", str(path), "ring", "second"]) == 4
    assert "two ways of judging differ" in capsys.readouterr().err


def test_a_named_circuit_is_rechecked_alone_and_missing_is_explained(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = folder / "bells.wiring"
    path.write_text(RING + RING[RING.index("circuit ring") :].replace("ring", "second", 1))
    call = ["recheck", str(folder / "proofs"), str(path)]
    explained = "missing: the folder has no certificate for a claim that should be proved\n"
    assert main(call) == 1
    assert explained in capsys.readouterr().out
    assert main([*call, "--circuit", "ring"]) == 0
    told = capsys.readouterr().out
    assert "second" not in told
    assert "missing" not in told
    assert main([*call, "--circuit", "second"]) == 1
    told = capsys.readouterr().out
    assert told.startswith("second\n")
    assert "\nring\n" not in told
    assert "no longer" not in told
    assert main([*call, "--circuit", "second", "--circuit", "ring"]) == 1
    capsys.readouterr()
    assert main([*call, "--circuit", "rnig"]) == 2
    assert "did you mean ring?" in capsys.readouterr().err


def test_a_proof_without_a_claim_is_told_for_its_circuit_alone(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = RING.replace("must rings:", "must sounds:")
    path = folder / "bells.wiring"
    path.write_text(text + text[text.index("circuit ring") :].replace("ring", "second", 1))
    call = ["recheck", str(folder / "proofs"), str(path)]
    assert main([*call, "--circuit", "ring"]) == 1
    assert "there is no such claim any more" in capsys.readouterr().out
    assert main([*call, "--circuit", "second"]) == 1
    assert "there is no such claim any more" not in capsys.readouterr().out
