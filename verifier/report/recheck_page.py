"""The page and the record of `recheck`: how each saved proof stands to the present circuits."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from verifier.errors import EdgewrightError
from verifier.evidence.verdict import Fit, Rechecked
from verifier.report.pieces import Line, Piece, Tone, clean, line, paragraph
from verifier.report.records import Record

TONES = {Fit.FITS: Tone.GOOD, Fit.NO_LONGER: Tone.BAD, Fit.MISSING: Tone.BAD, Fit.OPEN: Tone.DOUBTFUL}
MISSING_TOLD = "missing: the folder has no certificate for a claim that should be proved"
FIT_WIDTH = max(len(fit.value) for fit in Fit)


def saved_line(count: int, folder: str) -> Line:
    return line(f"{count} certificate{'' if count == 1 else 's'} written to {clean(folder)}")


def recheck_lines(found: Sequence[Rechecked], *, troubles: int = 0, width: int) -> list[Line]:
    """One line a claim, circuit by circuit, and the sums; `troubles` errors have said what could not be judged."""
    lines: list[Line] = []
    circuit = None
    for entry in found:
        if entry.circuit != circuit:
            circuit = entry.circuit
            lines += (
                [line(), line(Piece(clean(circuit), Tone.HEADING))]
                if lines
                else [line(Piece(clean(circuit), Tone.HEADING))]
            )
        lines.append(line("  ", Piece(entry.fit.value.ljust(FIT_WIDTH), TONES[entry.fit]), "  ", clean(entry.claim)))
        if entry.why:
            margin = " " * (4 + FIT_WIDTH)
            lines += paragraph(clean(entry.why), width=width, first=margin, then=margin, tone=Tone.QUIET)
    counts = Counter(entry.fit for entry in found)
    counted = ", ".join(f"{counts[fit]} {fit.value}" for fit in Fit if counts[fit])
    if troubles:
        errors = f"{troubles} error{'' if troubles == 1 else 's'}"
        counted = f"{counted}, {errors}" if counted else errors
    lines += [line(), line(counted or "no certificates and no claims that need one")]
    return [*lines, *paragraph(MISSING_TOLD, width=width, tone=Tone.QUIET)] if counts[Fit.MISSING] else lines


def recheck_record(version: str, found: Sequence[Rechecked], troubles: Sequence[EdgewrightError] = ()) -> Record:
    """`errors` is there only when something could not be judged."""
    record: Record = {
        "edgewright": version,
        "certificates": [
            {
                "circuit": entry.circuit,
                "claim": entry.claim,
                "certificate": entry.file,
                "fit": entry.fit.value,
                "why": entry.why,
            }
            for entry in found
        ],
    }
    if troubles:
        record["errors"] = [str(error) for error in troubles]
    return record
