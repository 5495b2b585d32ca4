"""A run laid out for a timing diagram: which instant stands where. Drawing it is the business of others.

Distances are counted in columns: one character in text, `UNIT` units in a drawing. Every instant has its own column,
also where several moves share one ns, and its values reach from there to the column of the next:

    step  0   1   2        columns      (0, 4, 8, 12)
              ╭───╮        gaps         all to scale
          ────╯   ╰───     rows[0]      values (0, 1, 0)

In the settled view all steps are equally long. In the timed view columns are in proportion to ns, the same proportion
all along the diagram, except where a gap says that no time passes (moves within one ns, in their order) or that it
is not to scale (a long quiet span is cut short, or a number needs more room).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import accumulate, pairwise

from verifier.circuit.netlist import Netlist
from verifier.claims.claim import View
from verifier.claims.run import Run
from verifier.report.deeds import deeds, for_ever, heading_of
from verifier.report.doing import KEEP_TOGETHER
from verifier.report.moves import instants_with_moves
from verifier.report.pieces import clean
from verifier.report.signals import Shown

UNIT = 10
"""Units of a drawing for one column."""
NARROWEST_STEP, COMFORTABLE_STEP = 4, 6
COMFORTABLE_UP_TO = 10
"""So many steps are drawn comfortably wide."""
NO_TIME_WIDTH = 2
"""Columns between two moves in one ns."""
LONGEST_TO_SCALE = 16
"""A gap that would take more columns is cut short."""
AROUND_LENGTH = 6
"""Columns that a cut gap has beside the length written into it."""
AROUND_NUMBER = 4
"""Columns that the span of a number on a bus has beside its digits."""
ECHO = 3
"""Columns past the end of a loop in which it begins again."""


class Gap(Enum):
    """How the columns between two neighbouring instants stand to the time between them."""

    TO_SCALE = "to scale"
    NO_TIME = "no time"
    """Both instants are in the same ns."""
    NOT_TO_SCALE = "not to scale"


@dataclass(frozen=True, kw_only=True)
class WaveRow:
    """One signal."""

    name: str
    width: int
    """In bits; a signal of several bits is a bus, and drawn as numbers."""
    values: tuple[int, ...]
    """One for each instant of the diagram."""
    is_input: bool = False

    def spans(self) -> list[tuple[int, int]]:
        """The longest stretches of equal values: the first instant of each, and the one after its last."""
        starts = [0, *(place for place in range(1, len(self.values)) if self.values[place] != self.values[place - 1])]
        return list(pairwise([*starts, len(self.values)]))


@dataclass(frozen=True, kw_only=True)
class Mark:
    """Something to be said of one instant: where a claim breaks, or is shown."""

    instant: int
    text: str


@dataclass(frozen=True, kw_only=True)
class WaveDiagram:
    """A timing diagram before it is drawn: plain data, and the same run gives the same diagram.

    An instant is meant by its place in `numbers`: 0 for the first that is shown. Instants of a timed run at which
    nothing but time passes are not shown, except the first and the last; `instants` says which instant of the run each
    one is. All texts are clean: nothing in them can steer a terminal; escaping them for XML is left to the drawer.
    """

    title: str
    numbers: tuple[int, ...]
    """For each instant its step, or its time in ns. Times may repeat."""
    unit: str
    """What `numbers` are: `step` or `ns`."""
    heading: str
    """What `deeds` are: what to do, or what happens."""
    deeds: tuple[str, ...]
    """What leads to each instant, one sentence each."""
    notes: tuple[tuple[str, ...], ...]
    """What else is to be said of each instant."""
    rows: tuple[WaveRow, ...]
    """In the order of the table: inputs, outputs, then the rest."""
    columns: tuple[int, ...]
    """Where each instant begins, rising strictly from 0; one more than there are instants: the last is the end."""
    gaps: tuple[Gap, ...]
    """`gaps[i]` lies between instant i and the next; one fewer than there are instants."""
    marks: tuple[Mark, ...] = ()
    loop_from: int | None = None
    """The instants from this one on are repeated for ever; None: the run ends with the last."""
    for_ever: str = ""
    """How a loop is entered again, in words."""
    instants: tuple[int, ...]
    """For each instant its index in the run."""

    def x_of(self, instant: int) -> int:
        """Where an instant begins in a drawing, in its units, 0 at the first; `len(numbers)` is the end of the last.

        `wave_svg` puts the first at `wave_svg.left_of(diagram)` and everything else that far to the right of it.
        """
        return self.columns[instant] * UNIT


def wave_diagram(
    netlist: Netlist,
    run: Run,
    signals: Sequence[Shown],
    *,
    title: str = "",
    notes: Sequence[Sequence[str]] | None = None,
    view: View = View.SETTLED,
    marks: Sequence[Mark] = (),
) -> WaveDiagram:
    """The diagram of a whole run. `marks` name instants of the run, and `notes` has one entry for each of these."""
    shown = list(range(len(run))) if view is View.SETTLED else instants_with_moves(run)
    told = deeds(netlist, run, view, asides=notes is None)
    times = run.times
    rows = tuple(
        WaveRow(
            name=clean(signal.name),
            width=signal.width,
            values=tuple(signal.value(run.instants[index]) for index in shown),
            is_input=signal.input_class is not None,
        )
        for signal in signals
    )
    numbers = tuple(shown) if times is None else tuple(times[index] for index in shown)
    widths, gaps = _steps(numbers) if times is None else _scaled(numbers)
    widths = _with_room_for_numbers(rows, widths, gaps, timed=times is not None)
    return WaveDiagram(
        title=clean(title),
        numbers=numbers,
        unit="step" if times is None else "ns",
        heading=heading_of(view),
        deeds=tuple(clean(told[index].replace(KEEP_TOGETHER, " ")) for index in shown),
        notes=tuple(tuple(map(clean, notes[index])) if notes else () for index in shown),
        rows=rows,
        columns=tuple(accumulate(widths, initial=0)),
        gaps=tuple(gaps),
        marks=tuple(Mark(instant=_place(shown, mark.instant), text=clean(mark.text)) for mark in marks),
        loop_from=None if run.loop_from is None else _place(shown, run.loop_from),
        for_ever=for_ever(netlist, run),
        instants=tuple(shown),
    )


def _place(shown: Sequence[int], index: int) -> int:
    """The instant of the diagram at which an instant of the run is seen."""
    return next(place for place, instant in enumerate(shown) if instant >= index)


def _narrowest(numbers: Sequence[int]) -> int:
    """Room for each number, and a space."""
    return max(NARROWEST_STEP, len(str(numbers[-1])) + 1)


def _steps(numbers: Sequence[int]) -> tuple[list[int], list[Gap]]:
    comfortable = COMFORTABLE_STEP if len(numbers) <= COMFORTABLE_UP_TO else 0
    return [max(_narrowest(numbers), comfortable)] * len(numbers), [Gap.TO_SCALE] * (len(numbers) - 1)


def _scaled(times: Sequence[int]) -> tuple[list[int], list[Gap]]:
    """The shortest time between two instants gets the least room that its number asks for; the others in proportion."""
    least = _narrowest(times)
    passing = [after - before for before, after in pairwise(times)]
    shortest = min((ns for ns in passing if ns), default=1)
    laid_out = [_gap(ns, round(ns * least / shortest)) for ns in passing]
    return [*(width for width, _ in laid_out), least], [gap for _, gap in laid_out]


def _gap(ns: int, columns: int) -> tuple[int, Gap]:
    if ns == 0:
        return NO_TIME_WIDTH, Gap.NO_TIME
    cut = len(f"{ns} ns") + AROUND_LENGTH
    if columns > max(LONGEST_TO_SCALE, cut):
        return cut, Gap.NOT_TO_SCALE
    return columns, Gap.TO_SCALE


def _with_room_for_numbers(
    rows: Sequence[WaveRow], widths: Sequence[int], gaps: list[Gap], *, timed: bool
) -> list[int]:
    """Widens the last gap of each span of a bus that is too narrow for its number; in the timed view that is said."""
    wide = list(widths)
    for row in rows:
        for first, end in row.spans() if row.width > 1 else ():
            missing = len(str(row.values[first])) + AROUND_NUMBER - sum(wide[first:end])
            if missing > 0:
                wide[end - 1] += missing
                if timed and end - 1 < len(gaps) and gaps[end - 1] is Gap.TO_SCALE:
                    gaps[end - 1] = Gap.NOT_TO_SCALE
    return wide
