"""`faults`: what would the claims notice if the circuits were miswired?"""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from verifier.commands.common import ExitCode, loaded, put_record, refuse_unwritable, tell, writer_of

if TYPE_CHECKING:
    from verifier.claims.claim import Design
    from verifier.errors import SourceError
    from verifier.evidence.fault_outcome import CampaignResult


def run(call: argparse.Namespace) -> int:
    """Judges every single fault, prints the page and writes the record."""
    import verifier
    from verifier.report.faults_page import FaultsPage, progress_told
    from verifier.report.progress import LiveLine

    refuse_unwritable(call.json)
    wiring_file = loaded([call.file], call.allow_outside)
    writer = writer_of(call.json)
    refused: list[tuple[Design, SourceError]] = []
    with LiveLine(sys.stderr, enabled=writer.live and sys.stderr.isatty(), width=writer.width) as live:

        def refuse(design: Design, error: SourceError) -> None:
            refused.append((design, error))
            with live.out_of_the_way():
                tell(error)

        live.now("judging the good circuits")
        result = verifier.faults(
            wiring_file,
            call.circuit,
            technology=call.technology,
            kinds=call.kind,
            fault=call.fault,
            limit=call.limit,
            processes=call.processes,
            cluster=call.cluster,
            resume=call.resume,
            on_progress=lambda done, total, noticed: live.show(progress_told(done, total, noticed)),
            on_refused=refuse,
        )
    page = FaultsPage(width=writer.width, every_table=call.all or call.fault is not None)
    writer.write(page.lines(result, resume=call.resume))
    if call.json is not None:
        from verifier.report.fault_records import campaign_record

        put_record(campaign_record(verifier.__version__, result, refused), call.json)
    code = exit_code(result)
    return ExitCode.BAD_INPUT if refused and code is not ExitCode.INTERRUPTED else code


def exit_code(result: CampaignResult) -> ExitCode:
    """The worse comes first."""
    from verifier.evidence.fault_outcome import Standing

    standings = {one.outcome.standing for campaign in result.circuits for one in campaign.judged}
    if result.interrupted:
        return ExitCode.INTERRUPTED
    if Standing.UNNOTICED in standings:
        return ExitCode.NOT_AS_EXPECTED
    return ExitCode.UNDECIDED if Standing.UNDECIDED in standings else ExitCode.AS_EXPECTED
