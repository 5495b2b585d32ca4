"""The page that `compare` prints: circuits down, claims across, a verdict in each cell; then what each is made of.

When the claims' names do not fit beside each other, the columns are numbered and a legend below says which is which.
"""

from __future__ import annotations

from collections.abc import Sequence

from verifier.circuit.measures import measures
from verifier.claims.claim import Claim, Design, View
from verifier.evidence.verdict import ClaimResult, DesignResult
from verifier.report.measured import tightest_in_short
from verifier.report.parts_table import parts_lines
from verifier.report.pieces import Line, Piece, Tone, clean, line, listing, paragraph
from verifier.report.progress import LiveLine
from verifier.report.told_run import in_view
from verifier.report.verdicts import TONES, footer_lines, summary_lines
from verifier.report.writer import Writer

GAP = "  "
NO_SUCH_CLAIM = "-"
SURPRISE = "!"
EMPTY = "*"


class MatrixPage:
    """Prints nothing while the judging goes on (beside the live line), then everything at once."""

    def __init__(self, writer: Writer, live: LiveLine) -> None:
        self._writer = writer
        self._live = live

    def starts(self, design: Design, claim: Claim) -> None:
        self._live.now(f"{design.name}: {claim.name}")

    def searched(self, instants: int) -> None:
        self._live.how_far(f"no answer in the first {instants} instants")

    def judged(self, design: Design, result: ClaimResult) -> None:
        """Nothing to show yet."""

    def finish(self, results: Sequence[DesignResult], refused: Sequence[Design] = ()) -> None:
        self._live.now("")
        width = self._writer.width
        parts = [(result.design.name, measures(result.design.netlist)) for result in results]
        page = [*matrix_lines(results, width=width), line(), *summary_lines(results, refused, width=width), line()]
        page += [*parts_lines(parts, width=width), line()] if parts else []
        with self._live.out_of_the_way():
            self._writer.write([*page, *footer_lines(results, width=width)])


def matrix_lines(results: Sequence[DesignResult], *, width: int = 80) -> list[Line]:
    """The whole matrix with its legend; wider ones go into several blocks of columns."""
    names = list(dict.fromkeys(claim.claim.name for result in results for claim in result.claims))
    cells = [_cells(result, names) for result in results]
    circuit_width = max(len("circuit"), *(len(clean(result.design.name)) for result in results))
    headings, numbered = _headings(names, cells, width - circuit_width)
    column_widths = [
        max(len(heading), *(len(row[index].text) for row in cells)) for index, heading in enumerate(headings)
    ]
    lines: list[Line] = []
    for block in _blocks(column_widths, width - circuit_width):
        lines += [line()] if lines else []
        lines.append(
            _row("circuit", [Piece(headings[i], Tone.HEADING) for i in block], column_widths, block, circuit_width)
        )
        for result, row in zip(results, cells, strict=True):
            lines.append(_row(clean(result.design.name), [row[i] for i in block], column_widths, block, circuit_width))
    return lines + _legend(results, names if numbered else [], width)


def _cells(result: DesignResult, names: Sequence[str]) -> list[Piece]:
    by_name = {claim.claim.name: claim for claim in result.claims}
    return [_cell(by_name[name]) if name in by_name else Piece(NO_SUCH_CLAIM, Tone.QUIET) for name in names]


def _cell(result: ClaimResult) -> Piece:
    marks = (EMPTY if result.empty else "") + ("" if result.as_expected else SURPRISE)
    number = "" if result.measured is None else f" {tightest_in_short(result.measured, result.claim)}"
    return Piece(result.verdict.value + number + marks, TONES[result.verdict])


def _headings(names: Sequence[str], cells: Sequence[Sequence[Piece]], room: int) -> tuple[list[str], bool]:
    """The names themselves where all of them fit, else numbers."""
    full = [clean(name) for name in names]
    widths = [max(len(heading), *(len(row[index].text) for row in cells)) for index, heading in enumerate(full)]
    if sum(width + len(GAP) for width in widths) <= room:
        return full, False
    return [str(index + 1) for index in range(len(names))], True


def _blocks(column_widths: Sequence[int], room: int) -> list[list[int]]:
    blocks: list[list[int]] = [[]]
    left = room
    for index, width in enumerate(column_widths):
        if blocks[-1] and width + len(GAP) > left:
            blocks.append([])
            left = room
        blocks[-1].append(index)
        left -= width + len(GAP)
    return blocks


def _row(
    name: str, cells: Sequence[Piece], column_widths: Sequence[int], block: Sequence[int], circuit_width: int
) -> Line:
    padded = [Piece(cell.text.ljust(column_widths[i]), cell.tone) for cell, i in zip(cells, block, strict=True)]
    return line(name.ljust(circuit_width), *(part for cell in padded for part in (GAP, cell)))


def _legend(results: Sequence[DesignResult], numbered: Sequence[str], width: int) -> list[Line]:
    """What the numbers stand for, which claims are of which view, and what the marks mean."""
    claims = {claim.claim.name: claim.claim for result in results for claim in result.claims}
    parts = [
        [row for index, name in enumerate(numbered) for row in _numbered(index, claims[name], width)],
        [] if numbered else _views(list(claims.values()), width),
        _marks([claim for result in results for claim in result.claims]),
    ]
    return [row for part in parts if part for row in (line(), *part)]


def _numbered(index: int, claim: Claim, width: int) -> list[Line]:
    named = claim.name + in_view(claim.view)
    text = named if claim.text == claim.name else f"{named}: {claim.text}"
    return paragraph(clean(text), width=width, first=f"{index + 1:>3}  ", then=" " * 9)


def _views(claims: Sequence[Claim], width: int) -> list[Line]:
    lines: list[Line] = []
    for view in (View.ANY_DELAY, View.TIMED):
        names = [clean(claim.name) for claim in claims if claim.view is view]
        if names:
            lines += paragraph(f"{in_view(view).strip()}: {listing(names)}", width=width, first="  ", then="    ")
    return lines


def _marks(claims: Sequence[ClaimResult]) -> list[Line]:
    notes = []
    if any(not claim.as_expected for claim in claims):
        notes.append(line(f"  {SURPRISE}  not what the file expects"))
    if any(claim.empty for claim in claims):
        notes.append(line(f"  {EMPTY}  proved only because its trigger can never happen"))
    return notes
