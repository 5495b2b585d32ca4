"""A run as comma-separated values (RFC 4180): one line an instant, one column a signal, for spreadsheets and scripts.

The first four columns are there in every file: the number of the step, its time in ns (empty where a run has no times),
whether the instant is in the loop that is repeated for ever, and what leads to it. Their headings have a space in
them, which no name of a wiring file has. Then come the signals that a table shows, then all the other nets.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from verifier.circuit.netlist import Netlist
from verifier.claims.claim import View
from verifier.claims.run import Run
from verifier.report.deeds import deeds
from verifier.report.doing import KEEP_TOGETHER
from verifier.report.pieces import clean
from verifier.report.signals import Shown
from verifier.report.value_change_dump import variables_of

FIXED_HEADINGS = ("step number", "time in ns", "in loop", "what leads here")


def trace_csv(netlist: Netlist, run: Run, signals: Sequence[Shown], *, view: View = View.SETTLED) -> str:
    """The text of the file. Lines end as the standard says; `in loop` is `yes` or `no`."""
    others = {name: Shown(name=name, nets=nets) for name, nets in variables_of(netlist).items()}
    columns = list(({signal.name: signal for signal in signals} | others).values())
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow([*FIXED_HEADINGS, *(clean(column.name) for column in columns)])
    for index, deed in enumerate(deeds(netlist, run, view, asides=True)):
        writer.writerow(
            [
                index,
                "" if run.times is None else run.times[index],
                "yes" if run.loop_from is not None and index >= run.loop_from else "no",
                clean(deed.replace(KEEP_TOGETHER, " ")),
                *(column.value(run.instants[index]) for column in columns),
            ]
        )
    return text.getvalue()
