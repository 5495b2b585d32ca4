"""Timing diagrams in text: levels as lines, edges where the instants are, numbers of buses in pointed spans.

    step    0   1   2   3   4
            ┬───┬───┬───┬───┬───
    lever       ╭───╮       ╭───
            ────╯   ╰───────╯
    count   < 0 ─── >< 1 ───────
                            ^ broken at step 4

A diagram that is too wide is folded: the next part begins with the names again. In the timed view the ruler is double
where no time passes, and where it is cut short it says how much passes there. What is said is said by shapes and words;
there is a second set of shapes for places that take ASCII alone.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from dataclasses import dataclass

from verifier.report.pieces import Line, Piece, Tone, line, paragraph
from verifier.report.table import INDENT
from verifier.report.wave_layout import ECHO, Gap, WaveDiagram, WaveRow

NAMES_NARROWEST = 8
GAP = "  "
MARK = "^ "
FOR_EVER = " for ever "
ALWAYS_TWO_LINES = 12
"""In a diagram of more signals, one that stays low all along a part has only its lower line there."""
HIDDEN_NUMBER = ".."
"""In place of a number that a fold leaves no room for."""


@dataclass(frozen=True, kw_only=True)
class Shapes:
    """The characters that a diagram is made of."""

    level: str
    rise: tuple[str, str]
    """Upper and lower character of an edge."""
    fall: tuple[str, str]
    tick: str
    no_time: str
    cut: str
    guide: str
    """Below a marked instant, where nothing else stands."""
    loop: tuple[str, str, str]
    """Left end, middle and right end of what stands below a loop."""
    again: str
    """The level where a loop begins again."""


LINES = Shapes(
    level="─",
    rise=("╭", "╯"),
    fall=("╮", "╰"),
    tick="┬",
    no_time="═",
    cut="╱╱",  # noqa: RUF001  a box-drawing line is what is meant
    guide="┊",
    loop=("╚", "═", "╝"),
    again="╌",
)
ASCII = Shapes(
    level="-",
    rise=(".", "'"),
    fall=(".", "'"),
    tick="+",
    no_time="=",
    cut="//",
    guide=":",
    loop=("\\", "=", "/"),
    again="-",
)
POINTS = "<>"
"""The ends of the span of a number."""


def can_be_written(encoding: str | None, environment: Mapping[str, str]) -> bool:
    """Whether a stream of this encoding takes the lines, and nobody asks for ASCII.

    An interpreter writes UTF-8 even where the locale is `C`; whoever sets that one is taken by the word.
    """
    if (environment.get("LC_ALL") or environment.get("LANG")) in ("C", "POSIX"):
        return False
    shapes = "".join(shape for value in vars(LINES).values() for shape in value)
    try:
        shapes.encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def wave_lines(diagram: WaveDiagram, *, width: int = 80, ascii_only: bool = False) -> list[Line]:
    """The diagram, folded to `width` characters. What leads to each instant is not in it."""
    drawing = _Drawing(diagram, ASCII if ascii_only else LINES, width)
    lines: list[Line] = []
    for start, end in drawing.parts():
        lines += [line()] if lines else []
        lines += drawing.part(start, end)
    return lines + drawing.legend()


class _Drawing:
    """A diagram with the shapes it is drawn in. Characters are counted in columns from the first instant."""

    def __init__(self, diagram: WaveDiagram, shapes: Shapes, width: int) -> None:
        self._diagram, self._shapes, self._width = diagram, shapes, width
        self._columns = diagram.columns
        self._loops = diagram.loop_from is not None
        self._end = diagram.columns[-1] + (ECHO if self._loops else 0)
        longest = max(len(diagram.unit), *(len(row.name) for row in diagram.rows), 0)
        self._names = min(longest, max(NAMES_NARROWEST, width // 4))
        self._room = width - len(INDENT) - self._names - len(GAP)
        everywhere = range(len(diagram.numbers))
        self._ruler = self._with_cuts(self._ticks(), everywhere, lengths=True)
        self._spans = {row.name: row.spans() for row in diagram.rows if row.width > 1}
        self._levels = {row.name: self._bit(row) for row in diagram.rows if row.width == 1}

    def parts(self) -> list[tuple[int, int]]:
        """The columns of each part.

        They end before an instant at which time has passed, if there is one to end at, and better where every number
        has room on one side at least.
        """
        parts: list[tuple[int, int]] = []
        start = 0
        while start < self._end:
            end = self._end
            if end - start > self._room:
                first, after = (bisect_right(self._columns, at) for at in (start, start + self._room))
                apart = [place for place in reversed(range(first, after)) if not self._shares_its_time(place)]
                readable = (place for place in apart if self._numbers_stay(place))
                place = next(readable, apart[0] if apart else after - 1)
                end = self._columns[place] if place >= first else start + self._room
            parts.append((start, end))
            start = end
        return parts

    def _shares_its_time(self, place: int) -> bool:
        """Whether the instant is in the same ns as the one before."""
        return 0 < place <= len(self._diagram.gaps) and self._diagram.gaps[place - 1] is Gap.NO_TIME

    def _numbers_stay(self, place: int) -> bool:
        """Whether no number is lost by a fold before this instant."""
        fold = self._columns[place]
        for row in self._diagram.rows:
            if row.width > 1:
                for first, after in self._spans_in(row, range(place, place + 1)):
                    left, right = self._columns[first], self._columns[after]
                    room = max(fold - left, right - fold) - len(POINTS)
                    if left < fold < right and room < len(str(row.values[first])) + 2:
                        return False
        return True

    def _seen(self, start: int, end: int) -> range:
        """The instants of which something stands between these columns."""
        last = len(self._diagram.numbers)
        return range(max(bisect_right(self._columns, start) - 1, 0), min(bisect_left(self._columns, end), last))

    def part(self, start: int, end: int) -> list[Line]:
        lines = [
            self._line(self._diagram.unit, self._numbers(start, end), Tone.HEADING),
            self._line("", self._ruler[start:end], Tone.QUIET),
        ]
        for row in self._diagram.rows:
            if row.width > 1:
                lines.append(self._line(row.name, self._bus(row, start, end)))
            else:
                upper, lower = (drawn[start:end] for drawn in self._levels[row.name])
                if len(self._diagram.rows) <= ALWAYS_TWO_LINES or upper.strip(" " + self._shapes.guide):
                    lines.append(self._line("", upper))
                lines.append(self._line(row.name, lower))
        return lines + self._loop(start, end) + self._marks(start, end)

    def legend(self) -> list[Line]:
        """What the ruler says, where it says more than when."""
        said = {
            Gap.NO_TIME: f"{self._shapes.no_time * 2} no time passes: several moves in one ns, in their order",
            Gap.NOT_TO_SCALE: f"{self._shapes.cut} not to scale",
        }
        margin = INDENT + " " * self._names + GAP
        return [
            row
            for gap, text in said.items()
            if gap in self._diagram.gaps
            for row in paragraph(text, width=self._width, first=margin, then=margin + "   ", tone=Tone.QUIET)
        ]

    def _line(self, name: str, drawn: str, tone: Tone = Tone.PLAIN) -> Line:
        fitted = name
        if len(name) > self._names:
            kept = (self._names - 2) // 2
            fitted = f"{name[:kept]}..{name[-kept:]}"
        return line(INDENT, Piece(fitted.ljust(self._names)), GAP, Piece(drawn, tone))

    def _numbers(self, start: int, end: int) -> str:
        """The number of each instant; of several in one ns it stands at the first, and at the first of a part."""
        drawn = ""
        for place in self._seen(start, end):
            at = self._columns[place] - start
            if at >= 0 and (not drawn or not self._shares_its_time(place)) and len(drawn) <= at:
                drawn = f"{drawn.ljust(at)}{self._diagram.numbers[place]} "
        return drawn[: self._room]

    def _ticks(self) -> list[str]:
        drawn = [self._shapes.level] * self._columns[-1] + [self._shapes.again] * (self._end - self._columns[-1])
        for place, gap in enumerate(self._diagram.gaps):
            if gap is Gap.NO_TIME:
                first, last = self._columns[place], self._columns[place + 1]
                drawn[first:last] = self._shapes.no_time * (last - first)
        for column in self._columns[:-1]:
            drawn[column] = self._shapes.tick
        return drawn

    def _with_cuts(self, drawn: list[str], places: range, *, start: int = 0, lengths: bool = False) -> str:
        """The marks of gaps that are not to scale, in the middle of each; with the ns that pass there, if wanted.

        `places` are the instants that such gaps follow, and `drawn` begins at the column `start`.
        """
        numbers, cut = self._diagram.numbers, self._shapes.cut
        for place in places:
            if place >= len(self._diagram.gaps) or self._diagram.gaps[place] is not Gap.NOT_TO_SCALE:
                continue
            first, end = self._columns[place] + 1, self._columns[place + 1]
            told = f"{cut[0]} {numbers[place + 1] - numbers[place]} ns {cut[1]}"
            text = told if lengths and len(told) <= end - first else cut
            at = first + (end - first - len(text)) // 2 - start
            beneath = drawn[at : at + len(text)] if at >= 0 else []
            if len(beneath) == len(text) and all(letter == self._shapes.level for letter in beneath):
                drawn[at : at + len(text)] = text
        return "".join(drawn)

    def _bit(self, row: WaveRow) -> tuple[str, str]:
        """Upper and lower line of a signal of one bit."""
        shapes, values = self._shapes, [*row.values, *self._echo(row)]
        lines = [[" "] * self._end, [" "] * self._end]
        bounds = [*self._columns, self._end] if self._loops else [*self._columns]
        for place, value in enumerate(values):
            first, end = bounds[place], bounds[place + 1]
            level = shapes.again if place == len(row.values) else shapes.level
            lines[0 if value else 1][first:end] = level * (end - first)
            if place and value != values[place - 1]:
                lines[0][first], lines[1][first] = shapes.rise if value else shapes.fall
        for mark in self._diagram.marks:
            for drawn in lines:
                if drawn[self._columns[mark.instant]] == " ":
                    drawn[self._columns[mark.instant]] = shapes.guide
        upper, lower = (self._with_cuts(drawn, range(len(row.values))) for drawn in lines)
        return upper, lower

    def _echo(self, row: WaveRow) -> tuple[int, ...]:
        return () if self._diagram.loop_from is None else (row.values[self._diagram.loop_from],)

    def _bus(self, row: WaveRow, start: int, end: int) -> str:
        """The part of a bus from one column to another: each span has its number in every part that it reaches into."""
        drawn = [self._shapes.level] * (end - start)
        seen = self._seen(start, end)
        for first, after in self._spans_in(row, seen):
            left, right = self._columns[first], self._columns[after]
            begins, ends = max(left, start), min(right, end)
            has_point = begins == left
            is_closed = ends == right and (after < len(row.values) or self._closes(row))
            inside = ends - begins - has_point - is_closed
            number = f" {row.values[first]} " if inside >= len(str(row.values[first])) + 2 else HIDDEN_NUMBER[:inside]
            drawn[begins - start : ends - start] = [
                *(POINTS[0] if has_point else ""),
                *number.ljust(inside, self._shapes.level),
                *(POINTS[1] if is_closed else ""),
            ]
        for column in range(max(self._columns[-1], start), min(self._end, end)):
            opens = column == self._columns[-1] and self._closes(row)
            drawn[column - start] = POINTS[0] if opens else self._shapes.again
        return self._with_cuts(drawn, seen, start=start)

    def _spans_in(self, row: WaveRow, seen: range) -> list[tuple[int, int]]:
        """The spans of one value that reach into these instants."""
        spans = self._spans[row.name]
        first = bisect_right(spans, seen.start, key=lambda span: span[1])
        after = bisect_left(spans, seen.stop, key=lambda span: span[0])
        return spans[first:after]

    def _closes(self, row: WaveRow) -> bool:
        """Whether the value changes where the loop begins again."""
        return any(value != row.values[-1] for value in self._echo(row))

    def _loop(self, start: int, end: int) -> list[Line]:
        """What stands below the part of the loop that is seen here."""
        if self._diagram.loop_from is None:
            return []
        left, right = self._columns[self._diagram.loop_from], self._columns[-1]
        first, after = max(left, start), min(right, end)
        if first >= after:
            return []
        corner, middle, other = self._shapes.loop
        inside = after - first - (first == left) - (after == right)
        text = FOR_EVER if inside >= len(FOR_EVER) + 2 else ""
        drawn = (corner if first == left else "") + text.center(inside, middle) + (other if after == right else "")
        return [self._line("", " " * (first - start) + drawn, Tone.CHANGED)]

    def _marks(self, start: int, end: int) -> list[Line]:
        lines: list[Line] = []
        for mark in self._diagram.marks:
            at = self._columns[mark.instant] - start
            if not 0 <= at < end - start:
                continue
            if at + len(MARK + mark.text) <= self._room:
                lines.append(self._line("", " " * at + MARK + mark.text, Tone.CHANGED))
            elif len(mark.text) < at:
                lines.append(self._line("", f"{mark.text} {MARK[0]}".rjust(at + 1), Tone.CHANGED))
            else:
                lines.append(self._line("", " " * at + MARK[0], Tone.CHANGED))
                lines += paragraph(mark.text, width=self._width, first=INDENT, then=INDENT, tone=Tone.CHANGED)
        return lines
