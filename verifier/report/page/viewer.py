"""A run to step through: its timing diagram beside the circuit, the controls below, the table of the run for reading.

Without a script it is a picture and a table. The script moves a cursor through the diagram, colours the nets of the
drawing, and says the present step in words.
"""

from __future__ import annotations

from verifier.report.page.circuit_figure import circuit_copy
from verifier.report.page.markup import Markup, element, joined
from verifier.report.page.runs import PageRun
from verifier.report.page.widths import Width
from verifier.report.pieces import clean
from verifier.report.wave_layout import UNIT
from verifier.report.wave_svg import left_of, picture_size, wave_svg

CELLS_AT_MOST = 4_000
"""A larger table is left to the script, which shows the rows around the present step."""


def viewer(run: PageRun, drawing: str | None, width: Width | None = None) -> Markup:
    """`drawing` is the identity of the circuit's drawing on the page, of which the script puts a copy here."""
    last = len(run.diagram.numbers) - 1
    waves = element(
        "div",
        _picture(run, width),
        class_="waves",
        tabindex=0,
        role="region",
        aria_label=f"Timing diagram: {run.title}",
    )
    circuit = circuit_copy(drawing, run.title)
    return element(
        "div",
        element("div", waves, circuit, class_="pair"),
        _controls(run, last),
        element("p", class_="now", role="status"),
        _table(run),
        class_="viewer",
        data_run=run.identity,
        id=run.identity,
    )


def _controls(run: PageRun, last: int) -> Markup:
    """For the script; hidden until it runs."""
    endless = run.diagram.loop_from is not None
    play = element("button", "Play", type="button", class_="play", aria_pressed="false")
    return element(
        "div",
        element("button", "First", type="button", class_="first"),
        element("button", "Back", type="button", class_="back"),
        element(
            "input",
            type="range",
            class_="slider",
            min=0,
            max=last,
            value=0,
            step=1,
            aria_label=f"Step of the run: {run.title}",
        ),
        element("button", "Next", type="button", class_="next"),
        element("button", "Last", type="button", class_="last"),
        play,
        element("span", "goes round for ever", class_="quiet") if endless else None,
        class_="controls",
        role="group",
        aria_label="Step through the run",
        hidden=True,
    )


def _picture(run: PageRun, width: Width | None) -> Markup:
    svg = wave_svg(run.diagram)
    if width is None:
        return Markup(svg)
    head, end, tail = svg.rpartition("</svg>")
    return Markup(f"{head}{_width_mark(run, width)}{end}{tail}")


def _width_mark(run: PageRun, width: Width) -> Markup:
    """A measuring line above the foot of the diagram, from one instant to the other, with the width beside it."""
    diagram = run.diagram
    first, last = (_place(diagram.instants, index) for index in (width.first, width.last))
    left, right = (left_of(diagram) + diagram.x_of(place) for place in (first, last))
    height = picture_size(diagram)[1] - 8
    line = f"M{left} {height} H{right} M{left} {height - 7} V{height + 7} M{right} {height - 7} V{height + 7}"
    return element(
        "g",
        element("path", d=line, class_="width-line"),
        element("text", width.text, x=min(left, right) - UNIT, y=height + 4, text_anchor="end", class_="width-text"),
        class_="width-mark",
    )


def _place(instants: tuple[int, ...], index: int) -> int:
    return next(place for place, instant in enumerate(instants) if instant >= index)


def _table(run: PageRun) -> Markup:
    diagram = run.diagram
    if len(diagram.numbers) * (len(diagram.rows) + 2) > CELLS_AT_MOST:
        told = f"A table of {len(diagram.numbers)} steps has no room here; `--json` writes it into a file."
        return element("p", told, class_="quiet")
    columns = [diagram.unit, diagram.heading, *(row.name for row in diagram.rows)]
    head = element("tr", (element("th", name, scope="col") for name in columns))
    rows = [_row(run, place) for place in range(len(diagram.numbers))]
    ends = diagram.for_ever and element("p", diagram.for_ever)
    table = element("table", element("thead", head), element("tbody", rows), class_="run")
    scrolled = element("div", table, class_="wide", tabindex=0, role="region", aria_label=f"Table: {run.title}")
    return element("details", element("summary", "The run as a table"), scrolled, ends or None, class_="as-table")


def _row(run: PageRun, place: int) -> Markup:
    diagram = run.diagram
    cells = []
    for row in diagram.rows:
        value = str(row.values[place])
        moved = place > 0 and row.values[place] != row.values[place - 1]
        cells.append(element("td", element("strong", f"[{value}]") if moved else value))
    notes = "".join(f" {mark.text}" for mark in diagram.marks if mark.instant == place)
    deed = joined(clean(diagram.deeds[place]), element("strong", notes) if notes else None)
    return element("tr", element("th", str(diagram.numbers[place]), scope="row"), element("td", deed), cells)
