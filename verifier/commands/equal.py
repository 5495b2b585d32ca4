"""`equal`: do two circuits with the same pins behave the same for ever?"""

from __future__ import annotations

import argparse
import sys

from verifier.commands.common import (
    exit_code,
    loaded,
    put_record,
    refuse_unwritable,
    time_left,
    writer_of,
)


def run(call: argparse.Namespace) -> int:
    """Compares two circuits and says how they differ, if they do."""
    import verifier
    from verifier.report.equal_page import equal_lines
    from verifier.report.progress import LiveLine
    from verifier.report.records import verdict_record
    from verifier.workbench.selection import one_circuit

    refuse_unwritable(call.json)
    here = loaded([call.file], call.allow_outside)
    there = here if call.other is None else loaded([call.other], call.allow_outside)
    left, right = one_circuit(here, call.left), one_circuit(there, call.right)
    writer = writer_of(call.json)
    with LiveLine(sys.stderr, enabled=writer.live and sys.stderr.isatty(), width=writer.width) as live:
        live.now(f"{left.name} and {right.name}")
        result = verifier.equal(
            left,
            right,
            call.power_up,
            limit=time_left(call),
            depth=call.depth,
            on_depth=lambda instants: live.how_far(f"no difference in the first {instants} instants"),
        )
    writer.write(equal_lines(result, width=writer.width))
    if call.json is not None:
        put_record(verdict_record(verifier.__version__, [result]), call.json)
    return exit_code([result])
