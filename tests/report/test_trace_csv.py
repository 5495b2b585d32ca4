"""Runs as comma-separated values, read back by the csv module of the standard library (RFC 4180)."""

from __future__ import annotations

import csv
import io

from hypothesis import given, settings
from report.random_runs import HOSTILE, WORDS, circuits_and_runs, netlist_of
from report.sample_runs import FALSE_EDGE, plain_multiplexer, run_of

from verifier.circuit.netlist import Netlist
from verifier.claims.claim import View
from verifier.claims.run import Run
from verifier.report.pieces import clean
from verifier.report.signals import shown_signals
from verifier.report.trace_csv import FIXED_HEADINGS, trace_csv


def test_a_run_is_one_line_an_instant_with_what_to_do() -> None:
    netlist = plain_multiplexer()
    assert trace_csv(netlist, FALSE_EDGE, shown_signals(netlist)) == (
        "step number,time in ns,in loop,what leads here,tempo,lever,choose,beat\r\n"
        '0,,no,"power up with tempo high, lever low, choose low",1,0,0,0\r\n'
        "1,,no,flip choose up,1,0,1,1\r\n"
    )


@settings(deadline=None, max_examples=60)
@given(circuits_and_runs((*WORDS, *HOSTILE)))
def test_every_value_comes_back(made: tuple[Netlist, Run]) -> None:
    netlist, run = made
    view = View.SETTLED if run.times is None else View.TIMED
    text = trace_csv(netlist, run, shown_signals(netlist), view=view)
    assert all(letter.isprintable() or letter in "\r\n" for letter in text)
    headings, *rows = csv.reader(io.StringIO(text, newline=""))
    assert headings[:4] == list(FIXED_HEADINGS)
    assert headings[4:] == [clean(pin.name) for pin in netlist.inputs]
    assert len(rows) == len(run)
    for index, row in enumerate(rows):
        assert row[0] == str(index)
        assert row[1] == ("" if run.times is None else str(run.times[index]))
        assert row[2] == ("yes" if run.loop_from is not None and index >= run.loop_from else "no")
        bits = [
            format(int(value), f"0{len(pin.nets)}b")[::-1] for value, pin in zip(row[4:], netlist.inputs, strict=True)
        ]
        assert "".join(bits) == "".join(str(int(value)) for value in run.instants[index])


def test_what_a_table_shows_comes_first_and_every_other_net_behind_it() -> None:
    netlist = netlist_of({"lever": 1, "beat": 1, "count": 2})
    shown = [signal for signal in shown_signals(netlist) if signal.name == "count"]
    assert trace_csv(netlist, run_of("1011"), shown).splitlines() == [
        ",".join([*FIXED_HEADINGS, "count", "lever", "beat"]),
        '0,,no,"power up with lever high, beat low, count 3",3,1,0',
    ]
