"""`check` and `compare`: every claim judged, shown as it comes or as a matrix."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from verifier.commands.common import (
    ExitCode,
    exit_code,
    loaded,
    put_record,
    refuse_unwritable,
    style_of,
    tell,
    time_left,
    trace_kinds,
    traces_folder,
    writer_of,
)
from verifier.errors import CallError, SourceError

if TYPE_CHECKING:
    from verifier.claims.claim import Claim, Design, WiringFile
    from verifier.evidence.verdict import ClaimResult, DesignResult
    from verifier.report.progress import LiveLine
    from verifier.report.records import Refused
    from verifier.report.writer import Writer
    from verifier.workbench.judge import Wishes

    class Page(Protocol):
        """What is told about a judging while it goes on, and prints it."""

        def starts(self, design: Design, claim: Claim) -> None: ...
        def searched(self, instants: int) -> None: ...
        def judged(self, design: Design, result: ClaimResult) -> None: ...
        def finish(
            self, results: Sequence[DesignResult], refused: Sequence[Design] = (), unclaimed: Sequence[str] = ()
        ) -> None: ...


def run(call: argparse.Namespace) -> int:
    return _judge(call, lambda writer, live: _check_page(call, writer, live), _wishes(call), traces=trace_kinds(call))


def run_compare(call: argparse.Namespace) -> int:
    from verifier.report.matrix import MatrixPage

    return _judge(call, MatrixPage, parts=True)


def _check_page(call: argparse.Namespace, writer: Writer, live: LiveLine) -> Page:
    from verifier.report.check_page import CheckPage, Runs

    style = style_of(call)
    return CheckPage(writer, live, Runs(broken=not call.quiet, shown=call.show, witnesses=call.witness, style=style))


def _wishes(call: argparse.Namespace) -> Wishes:
    import verifier

    return verifier.Wishes(witnesses=call.witness, certificates=call.certificates is not None)


def _judge(
    call: argparse.Namespace,
    page_for: Callable[[Writer, LiveLine], Page],
    wishes: Wishes | None = None,
    *,
    traces: Sequence[str] = (),
    parts: bool = False,
) -> int:
    """Loads, judges while the page is printed, writes the record (with `parts` too), and says how it ended."""
    import verifier
    from verifier.report.progress import LiveLine
    from verifier.report.verdicts import unclaimed

    refuse_unwritable(call.json)
    wiring_file = loaded(call.files, call.allow_outside)
    wishes = wishes or verifier.Wishes()
    folder = _certificates_folder(call.certificates, wiring_file) if wishes.certificates else None
    put_traces_in = traces_folder(call.traces, wiring_file.designs) if traces else None
    writer = writer_of(call.json)
    refused: list[Refused] = []
    with LiveLine(sys.stderr, enabled=writer.live and sys.stderr.isatty(), width=writer.width) as live:

        def refuse(design: Design, error: SourceError) -> None:
            refused.append((design, error))
            with live.out_of_the_way():
                tell(error)

        page = page_for(writer, live)
        live.now("making ready")
        result = verifier.check(
            wiring_file,
            call.circuit,
            call.claim,
            call.view,
            limit=time_left(call),
            depth=call.depth,
            wishes=wishes,
            on_start=page.starts,
            on_result=page.judged,
            on_depth=page.searched,
            on_refused=refuse,
        )
        if refused and not result.designs:
            return ExitCode.BAD_INPUT
        without = unclaimed(wiring_file.designs, result.designs)
        page.finish(result.designs, [design for design, _ in refused], without)
    if folder is not None:
        _put_certificates(folder, result.designs, writer)
    if put_traces_in is not None:
        _put_traces(put_traces_in, result.designs, traces, writer)
    if call.json is not None:
        from verifier.report.records import verdict_record

        record = verdict_record(verifier.__version__, result.designs, refused, witnesses=wishes.witnesses, parts=parts)
        put_record(record, call.json)
    code = exit_code(result.designs)
    return ExitCode.BAD_INPUT if refused and code is not ExitCode.INTERRUPTED else code


def _certificates_folder(path: str, wiring_file: WiringFile) -> Path:
    from verifier.workbench.certificates import made_ready

    return made_ready(Path(path), wiring_file.designs)


def _put_certificates(folder: Path, results: Sequence[DesignResult], writer: Writer) -> None:
    import verifier
    from verifier.report.pieces import line
    from verifier.report.recheck_page import saved_line

    try:
        written = verifier.write_certificates(folder, results)
    except OSError as error:
        raise CallError(f"cannot write certificates into {folder}: {error.strerror or error}") from error
    writer.write([line(), saved_line(len(written), str(folder))])


def _put_traces(folder: Path, results: Sequence[DesignResult], kinds: Sequence[str], writer: Writer) -> None:
    from verifier.report.pieces import line
    from verifier.report.trace_files import traces_line, traces_of, write_traces

    traces = traces_of(results)
    written = write_traces(folder, traces, kinds)
    writer.write([line(), traces_line(len(traces), len(written), str(folder))])
