"""A timing diagram as a drawing: one SVG 1.1 picture that needs no other file, no script and no font of its own.

It can stand alone in a file or inside an HTML page; its classes begin with `wave`, and its colours are custom
properties of `.wave` (`--wave-ink`, `--wave-ground`, ...), dark where the reader prefers that. High is told from low by
height, marks by a shape and words: nothing is said by colour alone.

    wave_svg(diagram)                                     the picture, as text
    left_of(diagram) + diagram.x_of(instant)              where an instant begins in it
    picture_size(diagram)                                 its width and height

Every instant has an invisible band over its whole height, `<rect class="wave-instant" data-instant="3">`, with what
leads to the instant as its title; rows are `<g class="wave-row" data-signal="beat">`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from xml.etree import ElementTree

from verifier.report.pieces import clean
from verifier.report.wave_layout import ECHO, UNIT, Gap, WaveDiagram, WaveRow

LETTER = 8
"""Width that is reckoned for one letter of a 13 px monospaced font."""
MARGIN = 16
TITLE_HEIGHT, RULER_HEIGHT, ROW_HEIGHT, FOOT_HEIGHT = 30, 34, 34, 24
SWING = 18
"""Between low and high."""
CORNER = 3
POINT = 4
"""Half the width of the end of a number's span."""

Element = ElementTree.Element

STYLE = """
.wave { --wave-ink: #22282e; --wave-ground: #fdfcf9; --wave-quiet: #6a7178; --wave-grid: #e2ded4; --wave-high: #efe3c8;
        --wave-mark: #a3260f; background: var(--wave-ground); font: 13px ui-monospace, monospace; }
@media (prefers-color-scheme: dark) {
  .wave { --wave-ink: #e6e3dc; --wave-ground: #191c20; --wave-quiet: #9aa1a8; --wave-grid: #343a41;
          --wave-high: #4a3f24; --wave-mark: #ff9a80; }
}
.wave text { fill: var(--wave-ink); }
.wave .wave-quiet { fill: var(--wave-quiet); }
.wave .wave-title { font-weight: bold; }
.wave-ground { fill: var(--wave-ground); }
.wave-line { fill: none; stroke: var(--wave-ink); stroke-width: 1.6; stroke-linejoin: round; }
.wave-again { fill: none; stroke: var(--wave-ink); stroke-width: 1.6; stroke-dasharray: 4 3; }
.wave-high { fill: var(--wave-high); stroke: none; }
.wave-grid { stroke: var(--wave-grid); stroke-width: 1; }
.wave-ruler { fill: none; stroke: var(--wave-quiet); stroke-width: 1.2; }
.wave-cut { fill: var(--wave-ground); stroke: none; }
.wave-mark { fill: var(--wave-mark); stroke: none; }
.wave .wave-mark-text { fill: var(--wave-mark); font-weight: bold; }
.wave-mark-line { stroke: var(--wave-mark); stroke-width: 1.4; stroke-dasharray: 5 3; }
.wave-instant { fill: transparent; }
"""


def left_of(diagram: WaveDiagram) -> int:
    """Where the first instant begins, in units of the drawing."""
    longest = max([len(diagram.unit), *(len(row.name) for row in diagram.rows)])
    return 2 * MARGIN + longest * LETTER


def picture_size(diagram: WaveDiagram) -> tuple[int, int]:
    """Width and height, in units of the drawing."""
    drawn = left_of(diagram) + _end(diagram)
    texts = [MARGIN + len(diagram.title) * LETTER, *(sum(_mark_reach(diagram, at)) for at in range(len(diagram.marks)))]
    texts += [MARGIN + len(text) * LETTER for text in _legend(diagram)]
    feet = len(diagram.marks) + len(_legend(diagram)) + (1 if diagram.loop_from is not None else 0)
    return max(drawn, *texts) + MARGIN, _rows_end(diagram) + feet * FOOT_HEIGHT + MARGIN


