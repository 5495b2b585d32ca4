"""The table of a run: one row a step, what to do on the left, one column a signal.

A value that differs from the row above stands in brackets, so the look survives a pipe, a text file and a person who
sees no colours:

    step  what to do              tempo  lever  choose  beat
    ----  ----------------------  -----  -----  ------  ----
       0  power up with tempo        1      0       0     0
          high, lever low,
          choose low
       1  flip choose up             1      0      [1]   [1]

Signals that do not fit beside each other go into further blocks, each with the steps numbered again. No row is ever
left out. The loop of an endless run has a bar in front of its rows and a line below them:

       0  power up
  |    1  tempo rises
  |    2  tempo falls
  '-> then steps 1 to 2 again, for ever
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from verifier.circuit.netlist import Netlist
from verifier.claims.run import Run
from verifier.report.doing import KEEP_TOGETHER, doing, going_back
from verifier.report.pieces import Line, Piece, Tone, clean, line, paragraph, wrapped
from verifier.report.signals import Shown

WHAT_TO_DO = "what to do"
GAP = "  "
INDENT = "    "
LOOP_INDENT, LOOP_END = "  | ", "  '-> "
"""In front of the rows of a loop, and of the line below them. As wide as `INDENT` or wider."""
DOING_NARROWEST, DOING_WIDEST = 16, 34


@dataclass(frozen=True, kw_only=True)
class Column:
    """One signal made ready: its cells are all as wide as the digits need, the brackets included."""

    heading: str
    cells: tuple[Piece, ...]

    @property
    def width(self) -> int:
        return max(len(self.heading), *(len(cell.text) for cell in self.cells))


Notes = Sequence[Sequence[str]]
"""For each instant, what is to be said below its row; replaces the asides about races."""


def run_table(
    netlist: Netlist, run: Run, signals: Sequence[Shown], *, width: int = 80, notes: Notes | None = None
) -> list[Line]:
    """The whole run, in as many blocks of columns as `width` asks for."""
    deeds = [clean(doing(netlist, run, index, asides=notes is None)) for index in range(len(run))]
    number_width = max(len("step"), len(str(len(run) - 1)))
    room = width - len(INDENT) - number_width - len(GAP)
    columns = [_column(signal, run, room) for signal in signals]
    doing_width = _doing_width(deeds, room - sum(column.width + len(GAP) for column in columns))
    noted = [_note_lines(texts, number_width, width) for texts in notes or [()] * len(run)]
    indents = [LOOP_INDENT if _in_loop(run, index) else INDENT for index in range(len(run))]
    lines: list[Line] = []
    for block in _blocks(columns, first_room=room - doing_width - len(GAP), room=room):
        if lines:
            lines.append(line())
            lines += _block(block, [""] * len(deeds), number_width, 0, [[]] * len(deeds), indents)
        else:
            lines += _block(block, deeds, number_width, doing_width, noted, indents)
        lines += _loop_end(netlist, run, width)
    return lines


def _in_loop(run: Run, index: int) -> bool:
    return run.loop_from is not None and index >= run.loop_from


def _loop_end(netlist: Netlist, run: Run, width: int) -> list[Line]:
    """How the run goes on for ever; nothing when it ends."""
    if run.loop_from is None:
        return []
    first, last = run.loop_from, len(run) - 1
    steps = f"step {first}" if first == last else f"steps {first} to {last}"
    back = clean(going_back(netlist, run)).replace(KEEP_TOGETHER, " ")
    same = first > 0 and back == doing(netlist, run, first, asides=False)
    text = f"then {steps} again, for ever" if same else f"then {back}: that is step {first} again; so on for ever"
    return paragraph(text, width=width, first=LOOP_END, then=" " * len(LOOP_END), tone=Tone.CHANGED)


def _doing_width(deeds: Sequence[str], to_spare: int) -> int:
    """As wide as the steps need, within bounds; wider for the power-up where the columns leave space."""
    steps = max((len(deed) for deed in deeds[1:]), default=0)
    needed = min(max(steps, DOING_NARROWEST), DOING_WIDEST)
    allowed = max(needed, min(len(deeds[0]), to_spare, DOING_WIDEST))
    return max(len(part) for deed in (*deeds, WHAT_TO_DO) for part in wrapped(deed, allowed))


def _column(signal: Shown, run: Run, widest: int) -> Column:
    values = [signal.value(instant) for instant in run.instants]
    digits = max(len(str(value)) for value in values)
    cells = []
    for index, value in enumerate(values):
        changed = index > 0 and value != values[index - 1]
        text = f"[{value}]" if changed else f" {value} "
        cells.append(Piece(text.rjust(digits + 2), Tone.CHANGED if changed else Tone.PLAIN))
    return Column(heading=_fitted(clean(signal.name), max(8, widest)), cells=tuple(cells))


def _fitted(name: str, widest: int) -> str:
    """A name longer than a whole line keeps its beginning and its end."""
    if len(name) <= widest:
        return name
    kept = (widest - 2) // 2
    return f"{name[:kept]}..{name[-kept:]}"


def _blocks(columns: Sequence[Column], *, first_room: int, room: int) -> list[list[Column]]:
    """The columns in order, in as few blocks as their widths allow. The first block is there even without columns."""
    blocks: list[list[Column]] = [[]]
    left = first_room
    for column in columns:
        if column.width > left and (blocks[-1] or len(blocks) == 1):
            blocks.append([])
            left = room
        blocks[-1].append(column)
        left -= column.width + len(GAP)
    return blocks


def _note_lines(texts: Sequence[str], number_width: int, width: int) -> list[Line]:
    margin = INDENT + " " * number_width + GAP
    return [
        row
        for text in texts
        for row in paragraph(clean(text), width=width, first=f"{margin}* ", then=f"{margin}  ", tone=Tone.DOUBTFUL)
    ]


def _block(
    columns: Sequence[Column],
    deeds: Sequence[str],
    number_width: int,
    doing_width: int,
    noted: Sequence[Sequence[Line]],
    indents: Sequence[str],
) -> list[Line]:
    """One block; without a `doing_width` it has no column of deeds."""
    deed_widths = [doing_width] if doing_width else []
    widths = [number_width, *deed_widths, *(column.width for column in columns)]
    headings = ["step".rjust(number_width), *(WHAT_TO_DO.ljust(width) for width in deed_widths)]
    headings += [column.heading.center(column.width) for column in columns]
    lines = [
        _joined([Piece(text, Tone.HEADING) for text in headings]),
        _joined([Piece("-" * width, Tone.QUIET) for width in widths]),
    ]
    for index, deed in enumerate(deeds):
        cells = [_centred(column.cells[index], column.width) for column in columns]
        number = Piece(str(index).rjust(number_width))
        lines += [_joined(pieces, indents[index]) for pieces in _row(number, deed, cells, doing_width)]
        lines += noted[index]
    return lines


def _row(number: Piece, deed: str, cells: Sequence[Piece], doing_width: int) -> list[list[Piece]]:
    if not doing_width:
        return [[number, *cells]]
    first, *more = (part.replace(KEEP_TOGETHER, " ") for part in wrapped(deed, doing_width))
    rows = [[number, Piece(first.ljust(doing_width)), *cells]]
    return rows + [[Piece(" " * len(number.text)), Piece(rest)] for rest in more]


def _centred(cell: Piece, width: int) -> Piece:
    return Piece(cell.text.center(width), cell.tone)


def _joined(pieces: Sequence[Piece], indent: str = INDENT) -> Line:
    between: list[str | Piece] = [indent]
    for index, piece in enumerate(pieces):
        between += [GAP, piece] if index else [piece]
    return line(*between)
