"""The table of a run: one row an instant, what to do or what happens on the left, one column a signal.

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

In the delay views a row says which gate fires and why. In the timed view it has its time in ns in place of a number,
and instants at which nothing but time passes have no row:

    ns  what happens                      choose  set_n  beat
    --  --------------------------------  ------  -----  ----
     0  power up with choose low            0       1     1
    12  flip choose up                     [1]      1     1
    15  set_n falls (choose rose 3 ns ago)  1      [0]    1
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from verifier.circuit.netlist import NetId, Netlist
from verifier.claims.claim import View
from verifier.claims.run import Run
from verifier.report.deeds import deeds, for_ever, heading_of
from verifier.report.doing import KEEP_TOGETHER
from verifier.report.moves import instants_with_moves
from verifier.report.pieces import Line, Piece, Tone, clean, line, paragraph, wrapped
from verifier.report.signals import Shown

GAP = "  "
INDENT = "    "
LOOP_INDENT, LOOP_END = "  | ", "  '-> "
"""In front of the rows of a loop, and of the line below them. As wide as `INDENT` or wider."""
DOING_NARROWEST, DOING_WIDEST, HAPPENING_WIDEST = 16, 34, 48


@dataclass(frozen=True, kw_only=True)
class Column:
    """One signal made ready: its cells are all as wide as the digits need, the brackets included."""

    heading: str
    cells: tuple[Piece, ...]

    @property
    def width(self) -> int:
        return max(len(self.heading), *(len(cell.text) for cell in self.cells))


Matters = Callable[[NetId, int], bool]
"""Whether the value of this net at this instant matters; one that does not shows as a dot."""
DOT = "."

Notes = Sequence[Sequence[str]]
"""For each instant, what is to be said below its row; replaces the asides about races."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One instant, before it is laid out."""

    number: str
    deed: str
    indent: str
    notes: Sequence[str]


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Headings and widths of what stands left of the signals."""

    number: str
    deed: str
    number_width: int
    deed_width: int


def run_table(
    netlist: Netlist,
    run: Run,
    signals: Sequence[Shown],
    *,
    width: int = 80,
    notes: Notes | None = None,
    view: View = View.SETTLED,
    widest_deed: int | None = None,
    told: Sequence[str] | None = None,
    matters: Matters | None = None,
) -> list[Line]:
    """The whole run, in as many blocks of columns as `width` asks for.

    `told` stands in place of what the inputs do. Deeds are wrapped so that signals find room beside them; without
    signals `widest_deed` may allow for more. With `matters` only the values that do are shown.
    """
    shown = list(range(len(run))) if view is View.SETTLED else instants_with_moves(run)
    told = deeds(netlist, run, view, asides=notes is None) if told is None else told
    numbers = range(len(run)) if run.times is None else run.times
    noted = notes or [()] * len(run)
    rows = [
        Row(
            number=str(numbers[index]),
            deed=clean(told[index]),
            indent=LOOP_INDENT if _in_loop(run, index) else INDENT,
            notes=noted[index],
        )
        for index in shown
    ]
    number = "step" if run.times is None else "ns"
    number_width = max(len(number), *(len(row.number) for row in rows))
    room = width - len(INDENT) - number_width - len(GAP)
    columns = [_column(signal, run, shown, room, matters) for signal in signals]
    deed = heading_of(view)
    usual = DOING_WIDEST if view is View.SETTLED else HAPPENING_WIDEST
    widest = usual if widest_deed is None else widest_deed
    deed_width = _deed_width(rows, deed, widest, room - sum(column.width + len(GAP) for column in columns))
    layout = Layout(number=number, deed=deed, number_width=number_width, deed_width=deed_width)
    lines: list[Line] = []
    for block in _blocks(columns, first_room=room - deed_width - len(GAP), room=room):
        lines += [line()] if lines else []
        lines += _block(block, rows, replace(layout, deed_width=0) if lines else layout, width)
        lines += _loop_end(netlist, run, width)
    return lines


def _in_loop(run: Run, index: int) -> bool:
    return run.loop_from is not None and index >= run.loop_from


def _loop_end(netlist: Netlist, run: Run, width: int) -> list[Line]:
    """How the run goes on for ever; nothing when it ends."""
    text = for_ever(netlist, run)
    if not text:
        return []
    return paragraph(text, width=width, first=LOOP_END, then=" " * len(LOOP_END), tone=Tone.CHANGED)


def _deed_width(rows: Sequence[Row], heading: str, widest: int, to_spare: int) -> int:
    """As wide as the steps need, within bounds; wider for the power-up, or up to `widest`, where there is space."""
    steps = max((len(row.deed) for row in rows[1:]), default=0)
    needed = min(max(steps, DOING_NARROWEST), DOING_WIDEST)
    longest = max(len(row.deed) for row in rows)
    allowed = max(needed, min(longest, to_spare, widest))
    return max(len(part) for deed in (*(row.deed for row in rows), heading) for part in wrapped(deed, allowed))


def _column(signal: Shown, run: Run, shown: Sequence[int], widest: int, matters: Matters | None) -> Column:
    texts = [_value(signal, run, index, matters) for index in shown]
    digits = max(len(text) for text in texts)
    cells = []
    for place, text in enumerate(texts):
        before = texts[place - 1] if place > 0 else text
        changed = text != before and DOT not in text + before
        tone = Tone.CHANGED if changed else Tone.QUIET if text == DOT else Tone.PLAIN
        cells.append(Piece((f"[{text}]" if changed else f" {text} ").rjust(digits + 2), tone))
    return Column(heading=fitted(clean(signal.name), max(8, widest)), cells=tuple(cells))


def _value(signal: Shown, run: Run, index: int, matters: Matters | None) -> str:
    """The number; of a bus of which only some bits matter, these bits, the highest first."""
    known = [matters is None or matters(net, index) for net in signal.nets]
    if all(known):
        return str(signal.value(run.instants[index]))
    if not any(known):
        return DOT
    bits = [str(int(run.instants[index][net])) if k else DOT for net, k in zip(signal.nets, known, strict=True)]
    return "".join(reversed(bits))


def fitted(name: str, widest: int) -> str:
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


def _block(columns: Sequence[Column], rows: Sequence[Row], layout: Layout, width: int) -> list[Line]:
    """One block; without a `deed_width` it has neither deeds nor notes."""
    deed_widths = [layout.deed_width] if layout.deed_width else []
    widths = [layout.number_width, *deed_widths, *(column.width for column in columns)]
    headings = [layout.number.rjust(layout.number_width), *(layout.deed.ljust(width) for width in deed_widths)]
    headings += [column.heading.center(column.width) for column in columns]
    lines = [
        _joined([Piece(text, Tone.HEADING) for text in headings]),
        _joined([Piece("-" * width, Tone.QUIET) for width in widths]),
    ]
    for place, row in enumerate(rows):
        cells = [_centred(column.cells[place], column.width) for column in columns]
        lines += [_joined(pieces, row.indent) for pieces in _laid_out(row, cells, layout)]
        lines += _note_lines(row.notes, layout.number_width, width) if layout.deed_width else []
    return lines


def _laid_out(row: Row, cells: Sequence[Piece], layout: Layout) -> list[list[Piece]]:
    number = Piece(row.number.rjust(layout.number_width))
    if not layout.deed_width:
        return [[number, *cells]]
    first, *more = (part.replace(KEEP_TOGETHER, " ") for part in wrapped(row.deed, layout.deed_width))
    rows = [[number, Piece(first.ljust(layout.deed_width)), *cells]]
    return rows + [[Piece(" " * len(number.text)), Piece(rest)] for rest in more]


def _centred(cell: Piece, width: int) -> Piece:
    return Piece(cell.text.center(width), cell.tone)


def _joined(pieces: Sequence[Piece], indent: str = INDENT) -> Line:
    between: list[str | Piece] = [indent]
    for index, piece in enumerate(pieces):
        between += [GAP, piece] if index else [piece]
    return line(*between)


def steps_table(columns: Sequence[Column], rows: Sequence[Row], *, deed: str, width: int) -> list[Line]:
    """A table of steps whose columns and rows are made ready already; `deed` heads what is done."""
    number = "step"
    number_width = max(len(number), *(len(row.number) for row in rows))
    room = width - len(INDENT) - number_width - len(GAP)
    deed_width = _deed_width(rows, deed, DOING_WIDEST, room - sum(column.width + len(GAP) for column in columns))
    layout = Layout(number=number, deed=deed, number_width=number_width, deed_width=deed_width)
    lines: list[Line] = []
    for block in _blocks(columns, first_room=room - deed_width - len(GAP), room=room):
        lines += [line()] if lines else []
        lines += _block(block, rows, replace(layout, deed_width=0) if lines else layout, width)
    return lines