def wave_svg(diagram: WaveDiagram) -> str:
    """The picture. The same diagram gives the same text."""
    width, height = picture_size(diagram)
    name = "wave-" + hashlib.sha256(repr(diagram).encode()).hexdigest()[:10]
    root = Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "class": "wave",
            "viewBox": f"0 0 {width} {height}",
            "width": str(width),
            "height": str(height),
            "role": "img",
            "aria-labelledby": f"{name}-title {name}-desc",
        },
    )
    _add(root, "title", id=f"{name}-title").text = clean(diagram.title) or "timing diagram"
    _add(root, "desc", id=f"{name}-desc").text = _described(diagram)
    _add(root, "style").text = STYLE
    _add(root, "rect", class_="wave-ground", width=width, height=height)
    if diagram.title:
        _text(root, MARGIN, MARGIN + 6, diagram.title, "wave-title")
    _ruler(root, diagram)
    for place, row in enumerate(diagram.rows):
        _row(root, diagram, row, _rows_begin(diagram) + place * ROW_HEIGHT)
    foot = _loop(root, diagram, _rows_end(diagram))
    foot = _marks(root, diagram, foot)
    for text in _legend(diagram):
        _text(root, MARGIN, foot + FOOT_HEIGHT - 8, text, "wave-quiet")
        foot += FOOT_HEIGHT
    _bands(root, diagram)
    ElementTree.indent(root)
    return ElementTree.tostring(root, encoding="unicode") + "\n"


def _add(parent: Element, tag: str, *, class_: str = "", **attributes: str | int) -> Element:
    named = {name.replace("_", "-"): str(value) for name, value in attributes.items()}
    return ElementTree.SubElement(parent, tag, ({"class": class_} if class_ else {}) | named)


def _text(parent: Element, x: int, y: int, text: str, class_: str = "", anchor: str = "start") -> None:
    _add(parent, "text", class_=class_, x=x, y=y, text_anchor=anchor).text = clean(text)


def _path(parent: Element, points: Sequence[tuple[int, int]], class_: str) -> None:
    drawn = " ".join(f"{'L' if place else 'M'}{x} {y}" for place, (x, y) in enumerate(points))
    _add(parent, "path", class_=class_, d=drawn)


def _x(diagram: WaveDiagram, instant: int) -> int:
    return left_of(diagram) + diagram.x_of(instant)


def _end(diagram: WaveDiagram) -> int:
    return diagram.x_of(len(diagram.numbers)) + (ECHO * UNIT if diagram.loop_from is not None else 0)


def _rows_begin(diagram: WaveDiagram) -> int:
    return (TITLE_HEIGHT if diagram.title else 0) + RULER_HEIGHT + MARGIN


def _rows_end(diagram: WaveDiagram) -> int:
    return _rows_begin(diagram) + len(diagram.rows) * ROW_HEIGHT


def _ruler_line(diagram: WaveDiagram) -> int:
    return _rows_begin(diagram) - 14


def _described(diagram: WaveDiagram) -> str:
    """What the picture shows, for those who do not see it: what leads to each instant, and every change."""
    said = []
    for place, (number, deed) in enumerate(zip(diagram.numbers, diagram.deeds, strict=True)):
        when = f"step {number}" if diagram.unit == "step" else f"{number} ns"
        values = [
            f"{row.name} {row.values[place]}"
            for row in diagram.rows
            if not place or row.values[place] != row.values[place - 1]
        ]
        said.append(f"{when}: {deed}" + (f" [{', '.join(values)}]" if values else ""))
    said += [mark.text for mark in diagram.marks]
    return clean("; ".join([*said, *([diagram.for_ever] if diagram.for_ever else [])]) + ".")


