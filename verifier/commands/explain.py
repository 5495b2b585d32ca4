"""`explain`: why a claim has the verdict it has."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from verifier.commands.common import (
    exit_code,
    loaded,
    put_record,
    refuse_unwritable,
    time_left,
    writer_of,
)

if TYPE_CHECKING:
    from verifier.evidence.explanation import Explanation
    from verifier.report.records import Record


def run(call: argparse.Namespace) -> int:
    """Judges one claim and says why its verdict is what it is."""
    import verifier
    from verifier.evidence.verdict import DesignResult
    from verifier.report.explain_page import explain_lines
    from verifier.report.progress import LiveLine

    refuse_unwritable(call.json)
    wiring_file = loaded([call.file], call.allow_outside)
    writer = writer_of(call.json)
    with LiveLine(sys.stderr, enabled=writer.live and sys.stderr.isatty(), width=writer.width) as live:
        explanation = verifier.explain(
            wiring_file,
            call.claim,
            call.circuit,
            limit=time_left(call),
            depth=call.depth,
            on_stage=live.now,
            on_depth=lambda instants: live.how_far(f"nothing in the first {instants} instants"),
        )
    writer.write(explain_lines(explanation, width=writer.width))
    if call.json is not None:
        put_record(_record(explanation), call.json)
    judged = DesignResult(design=explanation.design, claims=(explanation.result,), assumes=explanation.assumes)
    return exit_code([judged])


def _record(explanation: Explanation) -> Record:
    import verifier
    from verifier.report.explain_record import explanation_record

    return explanation_record(verifier.__version__, explanation)
