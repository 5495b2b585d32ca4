"""What the command prints when a board disagreed: the faults that explain it, and what to do next."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from verifier.evidence.checklist import Flip
from verifier.evidence.diagnosis import Diagnosis, Reading, Test
from verifier.report.checklist_words import counted, digits, net_name
from verifier.report.pieces import Line, Piece, Tone, clean, line, listing, paragraph
from verifier.report.verdicts import circuit_heading

SUSPECTS_SHOWN = 40
READINGS_SHOWN = 8
NO_SINGLE_FAULT = (
    "Look at the readings and at the position of the switches again, and at the supply and the ground of every package."
    " If they are right, there is more than one fault, or one of a kind that is not tried, or what was built is not"
    " what the file says."
)


def diagnosis_lines(diagnosis: Diagnosis, *, width: int) -> list[Line]:
    lines = [circuit_heading(diagnosis.checklist.design), line()]
    if diagnosis.sound:
        text = "A board without a fault may read like this, so nothing is wrong yet."
        lines += paragraph(text, width=width, first="  ", then="  ", tone=Tone.GOOD)
    lines += paragraph(_headline(diagnosis), width=width, first="  ", then="  ", tone=Tone.HEADING)
    if not diagnosis.suspects:
        lines += paragraph(NO_SINGLE_FAULT, width=width, first="  ", then="  ")
    lines += _suspects(diagnosis, width)
    lines += _not_followed(diagnosis, width)
    return lines + _next(diagnosis, width)


def _headline(diagnosis: Diagnosis) -> str:
    until = f"up to step {diagnosis.last_row}"
    if diagnosis.further_steps:
        until += f" and in the {counted(diagnosis.further_steps, 'step')} after it"
    faults = len(diagnosis.suspects)
    tried = f"{diagnosis.faults_tried} single faults ({diagnosis.technology.value.upper()} parts)"
    verb = "explains" if faults == 1 else "explain"
    return f"{faults or 'None'} of {tried} {verb} every reading {until}{':' if faults else '.'}"


def _suspects(diagnosis: Diagnosis, width: int) -> list[Line]:
    lines: list[Line] = []
    numbered = list(enumerate(diagnosis.suspects[:SUSPECTS_SHOWN], 1))
    for kind, members in groupby(numbered, key=lambda pair: pair[1].fault.kind):
        lines += [line(), line(Piece(f"  {kind.value}", Tone.HEADING))]
        for number, suspect in members:
            like = "" if suspect.like is None else f" (reads like {suspect.like + 1})"
            lines += paragraph(
                f"{clean(suspect.fault.name)}{like}", width=width, first=f"  {number:>4}  ", then="        "
            )
    hidden = len(diagnosis.suspects) - len(numbered)
    if hidden:
        lines.append(line(f"        and {hidden} more"))
    return lines


def _not_followed(diagnosis: Diagnosis, width: int) -> list[Line]:
    if not diagnosis.not_followed:
        return []
    names = [clean(fault.name) for fault in diagnosis.not_followed]
    text = f"Not ruled out, since there was too much to follow: {'; '.join(names)}"
    return [line(), *paragraph(text, width=width, first="  ", then="  ", tone=Tone.DOUBTFUL)]


def _next(diagnosis: Diagnosis, width: int) -> list[Line]:
    if len(diagnosis.suspects) == 1:
        text = "Mend that, then begin the list anew: behind one fault there may be another."
        return [line(), *paragraph(text, width=width, first="  ", then="  ")]
    if not diagnosis.suspects:
        return []
    tests = [test for test in (diagnosis.probe, diagnosis.flips) if test is not None]
    if not tests:
        text = "Nothing that can be read at a named net, and no few flips, tell these apart for certain."
        return [line(), *paragraph(text, width=width, first="  ", then="  ")]
    lines = [line(), line(Piece("  What tells them apart", Tone.HEADING), " (the numbers are those above)")]
    for test in sorted(tests, key=lambda test: test.worst):
        lines += _test(diagnosis, test, width)
    lines += [line(), line("  Go on by adding what came of it:"), line(f"    {_then(diagnosis, tests[0])}")]
    return lines


def _test(diagnosis: Diagnosis, test: Test, width: int) -> list[Line]:
    lines = [line(), *paragraph(f"{_deed(diagnosis, test)}:", width=width, first="  ", then="    ")]
    kept = [column for column in diagnosis.checklist.read if set(column.nets) <= set(test.nets)]
    for read, left in list(test.left.items())[:READINGS_SHOWN]:
        if test.flips:
            levels = dict(zip(test.nets, read, strict=True))
            shown = [f"{clean(column.name)} {_level(tuple(levels[net] for net in column.nets))}" for column in kept]
        else:
            shown = [_level(read)]
        numbers = listing(_ranges(left))
        lines += paragraph(f"{', '.join(shown)}: {numbers}", width=width, first="    ", then="      ")
    hidden = len(test.left) - READINGS_SHOWN
    return [*lines, line(f"    and {hidden} other readings")] if hidden > 0 else lines


def _deed(diagnosis: Diagnosis, test: Test) -> str:
    if not test.flips:
        return f"Probe {clean(test.probed)} with a meter, nothing flipped"
    flips = [_flip(diagnosis, flip) for flip in test.flips]
    return f"{listing(flips).capitalize() if len(flips) == 1 else 'One after the other, ' + listing(flips)}, then read"


def _flip(diagnosis: Diagnosis, flip: Flip) -> str:
    return f"flip {net_name(diagnosis.checklist.design, flip.net)} {'up' if flip.up else 'down'}"


def _level(read: Reading) -> str:
    if len(read) > 1:
        return digits(read)
    return {None: "no level", False: "low", True: "high"}[read[0]]


def _ranges(positions: Sequence[int]) -> list[str]:
    """The numbers of the suspects, `1`, `3 to 7`; positions are in ascending order."""
    runs: list[list[int]] = []
    for position in positions:
        if runs and runs[-1][-1] == position - 1:
            runs[-1].append(position)
        else:
            runs.append([position])
    return [
        f"{run[0] + 1} to {run[-1] + 1}" if len(run) > 2 else ", ".join(str(position + 1) for position in run)
        for run in runs
    ]


def _then(diagnosis: Diagnosis, test: Test) -> str:
    if not test.flips:
        return f'--then "probe {clean(test.probed)}: high"'
    column = diagnosis.checklist.read[0]
    read = "high" if len(column.nets) == 1 else "1" * len(column.nets)
    return f'--then "{_flip(diagnosis, test.flips[0])}: {clean(column.name)} {read}"'