def _ruler(root: Element, diagram: WaveDiagram) -> None:
    """The numbers, a line below them with a tick at every instant, and a faint line down from each."""
    group, y = _add(root, "g", class_="wave-axis"), _ruler_line(diagram)
    _text(group, MARGIN, y - 8, diagram.unit, "wave-quiet")
    for place, number in enumerate(diagram.numbers):
        x = _x(diagram, place)
        gap = diagram.gaps[place - 1] if place else Gap.TO_SCALE
        _add(group, "line", class_="wave-grid", x1=x, x2=x, y1=y, y2=_rows_end(diagram))
        _add(group, "line", class_="wave-ruler", x1=x, x2=x, y1=y - 4, y2=y + 4)
        if gap is not Gap.NO_TIME:
            _text(group, x, y - 8, str(number))
    for place in range(len(diagram.numbers)):
        gap = diagram.gaps[place] if place < len(diagram.gaps) else Gap.TO_SCALE
        _ruler_part(group, diagram, place, gap)


def _ruler_part(group: Element, diagram: WaveDiagram, place: int, gap: Gap) -> None:
    left, right, y = _x(diagram, place), _x(diagram, place + 1), _ruler_line(diagram)
    for line in (y - 2, y + 2) if gap is Gap.NO_TIME else (y,):
        _path(group, [(left, line), (right, line)], "wave-ruler")
    if gap is Gap.NOT_TO_SCALE:
        _cut(group, (left + right) // 2, y, 4)


def _cut(parent: Element, x: int, y: int, half: int) -> None:
    """Two slanted strokes over an opening in a line."""
    opening = f"M{x - 5} {y + half} L{x + 1} {y - half} L{x + 5} {y - half} L{x - 1} {y + half} Z"
    _add(parent, "path", class_="wave-cut", d=opening)
    _path(parent, [(x - 5, y + half), (x + 1, y - half)], "wave-ruler")
    _path(parent, [(x - 1, y + half), (x + 5, y - half)], "wave-ruler")


def _row(root: Element, diagram: WaveDiagram, row: WaveRow, top: int) -> None:
    group = _add(root, "g", class_="wave-row", data_signal=clean(row.name))
    low = top + ROW_HEIGHT - 8
    _text(group, MARGIN, low - 3, row.name)
    if row.width > 1:
        _bus(group, diagram, row, low)
    else:
        _levels(group, diagram, row, low)
    for place, gap in enumerate(diagram.gaps):
        if gap is Gap.NOT_TO_SCALE and row.width == 1:
            height = low - SWING if row.values[place] else low
            _cut(group, (_x(diagram, place) + _x(diagram, place + 1)) // 2, height, 5)


def _levels(group: Element, diagram: WaveDiagram, row: WaveRow, low: int) -> None:
    """One line with rounded edges, and the stretches that are high filled below it."""
    high = low - SWING
    for first, after in row.spans():
        if row.values[first]:
            left, right = _x(diagram, first), _x(diagram, after)
            _add(group, "rect", class_="wave-high", x=left, y=high, width=right - left, height=SWING)
    drawn = f"M{_x(diagram, 0)} {high if row.values[0] else low}"
    for first, _ in row.spans()[1:]:
        drawn += _edge(_x(diagram, first), low, rises=bool(row.values[first]))
    _add(group, "path", class_="wave-line", d=f"{drawn} H{_x(diagram, len(row.values))}")
    if diagram.loop_from is not None:
        x, again = _x(diagram, len(row.values)), row.values[diagram.loop_from]
        was, now = (high if value else low for value in (row.values[-1], again))
        _path(group, [(x, was), (x, now), (x + ECHO * UNIT, now)], "wave-again")


def _edge(x: int, low: int, *, rises: bool) -> str:
    """The corners of an edge are cut round within the first `CORNER` units on either side."""
    high = low - SWING
    start, end, way = (low, high, -CORNER) if rises else (high, low, CORNER)
    return f" H{x - CORNER} Q{x} {start} {x} {start + way} V{end - way} Q{x} {end} {x + CORNER} {end}"


def _bus(group: Element, diagram: WaveDiagram, row: WaveRow, low: int) -> None:
    """Each span of one value is a pointed box with its number."""
    middle, high = low - SWING // 2, low - SWING
    for first, after in row.spans():
        left, right = _x(diagram, first), _x(diagram, after)
        closed = after < len(row.values) or (
            diagram.loop_from is not None and row.values[diagram.loop_from] != row.values[-1]
        )
        end = [(right - POINT, high), (right, middle), (right - POINT, low)] if closed else [(right, high)]
        opened = [] if closed else [(right, low)]
        _path(group, [*opened, (left + POINT, low), (left, middle), (left + POINT, high), *end], "wave-line")
        if closed:
            _path(group, [(right - POINT, low), (left + POINT, low)], "wave-line")
        _text(group, left + 2 * POINT, low - 5, str(row.values[first]))
    if diagram.loop_from is not None:
        x = _x(diagram, len(row.values))
        for y in (high, low):
            _path(group, [(x + POINT, y), (x + ECHO * UNIT, y)], "wave-again")


def _loop(root: Element, diagram: WaveDiagram, foot: int) -> int:
    """A bracket below the loop, with an arrow where it is entered again; returns where the next thing may stand."""
    if diagram.loop_from is None:
        return foot
    group = _add(root, "g", class_="wave-loop")
    left, right, y = _x(diagram, diagram.loop_from), _x(diagram, len(diagram.numbers)), foot + 12
    _path(group, [(left, y - 8), (left, y), (right, y), (right, y - 8)], "wave-line")
    _path(group, [(left - 4, y - 3), (left, y - 8), (left + 4, y - 3)], "wave-line")
    return foot + FOOT_HEIGHT


def _mark_reach(diagram: WaveDiagram, at: int) -> tuple[int, int]:
    """Where the words of a mark begin, and how long they are."""
    mark = diagram.marks[at]
    length, x = len(mark.text) * LETTER, _x(diagram, mark.instant) + 10
    fits_left = x - 20 - length >= MARGIN
    return (x - 20 - length if fits_left and x + length > left_of(diagram) + _end(diagram) else x), length


def _marks(root: Element, diagram: WaveDiagram, foot: int) -> int:
    """A broken line down to a triangle that points at the instant, with words beside it."""
    for at, mark in enumerate(diagram.marks):
        group = _add(root, "g", class_="wave-mark-group", data_instant=mark.instant)
        x, y = _x(diagram, mark.instant), foot + 4
        _add(group, "line", class_="wave-mark-line", x1=x, x2=x, y1=_ruler_line(diagram), y2=y)
        _add(group, "path", class_="wave-mark", d=f"M{x} {y} L{x + 6} {y + 11} L{x - 6} {y + 11} Z")
        _text(group, _mark_reach(diagram, at)[0], y + 11, mark.text, "wave-mark-text")
        foot += FOOT_HEIGHT
    return foot


def _legend(diagram: WaveDiagram) -> list[str]:
    """What stands in words below the drawing."""
    said = {
        Gap.NO_TIME: "double ruler: no time passes, several moves in one ns, in their order",
        Gap.NOT_TO_SCALE: "slanted strokes: not to scale",
    }
    how_it_goes_on = [diagram.for_ever] if diagram.for_ever else []
    return how_it_goes_on + [text for gap, text in said.items() if gap in diagram.gaps]


def _bands(root: Element, diagram: WaveDiagram) -> None:
    top, height = _ruler_line(diagram), _rows_end(diagram) - _ruler_line(diagram)
    for place, (number, deed) in enumerate(zip(diagram.numbers, diagram.deeds, strict=True)):
        left, right = _x(diagram, place), _x(diagram, place + 1)
        band = _add(root, "rect", class_="wave-instant", x=left, y=top, width=right - left, height=height)
        band.set("data-instant", str(place))
        _add(band, "title").text = clean(f"step {number}: {deed}" if diagram.unit == "step" else f"{number} ns: {deed}")
