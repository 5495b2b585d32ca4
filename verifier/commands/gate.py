"""`gate`: every wiring file below some paths, for continuous integration."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.commands.common import (
    ExitCode,
    put_record,
    put_text,
    refuse_unwritable,
    tell,
    time_left,
    writer_of,
)
from verifier.errors import CallError, InternalDisagreement, SourceError

if TYPE_CHECKING:
    from verifier.evidence.gate_outcome import ChangeKind, FileOutcome, GateResult, Trouble


def run(call: argparse.Namespace) -> int:
    """Judges, compares, writes the reports and the record, and says whether the gate is passed."""
    import verifier
    from verifier.report.gate_page import file_line, gate_lines
    from verifier.report.progress import LiveLine

    paths = (call.json, call.record, call.junit, call.sarif, call.markdown)
    for path in paths:
        refuse_unwritable(path)
    writer = writer_of(*paths)
    if call.trust_unchanged and call.against is None:
        raise CallError("there is no record to trust", "--trust-unchanged goes with --against FILE")
    fail_on = _kinds(call.fail_on)
    terms = verifier.GateTerms(
        version=verifier.__version__,
        against=call.against,
        trust_unchanged=call.trust_unchanged,
        keeps_evidence=call.record is not None,
        depth=call.depth,
        allow_outside=call.allow_outside,
    )
    with LiveLine(sys.stderr, enabled=writer.live and sys.stderr.isatty(), width=writer.width) as live:
        live.now("making ready")

        def show(file: FileOutcome) -> None:
            with live.out_of_the_way():
                _warn(file)
                for trouble in file.troubles:
                    _tell(file, trouble)
                writer.write([file_line(file)])

        result = verifier.gate(
            call.paths,
            terms,
            limit=time_left(call),
            processes=call.processes,
            fail_on=fail_on,
            on_file=show,
            in_order=not writer.live,
            on_doing=live.now,
        )
    writer.write(gate_lines(result, runs=not call.quiet, width=writer.width))
    code = gate_exit_code(result)
    _put_reports(call, result)
    if call.record is not None:
        _put_record(call.record, result, code, terms.version)
    return code


def gate_exit_code(result: GateResult) -> ExitCode:
    """The worse comes first."""
    from verifier.evidence.gate_outcome import TroubleKind

    kinds = {trouble.kind for trouble in result.troubles}
    if result.interrupted:
        return ExitCode.INTERRUPTED
    if kinds & {TroubleKind.DISAGREEMENT, TroubleKind.FAILURE}:
        return ExitCode.DISAGREEMENT
    if TroubleKind.INPUT in kinds:
        return ExitCode.BAD_INPUT
    if result.failing or any(claim.is_surprise for claim in result.claims):
        return ExitCode.NOT_AS_EXPECTED
    if kinds or any(claim.is_open for claim in result.claims):
        return ExitCode.UNDECIDED
    return ExitCode.AS_EXPECTED


def _kinds(text: str | None) -> frozenset[ChangeKind]:
    """The kinds of change that were named. Raises CallError when there is none such."""
    from verifier.evidence.gate_outcome import ChangeKind
    from verifier.workbench.gate import FAILS

    if text is None:
        return FAILS
    known = {kind.value: kind for kind in ChangeKind}
    words = [] if text == "none" else text.split(",")
    for word in words:
        if word not in known:
            raise CallError(f"there is no kind of change called {word}", f"there is {', '.join(known)}, or none")
    return frozenset(known[word] for word in words)


def _warn(file: FileOutcome) -> None:
    if file.warnings:
        from verifier.language.diagnostics import format_diagnostic

        rows = dict.fromkeys("\n".join(format_diagnostic(warning)) for warning in file.warnings)
        sys.stderr.write("\n".join(rows) + "\n")


def _tell(file: FileOutcome, trouble: Trouble) -> None:
    from verifier.evidence.gate_outcome import TroubleKind

    where = f"{file.path}: {trouble.circuit}: " if trouble.circuit else f"{file.path}: "
    match trouble.kind:
        case TroubleKind.INPUT if trouble.findings:
            tell(SourceError(trouble.findings))
        case TroubleKind.INPUT:
            tell(CallError(trouble.text, trouble.hint))
        case TroubleKind.DISAGREEMENT:
            tell(InternalDisagreement(where + trouble.text))
        case TroubleKind.FAILURE:
            tell(InternalDisagreement(f"{where}internal error: {trouble.text}"))
        case TroubleKind.LOST:
            """It is told on the page."""


def _put_reports(call: argparse.Namespace, result: GateResult) -> None:
    import verifier

    if call.junit is not None:
        from verifier.report.junit import junit_text

        put_text(junit_text(result), call.junit)
    if call.sarif is not None:
        from verifier.report.sarif import sarif_text

        put_text(sarif_text(result, verifier.__version__, Path.cwd()), call.sarif)
    if call.markdown is not None:
        from verifier.report.pull_request import pull_request_text

        put_text(pull_request_text(result), call.markdown)
    if call.json is not None:
        from verifier.report.gate_json import gate_record_json

        put_record(gate_record_json(verifier.__version__, result), call.json)


def _put_record(path: str, result: GateResult, code: ExitCode, version: str) -> None:
    """Nothing is written where something was not judged: what is missing from a record is not missed later."""
    from verifier.workbench.content_key import own_digest
    from verifier.workbench.gate_record import record_of, record_text

    if code in (ExitCode.INTERRUPTED, ExitCode.DISAGREEMENT, ExitCode.BAD_INPUT):
        sys.stderr.write("edgewright: no record was written, as not everything was judged\n")
        return
    put_text(record_text(record_of(result.files, version, own_digest())), path)
