"""Proofs that can be carried away: one file for each, and judging saved ones against the present circuit.

A saved proof is not believed. Its invariant is read, matched by the names of registers to the system that the present
circuit and claim give, and a fresh solver judges it there. That takes three checks, not a search.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Callable, Iterable
from pathlib import Path

from verifier.claims.asked_number import asked_bound
from verifier.claims.claim import Claim, Design, View, WiringFile
from verifier.claims.support import restricts
from verifier.errors import CallError, EdgewrightError, InternalDisagreement, SourceError
from verifier.evidence.certificate import certificate_text, failed_check
from verifier.evidence.certificate_reading import TITLE, SavedCertificate, body_of, matched_invariant, read_certificate
from verifier.evidence.replay import Unconfirmed
from verifier.evidence.verdict import ClaimResult, DesignResult, Fit, Rechecked, Verdict
from verifier.logic.transition_system import TransitionSystem
from verifier.report.pieces import clean
from verifier.report.records import safe_name, write_whole
from verifier.views.any_delay import untimed_system
from verifier.views.delayed import DelayedModel
from verifier.views.settled import SettledModel
from verifier.workbench.counted_rounds import Rounds, certified_system, counted_rounds
from verifier.workbench.judge import Judge
from verifier.workbench.selection import Names, of_circuits

SUFFIX = ".smt2"


def certificate_name(design: Design, claim: Claim) -> str:
    """The file of the certificate."""
    return safe_name(f"{design.name}.{claim.name}") + SUFFIX


def made_ready(folder: Path, designs: Iterable[Design]) -> Path:
    """The folder, created if it was missing. Raises CallError when certificates cannot be kept apart or written."""
    counted = Counter(certificate_name(design, claim) for design in designs for claim in design.claims)
    twice = next((name for name, count in counted.items() if count > 1), None)
    if twice is not None:
        raise CallError(
            f"two claims would share the certificate {twice}", "write the certificates of each file into its own folder"
        )
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise CallError(f"cannot write certificates into {folder}: {error.strerror or error}") from error
    return folder


def write_certificates(folder: Path, results: Iterable[DesignResult]) -> list[Path]:
    """One file for each proof among the results. Each is written whole or not at all. Raises OSError."""
    written = []
    for result in results:
        for claim in result.claims:
            if claim.invariant is not None and claim.certified is not None and claim.measured is None:
                written.append(folder / certificate_name(result.design, claim.claim))
                header = certificate_header(result, claim, claim.certified)
                write_whole(written[-1], certificate_text(claim.certified, claim.invariant, header))
    return written


def certificate_header(result: DesignResult, judged: ClaimResult, system: TransitionSystem) -> list[str]:
    """What a certificate says of itself, one line each."""
    design, claim = result.design, judged.claim
    rounds = counted_rounds(system)
    return [
        TITLE,
        f"circuit: {design.name}",
        f"claim: {claim.name}",
        f"kind: {claim.kind.value}",
        f"view: {claim.view.value}",
        f"says: {claim.text}",
        f"verdict: {judged.verdict.value}",
        f"file: {design.file}",
        f"engine: {judged.engine}",
        *([f"rounds: {rounds.number}", f"counter: {rounds.counter}"] if rounds else []),
        *(f"assumes: {sentence}" for sentence in result.assumes),
    ]


def rounds_said(saved: SavedCertificate) -> Rounds | None:
    """What a certificate about endless runs says it counts to."""
    number = saved.fields.get("rounds", "")
    if not (number.isascii() and number.isdigit() and len(number) <= 10):
        return None
    return Rounds(int(number), saved.fields.get("counter", ""))


OnTrouble = Callable[[EdgewrightError], None]
"""Told what could not be judged, and why."""


def raised(error: EdgewrightError) -> None:
    """Nobody wants to be told: the first trouble ends the judging."""
    raise error


def recheck_saved(
    folder: Path,
    wiring_file: WiringFile,
    *,
    circuit: Names = None,
    limit: float = 10.0,
    on_trouble: OnTrouble = raised,
) -> tuple[Rechecked, ...]:
    """How every certificate in the folder, and every claim without one, stands to the present circuits.

    With `circuit`, only those of these circuits. `limit` is in seconds, for each check of each certificate. With
    `on_trouble`, a certificate that cannot be read and a circuit about which nothing can be judged, or about which two
    ways of judging differ, are told there and left out of the result, and the rest is judged.

    Raises:
        CallError: there is no such folder or circuit, or (without `on_trouble`) a certificate in it cannot be read.
        SourceError: without `on_trouble`, a circuit has no power-up state, or its givens contradict each other.
        InternalDisagreement: without `on_trouble`, two independent ways of judging differ.
    """
    designs = of_circuits(wiring_file, circuit)
    wanted = None if circuit is None else {design.name for design in designs}
    paths = _certificates_in(folder)
    saved: dict[str, SavedCertificate] = {}
    for path in paths:
        try:
            saved[path.name] = _read(path)
        except CallError as error:
            on_trouble(error)
    unreadable = {path.name for path in paths} - saved.keys()
    found: list[Rechecked] = []
    claimed: set[str] = set()
    for design in designs:
        claimed.update(certificate_name(design, claim) for claim in design.claims)
        try:
            found += [entry for entry in _of_design(design, saved, limit) if entry.file not in unreadable]
        except (SourceError, InternalDisagreement) as error:
            on_trouble(error)
    strays = [
        (name, certificate)
        for name, certificate in saved.items()
        if name not in claimed and (wanted is None or certificate.fields["circuit"] in wanted)
    ]
    return (*found, *(_of_nobody(name, certificate) for name, certificate in strays))


def _certificates_in(folder: Path) -> list[Path]:
    if not folder.is_dir():
        raise CallError(f"there is no folder {folder}")
    try:
        return sorted(folder.glob(f"*{SUFFIX}"))
    except OSError as error:
        raise CallError(f"cannot read the folder {folder}: {error.strerror or error}") from error


def _read(path: Path) -> SavedCertificate:
    """Raises CallError, with the name of the file in it."""
    if path.exists() and not path.is_file():
        raise CallError(f"{clean(str(path))} is no regular file")
    try:
        text = path.read_text(encoding="ascii")
    except OSError as error:
        raise CallError(f"cannot read {clean(str(path))}: {error.strerror or error}") from error
    except ValueError as error:
        raise CallError(f"{clean(str(path))} is no certificate of Edgewright: it is not plain ASCII text") from error
    return read_certificate(text, clean(str(path)))


def _of_nobody(name: str, certificate: SavedCertificate) -> Rechecked:
    return Rechecked(
        circuit=certificate.fields["circuit"],
        claim=certificate.fields["claim"],
        file=name,
        fit=Fit.NO_LONGER,
        why="there is no such claim any more",
    )


def _of_design(design: Design, saved: dict[str, SavedCertificate], limit: float) -> list[Rechecked]:
    found: list[Rechecked] = []
    names = {claim.name: certificate_name(design, claim) for claim in design.claims}
    if any(name in saved for name in names.values()):
        Judge(design, limit_seconds=limit, depth=None)  # refuses a circuit under whose givens everything is proved
    for claim in design.claims:
        name = names[claim.name]
        certificate = saved.get(name)
        if certificate is not None:
            fit, why = _fit(design, claim, certificate, limit)
            found.append(Rechecked(circuit=design.name, claim=claim.name, file=name, fit=fit, why=why))
        elif _proof_expected(claim):
            found.append(Rechecked(circuit=design.name, claim=claim.name, file=name, fit=Fit.MISSING))
    return found


def question(design: Design, claim: Claim) -> TransitionSystem:
    """What is asked about the circuit, its registers named as they always are for this claim. Not for timed claims."""
    givens = tuple(given for given in design.givens if restricts(given, claim.view))
    design = dataclasses.replace(design, givens=givens)
    if claim.view is View.SETTLED:
        return SettledModel(design).system(claim)
    return untimed_system(DelayedModel(design, timed=False).system(claim)).system.cone_of_influence()


def _proof_expected(claim: Claim) -> bool:
    """Proofs by looking at every state, and those of measured numbers, are not carried away."""
    if claim.view is View.TIMED or asked_bound(claim.formula) is not None:
        return False
    expected = ClaimResult(claim=claim, verdict=Verdict.UNDECIDED, engine="", seconds=0.0).expected
    return expected in (Verdict.PROVED, Verdict.IMPOSSIBLE)


def _fit(design: Design, claim: Claim, saved: SavedCertificate, limit: float) -> tuple[Fit, str]:
    """A model of its own for each claim gives its registers the names they had when the proof was found."""
    named = (saved.fields["circuit"], saved.fields["claim"])
    if named != (design.name, claim.name):
        return Fit.NO_LONGER, f"the file is about the claim {named[1]} of {named[0]}"
    system = certified_system(question(design, claim), rounds_said(saved))
    if system is None:
        return Fit.NO_LONGER, "the claim asks another kind of question now"
    invariant = matched_invariant(saved, system)
    if isinstance(invariant, str):
        return Fit.NO_LONGER, f"its invariant speaks of `{invariant}`, which the circuit does not have"
    try:
        failed = failed_check(system, invariant, limit)
    except Unconfirmed as unconfirmed:
        return Fit.OPEN, str(unconfirmed)
    if failed is not None:
        return Fit.NO_LONGER, f"its invariant no longer proves the claim: the check {failed}"
    if body_of(certificate_text(system, invariant)) != saved.body:
        return Fit.FITS, "the proof carries over, but the file describes an earlier circuit; write it anew"
    return Fit.FITS, ""
