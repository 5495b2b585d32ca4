"""A run as it is printed: a table, or a timing diagram with what to do below it.

What draws diagrams is loaded only when one is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum
from typing import TYPE_CHECKING

from verifier.circuit.netlist import Netlist
from verifier.claims.claim import View
from verifier.claims.run import Run
from verifier.report.pieces import Line, line
from verifier.report.signals import Shown
from verifier.report.table import Notes, run_table

if TYPE_CHECKING:
    from verifier.report.wave_layout import Mark


class RunStyle(Enum):
    """How a run is shown."""

    TABLE = "table"
    WAVES = "waves"
    ASCII_WAVES = "waves in ASCII"


def shown_run(
    netlist: Netlist,
    run: Run,
    signals: Sequence[Shown],
    *,
    style: RunStyle,
    width: int = 80,
    notes: Notes | None = None,
    view: View = View.SETTLED,
    marks: Sequence[Mark] = (),
) -> list[Line]:
    """The whole run. A table has no marks: what they say stands below it anyway."""
    if style is RunStyle.TABLE:
        return run_table(netlist, run, signals, width=width, notes=notes, view=view)
    from verifier.report.wave_layout import wave_diagram
    from verifier.report.waves import wave_lines

    diagram = wave_diagram(netlist, run, signals, notes=notes, view=view, marks=marks)
    drawn = wave_lines(diagram, width=width, ascii_only=style is RunStyle.ASCII_WAVES)
    deeds = run_table(netlist, run, (), width=width, notes=notes, view=view, widest_deed=width)
    return [*drawn, line(), *deeds]
