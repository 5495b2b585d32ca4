"""The page that `run` prints: the played steps, with what else could have happened noted below each."""

from __future__ import annotations

from collections.abc import Sequence

from verifier.claims.claim import Design, View
from verifier.claims.run import Run
from verifier.report.pieces import Line, line
from verifier.report.shown_run import RunStyle, shown_run
from verifier.report.signals import Shown
from verifier.report.table import Notes
from verifier.report.verdicts import circuit_heading


def played_lines(
    design: Design,
    run: Run,
    signals: Sequence[Shown],
    notes: Notes,
    *,
    width: int,
    view: View = View.SETTLED,
    style: RunStyle = RunStyle.TABLE,
) -> list[Line]:
    return [
        circuit_heading(design),
        line(),
        *shown_run(design.netlist, run, signals, style=style, width=width, notes=notes, view=view),
    ]
