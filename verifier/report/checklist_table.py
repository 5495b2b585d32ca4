"""The checklist on a terminal: what it covers, what to know before the first flip, then the rows."""

from __future__ import annotations

from verifier.evidence.checklist import Checklist, Column
from verifier.report import table
from verifier.report.checklist_words import cell, deed, how_to_go_on, row_notes, summary
from verifier.report.pieces import Line, Piece, Tone, clean, line, paragraph
from verifier.report.table import INDENT, fitted, steps_table
from verifier.report.verdicts import circuit_heading

WIDEST_NAME = 40


def checklist_lines(checklist: Checklist, *, width: int) -> list[Line]:
    lines = [circuit_heading(checklist.design), line()]
    for text in summary(checklist):
        lines += paragraph(text, width=width, first="  ", then="  ")
    lines.append(line())
    for note in checklist.notes:
        lines += paragraph(clean(note), width=width, first="  * ", then="    ")
    lines += [line(), *rows_as_table(checklist, width=width)]
    go_on = how_to_go_on(checklist)
    if go_on:
        lines += [line(), line("  If the board disagrees, say so and see which faults explain it, for instance:")]
        lines.append(line(f"{INDENT}{go_on}"))
    return lines


def rows_as_table(checklist: Checklist, *, width: int) -> list[Line]:
    rows = [
        table.Row(number=str(row.number), deed=deed(checklist, row), indent=INDENT, notes=row_notes(checklist, row))
        for row in checklist.rows
    ]
    columns = [_column(checklist, column) for column in checklist.columns]
    return steps_table(columns, rows, deed="what to do", width=width)


def _column(checklist: Checklist, column: Column) -> table.Column:
    texts = [cell(row, column) for row in checklist.rows]
    cells = []
    for place, text in enumerate(texts):
        changed = place > 0 and text != texts[place - 1]
        cells.append(Piece(f"[{text}]" if changed else f" {text} ", Tone.CHANGED if changed else Tone.PLAIN))
    return table.Column(heading=fitted(clean(column.name), WIDEST_NAME), cells=tuple(cells))
