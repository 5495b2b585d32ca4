"""The page that `compare` prints: circuits down, claims across, a verdict in each cell; then what each is made of.

When the claims' names do not fit beside each other, or one name stands for different claims, the columns are numbered
and a legend below says which is which.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from verifier.circuit.measures import measures
from verifier.claims.claim import Claim, ClaimKind, Design, View
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

    def finish(
        self, results: Sequence[DesignResult], refused: Sequence[Design] = (), unclaimed: Sequence[str] = ()
    ) -> None:
        self._live.now("")
        width = self._writer.width
        parts = [(result.design.name, measures(result.design.netlist)) for result in results]
        page = [
            *matrix_lines(results, width=width),
            line(),
            *summary_lines(results, refused, unclaimed, width=width),
            line(),
        ]
        page += [*parts_lines(parts, width=width), line()] if parts else []
        with self._live.out_of_the_way():
            self._writer.write([*page, *footer_lines(results, width=width)])


def matrix_lines(results: Sequence[DesignResult], *, width: int = 80) -> list[Line]:
    """The whole matrix with its legend; wider ones go into several blocks of columns."""
    claims = _claims(results)
    cells = [_cells(result, claims) for result in results]
    circuit_width = max(len("circuit"), *(len(clean(result.design.name)) for result in results))
    headings, numbered = _headings(list(claims.values()), cells, width - circuit_width)
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
    return lines + _legend(results, list(claims.values()), numbered, width)


ClaimKey = tuple[str, View, ClaimKind, str]
"""What is asked and how it is called; claims that differ only in what is expected share a column."""


def _key(claim: Claim) -> ClaimKey:
    return claim.name, claim.view, claim.kind, claim.text


def _claims(results: Sequence[DesignResult]) -> dict[ClaimKey, Claim]:
    """One for each column. Different claims of one name stand beside each other."""
    columns: dict[str, dict[ClaimKey, Claim]] = {}
    for result in results:
        for judged in result.claims:
            columns.setdefault(judged.claim.name, {}).setdefault(_key(judged.claim), judged.claim)
    return {key: claim for of_name in columns.values() for key, claim in of_name.items()}


def _cells(result: DesignResult, claims: Iterable[ClaimKey]) -> list[Piece]:
    known = {_key(judged.claim): judged for judged in result.claims}
    return [_cell(known[key]) if key in known else Piece(NO_SUCH_CLAIM, Tone.QUIET) for key in claims]


def _cell(result: ClaimResult) -> Piece:
    marks = (EMPTY if result.empty else "") + ("" if result.as_expected else SURPRISE)
    number = "" if result.measured is None else f" {tightest_in_short(result.measured, result.claim)}"
    return Piece(result.verdict.value + number + marks, TONES[result.verdict])


def _headings(claims: Sequence[Claim], cells: Sequence[Sequence[Piece]], room: int) -> tuple[list[str], bool]:
    """The names themselves where all of them fit and none stands for two claims, else numbers."""
    full = [clean(claim.name) for claim in claims]
    widths = [max(len(heading), *(len(row[index].text) for row in cells)) for index, heading in enumerate(full)]
    if sum(width + len(GAP) for width in widths) <= room and len(set(full)) == len(full):
        return full, False
    return [str(index + 1) for index in range(len(full))], True


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


def _legend(results: Sequence[DesignResult], claims: Sequence[Claim], numbered: bool, width: int) -> list[Line]:
    """What the numbers stand for, which claims are of which view, and what the marks mean."""
    parts = [
        _numbered(claims, width) if numbered else _views(claims, width),
        _marks([claim for result in results for claim in result.claims]),
    ]
    return [row for part in parts if part for row in (line(), *part)]


def _numbered(claims: Sequence[Claim], width: int) -> list[Line]:
    """A claim for each number; `must` or `can` is said where nothing else tells two of them apart."""
    told = [claim.name + in_view(claim.view) + _says(claim) for claim in claims]
    count = Counter(told)
    lines: list[Line] = []
    for number, (claim, text) in enumerate(zip(claims, told, strict=True), 1):
        whole = f"{claim.kind.value} {text}" if count[text] > 1 else text
        lines += paragraph(clean(whole), width=width, first=f"{number:>3}  ", then=" " * 9)
    return lines


def _says(claim: Claim) -> str:
    return "" if claim.text == claim.name else f": {claim.text}"


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
