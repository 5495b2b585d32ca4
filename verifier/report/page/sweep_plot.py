"""A tightest number against a given that was varied: a plot, and the same as a table."""

from __future__ import annotations

from collections.abc import Sequence

from verifier.report.page.content import Sweep
from verifier.report.page.markup import Markup, element, joined

WIDTH, HEIGHT = 560, 300
LEFT, RIGHT, TOP, BOTTOM = 70, 20, 34, 56
TICKS_AT_MOST = 8
RADIUS = 4.5


def sweeps_section(sweeps: Sequence[Sweep]) -> Markup | None:
    if not sweeps:
        return None
    return element(
        "section",
        element("h2", "Numbers against a given", id="sweeps-title"),
        element("p", "Every point was judged by itself. Nothing is claimed about the numbers between two points."),
        [_sweep(sweep, place) for place, sweep in enumerate(sweeps)],
        id="sweeps",
        aria_labelledby="sweeps-title",
    )


def _sweep(sweep: Sweep, place: int) -> Markup:
    head = element(
        "tr", element("th", f"{sweep.given} ({sweep.unit})", scope="col"), element("th", "found", scope="col")
    )
    rows = [
        element("tr", element("th", str(point.given), scope="row"), element("td", point.told)) for point in sweep.points
    ]
    table = element("table", element("thead", head), element("tbody", rows), class_="run")
    title = f"sweep-{place}-title"
    return element(
        "article",
        element("h3", f"{sweep.circuit}: ", element("span", sweep.claim, class_="name"), id=title),
        element("p", sweep.text, class_="claim-text"),
        element("div", _plot(sweep, title), class_="plot") if any(p.value is not None for p in sweep.points) else None,
        element("details", element("summary", "The numbers"), table, class_="more"),
        class_="claim",
        aria_labelledby=title,
    )


def _plot(sweep: Sweep, title: str) -> Markup:
    given = [point.given for point in sweep.points]
    found = [point.value for point in sweep.points if point.value is not None]
    across = _Scale(min(given), max(given), LEFT, WIDTH - RIGHT)
    up = _Scale(0, max(found), HEIGHT - BOTTOM, TOP)
    floor = HEIGHT - BOTTOM
    reached = [(across.at(point.given), up.at(point.value)) for point in sweep.points if point.value is not None]
    missing = [across.at(point.given) for point in sweep.points if point.value is None]
    measured = f"tightest {sweep.of or 'number'} in {sweep.value_unit}"
    return element(
        "svg",
        element("path", d=f"M{LEFT} {TOP - 8} V{floor} H{WIDTH - RIGHT}", class_="plot-axis"),
        [_across(across.at(tick), floor, tick) for tick in across.ticks()],
        [_up(up.at(tick), tick) for tick in up.ticks()],
        _text((LEFT + WIDTH - RIGHT) / 2, HEIGHT - 12, f"{sweep.given} in {sweep.unit}", "middle"),
        _text(8, 16, measured, "start"),
        element("path", d="M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in reached), class_="plot-guide"),
        [element("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r=str(RADIUS), class_="plot-point") for x, y in reached],
        [_text(x, floor - 6, "?", "middle") for x in missing],
        viewBox=f"0 0 {WIDTH} {HEIGHT}",
        width=WIDTH,
        height=HEIGHT,
        role="img",
        aria_labelledby=title,
        class_="sweep-plot",
    )


class _Scale:
    """A whole number to a place in the drawing."""

    def __init__(self, first: int, last: int, start: int, end: int) -> None:
        self._first, self._last = first, max(last, first + 1)
        self._start, self._end = start, end

    def at(self, number: int) -> float:
        share = (number - self._first) / (self._last - self._first)
        return self._start + share * (self._end - self._start)

    def ticks(self) -> list[int]:
        """Round numbers, at most so many."""
        step = 1
        while (self._last - self._first) // step >= TICKS_AT_MOST:
            step = step * 5 // 2 if str(step)[0] == "2" else step * 2
        start = -(-self._first // step) * step
        return list(range(start, self._last + 1, step))


def _across(x: float, floor: int, number: int) -> Markup:
    return joined(
        element("path", d=f"M{x:.1f} {floor} v5", class_="plot-axis"), _text(x, floor + 19, str(number), "middle")
    )


def _up(y: float, number: int) -> Markup:
    return joined(
        element("path", d=f"M{LEFT} {y:.1f} H{WIDTH - RIGHT}", class_="plot-grid"),
        _text(LEFT - 8, y + 4, str(number), "end"),
    )


def _text(x: float, y: float, text: str, anchor: str) -> Markup:
    return element("text", text, x=f"{x:.1f}", y=f"{y:.1f}", text_anchor=anchor)
