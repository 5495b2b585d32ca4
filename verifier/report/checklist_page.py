"""The checklist as one HTML file to tick off on a screen or on paper. It loads nothing and runs no script."""

from __future__ import annotations

from html import escape

from verifier.evidence.checklist import Checklist, Row
from verifier.report.checklist_words import TITLE, cell, deed, how_to_go_on, row_notes, summary
from verifier.report.doing import KEEP_TOGETHER
from verifier.report.pieces import clean

STYLE = """\
:root { color-scheme: light dark; --line: #8886; --tint: #8882; }
body { font: 1rem/1.45 system-ui, sans-serif; max-width: 60rem; margin: 2rem auto; padding: 0 1rem; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
th, td { padding: .3rem .6rem; border-bottom: 1px solid var(--line); text-align: center; }
th { position: sticky; top: 0; background: Canvas; border-bottom-width: 2px; }
td:nth-child(2), th:nth-child(2) { text-align: right; }
td:nth-child(3), th:nth-child(3) { text-align: left; }
td.set { background: var(--tint); }
td.changed { font-weight: 700; text-decoration: underline; text-underline-offset: .2em; }
td small { display: block; }
tr:has(:checked) { opacity: .5; }
input { width: 1.25rem; height: 1.25rem; }
:focus-visible { outline: 3px solid Highlight; outline-offset: 2px; }
.scroll { overflow-x: auto; }
@media print {
  body { max-width: none; margin: 0; font-size: 10pt; }
  .scroll { overflow: visible; }
  thead { display: table-header-group; }
  th { position: static; }
  tr { break-inside: avoid; }
}
"""


def as_page(checklist: Checklist) -> str:
    name = _text(checklist.design.name)
    paragraphs = "".join(f"<p>{_text(text)}</p>\n" for text in summary(checklist))
    notes = "".join(f"<li>{_text(note)}</li>\n" for note in checklist.notes)
    go_on = how_to_go_on(checklist)
    disagrees = (
        f"<p>If the board disagrees, see which faults explain it: <code>{_text(go_on)}</code></p>\n" if go_on else ""
    )
    headings = "".join(f'<th scope="col">{_text(column.name)}</th>' for column in checklist.columns)
    above: list[Row | None] = [None, *checklist.rows]
    rows = "".join(_row(checklist, row, above[place]) for place, row in enumerate(checklist.rows))
    return f"""\
<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{TITLE}: {name}</title>
<style>
{STYLE}</style>
</head>
<body>
<h1>{TITLE}: {name}</h1>
{paragraphs}<ul>
{notes}</ul>
<p>Shaded columns are set by hand, the others are read. What changes is underlined. <code>-</code>: either value is
right.</p>
<div class="scroll" tabindex="0" role="region" aria-label="the steps">
<table>
<thead><tr><th scope="col">done</th><th scope="col">step</th><th scope="col">what to do</th>{headings}</tr></thead>
<tbody>
{rows}</tbody>
</table>
</div>
{disagrees}</body>
</html>
"""


def _row(checklist: Checklist, row: Row, above: Row | None) -> str:
    box = f'<td><input type="checkbox" aria-label="step {row.number} done"></td>'
    notes = "".join(f"<small>{_text(note)}</small>" for note in row_notes(checklist, row))
    done = f"<td>{_text(deed(checklist, row).replace(KEEP_TOGETHER, ' '))}{notes}</td>"
    cells = []
    for column in checklist.columns:
        changed = above is not None and cell(above, column) != cell(row, column)
        classes = " ".join(filter(None, ["set" if column.is_input else "", "changed" if changed else ""]))
        cells.append(f'<td class="{classes}">{cell(row, column)}</td>' if classes else f"<td>{cell(row, column)}</td>")
    return f"<tr>{box}<td>{row.number}</td>{done}{''.join(cells)}</tr>\n"


def _text(text: str) -> str:
    return escape(clean(text))
