"""The checklist as Markdown to print and as CSV for a spreadsheet."""

from __future__ import annotations

import csv
import io

from verifier.evidence.checklist import Checklist
from verifier.report.checklist_words import TITLE, cell, deed, row_notes, summary
from verifier.report.doing import KEEP_TOGETHER
from verifier.report.pieces import clean


def as_markdown(checklist: Checklist) -> str:
    """A heading, what the list covers, what to know, and a table with a box to tick in every row."""
    lines = [f"# {TITLE}: {_escaped(checklist.design.name)}", ""]
    for text in summary(checklist):
        lines += [_escaped(text), ""]
    lines += [f"- {_escaped(note)}" for note in checklist.notes]
    headings = ["step", "what to do", *(_escaped(column.name) for column in checklist.columns), "done"]
    lines += ["", _row(headings), _row(["---:", "---", *(":-:" for _ in checklist.columns), ":-:"])]
    for row in checklist.rows:
        notes = "".join(f" ({note})" for note in row_notes(checklist, row))
        readings = [cell(row, column) for column in checklist.columns]
        lines.append(_row([str(row.number), _escaped(_plain_deed(checklist, row.number) + notes), *readings, "[ ]"]))
    return "\n".join(lines) + "\n"


def as_csv(checklist: Checklist) -> str:
    """One line a step. Buses are digits, highest bit first; `-` where either value is right."""
    written = io.StringIO()
    sheet = csv.writer(written, lineterminator="\n")
    sheet.writerow(["step", "what to do", *(clean(column.name) for column in checklist.columns), "note"])
    for row in checklist.rows:
        readings = [cell(row, column) for column in checklist.columns]
        notes = "; ".join(row_notes(checklist, row))
        sheet.writerow([row.number, _plain_deed(checklist, row.number), *readings, notes])
    return written.getvalue()


def _plain_deed(checklist: Checklist, number: int) -> str:
    return deed(checklist, checklist.rows[number]).replace(KEEP_TOGETHER, " ")


def _row(cells: list[str]) -> str:
    return "| " + " | ".join(cells) + " |"


def _escaped(text: str) -> str:
    """Characters that Markdown would take for more than themselves."""
    return "".join(f"\\{letter}" if letter in "\\`*_[]<>|#" else letter for letter in clean(text))
