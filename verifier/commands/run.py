"""`run`: plays a sequence of inputs and shows every step."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from verifier.commands.common import (
    ExitCode,
    loaded,
    put_record,
    refuse_unwritable,
    style_of,
    trace_kinds,
    traces_folder,
    writer_of,
)
from verifier.errors import CallError


def run(call: argparse.Namespace) -> int:
    """Plays the steps and shows them. No claim is judged, so it ends well unless the call is wrong."""
    import verifier
    from verifier.report.pieces import line
    from verifier.report.records import run_record
    from verifier.report.run_page import played_lines
    from verifier.report.signals import shown_signals
    from verifier.workbench.selection import one_circuit
    from verifier.workbench.sequence import shown_names

    refuse_unwritable(call.json)
    kinds = trace_kinds(call)
    design = one_circuit(loaded([call.file], call.allow_outside), call.circuit)
    folder = traces_folder(call.traces) if kinds else None
    nets = shown_names(design, [name.strip() for name in call.nets.split(",") if name.strip()])
    played = verifier.play_words(design, _steps(call), call.start)
    signals = shown_signals(design.netlist, further=nets)
    writer = writer_of(call.json)
    writer.write(played_lines(design, played.run, signals, played.notes, width=writer.width, style=style_of(call)))
    if folder is not None:
        from verifier.report.trace_files import trace_of_played, traces_line, write_traces

        written = write_traces(folder, [trace_of_played(design, played.run, signals, played.notes)], kinds)
        writer.write([line(), traces_line(1, len(written), str(folder))])
    if call.json is not None:
        further = {"notes": played.notes, "broken_givens": played.broken_givens}
        put_record(run_record(verifier.__version__, design, played.run, signals, **further), call.json)
    return ExitCode.AS_EXPECTED


def _steps(call: argparse.Namespace) -> list[str]:
    from verifier.workbench.sequence import steps_in

    if call.steps_from is None:
        return list(call.steps)
    if call.steps:
        raise CallError("steps are given both on the command line and with --steps")
    if call.steps_from == "-":
        if sys.stdin is None:
            raise CallError("standard input is closed, so there are no steps to read")
        return steps_in(sys.stdin.read())
    try:
        return steps_in(Path(call.steps_from).read_text(encoding="utf-8"))
    except UnicodeDecodeError as error:
        raise CallError(f"{call.steps_from} is not UTF-8 text") from error
    except OSError as error:
        raise CallError(f"cannot read {call.steps_from}: {error.strerror or error}") from error
