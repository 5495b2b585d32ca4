"""`checklist`: steps for the real board, and the faults that explain a board that disagrees with them."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from verifier.commands.common import ExitCode, loaded, put_record, put_text, refuse_unwritable, writer_of
from verifier.errors import CallError

if TYPE_CHECKING:
    from verifier.claims.claim import Design
    from verifier.evidence.checklist import Checklist
    from verifier.evidence.diagnosis import Diagnosis
    from verifier.report.progress import LiveLine


def run(call: argparse.Namespace) -> int:
    """Prints the list, or what explains the readings. A board that disagrees is no error of the call."""
    from verifier.report.progress import LiveLine
    from verifier.workbench.selection import one_circuit

    paths = (call.json, call.markdown, call.csv, call.page)
    for path in paths:
        refuse_unwritable(path)
    writer = writer_of(*paths)
    design = one_circuit(loaded([call.file], call.allow_outside), call.circuit)
    if call.then and not call.saw:
        raise CallError("--then goes on from a reading of the list", 'say which with --saw "step 7: beat high"')
    with LiveLine(sys.stderr, enabled=sys.stderr.isatty() and "-" not in paths, width=writer.width) as live:
        live.now(f"{design.name}: looking for all states at rest and the shortest way through them")
        checklist = _checklist(call, design)
        found = _diagnosis(call, checklist, live) if call.saw else None
    _write_files(call, checklist)
    if found is None:
        from verifier.report.checklist_table import checklist_lines

        writer.write(checklist_lines(checklist, width=writer.width))
    else:
        from verifier.report.diagnosis_page import diagnosis_lines

        writer.write(diagnosis_lines(found, width=writer.width))
    _put(call, checklist, found)
    return ExitCode.AS_EXPECTED


def _checklist(call: argparse.Namespace, design: Design) -> Checklist:
    from verifier.evidence.checklist import PowerUp
    from verifier.workbench.checklist import checklist
    from verifier.workbench.readings import levels

    leds = [name.strip() for text in call.led for name in text.split(",") if name.strip()]
    woke = levels(call.woke, design.netlist) if call.woke is not None else None
    straps = levels(call.strap, design.netlist) if call.strap is not None else None
    power_up = PowerUp.AS_READ if woke is not None else PowerUp(call.power_up.replace("-", " "))
    return checklist(design, leds=leds, power_up=power_up, woke=woke, straps=straps)


def _diagnosis(call: argparse.Namespace, checklist: Checklist, live: LiveLine) -> Diagnosis:
    from verifier.workbench.diagnosis import diagnosis, technology_named
    from verifier.workbench.readings import further, seen

    netlist = checklist.design.netlist
    live.now(f"{checklist.design.name}: following every single fault through the steps")
    return diagnosis(
        checklist,
        [seen(text, netlist) for text in call.saw],
        [further(text, netlist) for text in call.then],
        technology=technology_named(call.technology),
        only_seen=call.only_saw,
    )


def _write_files(call: argparse.Namespace, checklist: Checklist) -> None:
    from verifier.report.checklist_files import as_csv, as_markdown
    from verifier.report.checklist_page import as_page

    for path, form in ((call.markdown, as_markdown), (call.csv, as_csv), (call.page, as_page)):
        if path is not None:
            put_text(form(checklist), path)


def _put(call: argparse.Namespace, checklist: Checklist, found: Diagnosis | None) -> None:
    if call.json is None:
        return
    import verifier
    from verifier.report.checklist_records import checklist_record, diagnosis_record

    if found is None:
        put_record(checklist_record(verifier.__version__, checklist), call.json)
    else:
        put_record(diagnosis_record(verifier.__version__, found), call.json)
