"""`report`: every claim judged, and everything found put on one page that opens in a browser."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.commands.common import (
    ExitCode,
    exit_code,
    loaded,
    put_record,
    refuse_unwritable,
    tell,
    time_left,
    writer_of,
)
from verifier.errors import CallError, SourceError

if TYPE_CHECKING:
    from verifier.claims.claim import Claim, Design
    from verifier.evidence.verdict import FileResult
    from verifier.report.page.content import Sweep
    from verifier.report.progress import LiveLine
    from verifier.report.records import Refused
    from verifier.workbench.number_sweep import AskedSweep


SHARE_BESIDE_SWEEPS = 0.5
"""Of the time, for the verdicts, where sweeps are asked for too."""


def run(call: argparse.Namespace) -> int:
    """Judges, writes the page, and says in a few lines what is on it."""
    import verifier
    from verifier.report.pieces import clean, line
    from verifier.report.progress import LiveLine
    from verifier.report.verdicts import summary_lines, unclaimed
    from verifier.workbench.number_sweep import asked_sweep

    _refuse_unwritable(call.output)
    refuse_unwritable(call.json)
    asked = [asked_sweep(text) for text in call.sweep]
    wiring_file = loaded(call.files, call.allow_outside)
    writer = writer_of(call.json)
    refused: list[Refused] = []
    with LiveLine(sys.stderr, enabled=writer.live and sys.stderr.isatty(), width=writer.width) as live:

        def starts(design: Design, claim: Claim) -> None:
            live.now(f"{design.name}: {claim.name}")

        def refuse(design: Design, error: SourceError) -> None:
            refused.append((design, error))
            with live.out_of_the_way():
                tell(error)

        live.now("making ready")
        result = verifier.check(
            wiring_file,
            call.circuit,
            call.claim,
            call.view,
            limit=time_left(call) * (SHARE_BESIDE_SWEEPS if asked else 1.0),
            depth=call.depth,
            wishes=verifier.Wishes(certificates=True),
            on_start=starts,
            on_depth=lambda instants: live.how_far(f"no answer in the first {instants} instants"),
            on_refused=refuse,
        )
        if refused and not result.designs:
            return ExitCode.BAD_INPUT
        swept = _swept(call, result, asked, live)
        live.now("writing the page")
        size = _put_page(call.output, result, [design for design, _ in refused], swept)
    designs = [design for design, _ in refused]
    told = f"{clean(call.output)}: {size / 1000:.0f} kB, opens in any browser"
    without = unclaimed(wiring_file.designs, result.designs)
    writer.write([*summary_lines(result.designs, designs, without, width=writer.width), line(told)])
    if call.json is not None:
        from verifier.report.records import verdict_record

        put_record(verdict_record(verifier.__version__, result.designs, refused), call.json)
    code = exit_code(result.designs)
    return ExitCode.BAD_INPUT if refused and code is not ExitCode.INTERRUPTED else code


def _swept(
    call: argparse.Namespace, result: FileResult, asked: Sequence[AskedSweep], live: LiveLine
) -> tuple[Sweep, ...]:
    if not asked:
        return ()
    from verifier.workbench.number_sweep import sweeps

    return sweeps([found.design for found in result.designs], asked, limit=time_left(call), on_point=live.now)


def _refuse_unwritable(path: str) -> None:
    folder = Path(path).absolute().parent
    if not folder.is_dir():
        raise CallError(f"there is no folder {Path(path).parent} to write {Path(path).name} in")
    if Path(path).is_dir():
        raise CallError(f"{path} is a folder", "name the file of the page: -o page.html")


def _put_page(path: str, result: FileResult, refused: list[Design], swept: Sequence[Sweep]) -> int:
    """Writes the page and returns its size in bytes."""
    import verifier
    from verifier.report.page.document import report_page
    from verifier.report.records import write_whole
    from verifier.workbench.page_content import page_content

    text = report_page(page_content(verifier.__version__, result, refused, swept=swept))
    try:
        write_whole(Path(path), text)
    except OSError as error:
        raise CallError(f"cannot write {path}: {error.strerror or error}") from error
    return len(text.encode())
