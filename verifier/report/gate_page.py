"""The page of `gate`: one line a file as it is done, then what is not as expected, what changed, and the sums."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from verifier.evidence.gate_outcome import (
    Change,
    ChangeKind,
    ClaimOutcome,
    FileOutcome,
    GateResult,
    How,
    TroubleKind,
)
from verifier.evidence.verdict import Verdict
from verifier.report.pieces import Line, Piece, Tone, clean, line, paragraph
from verifier.report.verdicts import CAUTION, TONES

STATE_WIDTH = len("NOT AS EXPECTED")
KIND_WIDTH = max(len(kind.value) for kind in ChangeKind)
CHANGE_TONES = {
    ChangeKind.NEWLY_BROKEN: Tone.BAD,
    ChangeKind.DISAPPEARED: Tone.BAD,
    ChangeKind.WEAKENED: Tone.BAD,
    ChangeKind.UNDECIDED: Tone.DOUBTFUL,
    ChangeKind.REWORDED: Tone.DOUBTFUL,
    ChangeKind.NEWLY_PROVED: Tone.GOOD,
    ChangeKind.STRENGTHENED: Tone.GOOD,
    ChangeKind.APPEARED: Tone.PLAIN,
}


def file_line(file: FileOutcome) -> Line:
    """How one file stands."""
    if not file.circuits and not file.troubles:
        return line(Piece("no circuit".ljust(STATE_WIDTH), Tone.QUIET), "  ", clean(file.path))
    state, tone = _state(file)
    count = len(file.claims)
    told = f"  {count} claim{'' if count == 1 else 's'}{_how(file.claims)}" if file.circuits else ""
    return line(Piece(state.ljust(STATE_WIDTH), tone), "  ", clean(file.path), Piece(told, Tone.QUIET))


def _state(file: FileOutcome) -> tuple[str, Tone]:
    kinds = {trouble.kind for trouble in file.troubles}
    if kinds & {TroubleKind.DISAGREEMENT, TroubleKind.FAILURE}:
        return "INTERNAL ERROR", Tone.BAD
    if TroubleKind.INPUT in kinds:
        return "WRONG", Tone.BAD
    if any(claim.is_surprise for claim in file.claims):
        return "NOT AS EXPECTED", Tone.BAD
    if kinds or any(claim.is_open for claim in file.claims):
        return "undecided", Tone.DOUBTFUL
    return "as expected", Tone.GOOD


def _how(claims: Iterable[ClaimOutcome]) -> str:
    """How many verdicts the record helped to; nothing where it helped to none."""
    counts = Counter(claim.how for claim in claims)
    told = [f"{counts[how]} {how.value}" for how in (How.REJUDGED, How.TRUSTED) if counts[how]]
    return f" ({', '.join(told)})" if told else ""


def gate_lines(result: GateResult, *, runs: bool, width: int) -> list[Line]:
    """Everything that comes after the lines of the files."""
    lines: list[Line] = []
    for notice in result.notices:
        lines += paragraph(f"note: {clean(notice)}", width=width, then="  ", tone=Tone.DOUBTFUL)
    for file in result.files:
        for trouble in file.troubles:
            if trouble.kind is TroubleKind.LOST:
                lines += paragraph(f"{clean(file.path)}: {clean(trouble.text)}", width=width, tone=Tone.DOUBTFUL)
    lines += _claims_told(result, runs=runs, width=width)
    lines += _changes_told(result, width=width)
    sums = paragraph(_sums(result), width=width)
    return [*lines, line(), *sums, _verdict_line(result), line(), *paragraph(CAUTION, width=width)]


def _claims_told(result: GateResult, *, runs: bool, width: int) -> list[Line]:
    """The claims that are not as expected or undecided, circuit by circuit, with their runs below."""
    lines: list[Line] = []
    tables: list[Line] = []
    newly_broken = {(c.file, c.circuit, c.claim) for c in result.changes if c.kind is ChangeKind.NEWLY_BROKEN}
    for file in result.files:
        for circuit in file.circuits:
            told = [claim for claim in circuit.claims if claim.is_surprise or claim.is_open]
            if told:
                lines += [line(), line(Piece(clean(circuit.name), Tone.HEADING), f"  ({clean(file.path)})")]
            for claim in told:
                lines += _claim_lines(claim, width=width)
            for claim in circuit.claims:
                is_new = (file.path, circuit.name, claim.recorded.claim) in newly_broken
                if runs and claim.tells and (claim.is_surprise or is_new):
                    tables += [line(), *(line(text) for text in claim.tells.splitlines())]
    return [*lines, *tables]


def _claim_lines(claim: ClaimOutcome, *, width: int) -> list[Line]:
    verdict = Piece(claim.verdict.value.ljust(max(len(one.value) for one in Verdict)), TONES[claim.verdict])
    end = Piece(f"  NOT AS EXPECTED: should be {claim.expected.value}", Tone.BAD) if claim.is_surprise else ""
    where = f" at line {claim.span.line}" if claim.span is not None else ""
    lines = [line("  ", verdict, "  ", clean(claim.recorded.claim), Piece(where, Tone.QUIET), end)]
    if claim.reason:
        lines += paragraph(clean(claim.reason), width=width, first=" " * 15, then=" " * 15, tone=Tone.QUIET)
    return lines


def _changes_told(result: GateResult, *, width: int) -> list[Line]:
    if result.against is None or result.interrupted:
        return []
    heading = line(Piece(f"Against {clean(result.against)}:", Tone.HEADING), "" if result.changes else " no change")
    lines = [line(), heading]
    for change in result.changes:
        kind = Piece(change.kind.value.ljust(KIND_WIDTH), CHANGE_TONES[change.kind])
        fails = Piece("  FAILS", Tone.BAD) if change.kind in result.fail_on else ""
        lines.append(line("  ", kind, "  ", clean(name_of(change)), fails))
        margin = " " * (KIND_WIDTH + 4)
        for why in change.why:
            lines += paragraph(clean(why), width=width, first=margin, then=margin + "  ", tone=Tone.QUIET)
    return lines


def name_of(change: Change) -> str:
    """The claim or circuit that a change is about."""
    return f"{change.circuit}: {change.claim}" if change.claim else f"the circuit {change.circuit}"


def _sums(result: GateResult) -> str:
    counts = Counter(claim.verdict for claim in result.claims)
    counted = ", ".join(f"{counts[verdict]} {verdict.value}" for verdict in Verdict if counts[verdict])
    count = len(result.files)
    files = f"{count} file{'' if count == 1 else 's'}"
    return f"{files}: {counted or 'nothing judged'}{_how(result.claims)}"


def _verdict_line(result: GateResult) -> Line:
    words = why_not_passed(result)
    if result.interrupted:
        return line(Piece("interrupted: not every file was judged", Tone.DOUBTFUL))
    if words:
        return line(Piece(f"NOT PASSED: {words}", Tone.BAD))
    return line(Piece("passed: all as expected", Tone.GOOD))


def why_not_passed(result: GateResult) -> str:
    """What keeps the gate shut, in one phrase; nothing when it is open."""
    surprises = sum(claim.is_surprise for claim in result.claims)
    lost = sum(trouble.kind is TroubleKind.LOST for trouble in result.troubles)
    undecided = sum(claim.is_open for claim in result.claims)
    wrong = len(result.troubles) - lost
    failing = Counter(change.kind for change in result.failing)
    reasons = [
        f"{wrong} error{'' if wrong == 1 else 's'}" if wrong else "",
        f"{surprises} not as expected" if surprises else "",
        *(f"{failing[kind]} {kind.value}" for kind in ChangeKind if failing[kind]),
        f"{undecided} without an answer" if undecided else "",
        f"{lost} file{'' if lost == 1 else 's'} without an answer" if lost else "",
    ]
    return ", ".join(reason for reason in reasons if reason)
