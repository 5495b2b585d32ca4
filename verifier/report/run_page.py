"""The page that `run` prints: the played steps as a table, with what else could have happened noted below each row."""

from __future__ import annotations

from collections.abc import Sequence

from verifier.claims.claim import Design, View
from verifier.claims.run import Run
from verifier.report.pieces import Line, line
from verifier.report.signals import Shown
from verifier.report.table import Notes, run_table
from verifier.report.verdicts import circuit_heading


def played_lines(
    design: Design, run: Run, signals: Sequence[Shown], notes: Notes, *, width: int, view: View = View.SETTLED
) -> list[Line]:
    return [
        circuit_heading(design),
        line(),
        *run_table(design.netlist, run, signals, width=width, notes=notes, view=view),
    ]
