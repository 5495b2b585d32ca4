"""What the commands share: how a call ends, how files are read, how mistakes are told and records written."""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Sequence
from enum import IntEnum
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.errors import CallError, EdgewrightError, InternalDisagreement, SourceError

if TYPE_CHECKING:
    from verifier.claims.claim import Design, WiringFile
    from verifier.errors import Diagnostic
    from verifier.evidence.verdict import DesignResult
    from verifier.report.records import Record
    from verifier.report.shown_run import RunStyle
    from verifier.report.writer import Writer


class ExitCode(IntEnum):
    """What each way to end means; the numbers are promised to scripts."""

    AS_EXPECTED = 0
    NOT_AS_EXPECTED = 1
    BAD_INPUT = 2
    UNDECIDED = 3
    DISAGREEMENT = 4
    INTERRUPTED = 130
    OUTPUT_CLOSED = 141


SHORTEST_LIMIT_SECONDS = 1e-9


def exit_code(results: Sequence[DesignResult]) -> ExitCode:
    """The one table of how a judging ends. The worse comes first."""
    from verifier.evidence.verdict import Verdict

    claims = [claim for result in results for claim in result.claims]
    if any(result.interrupted for result in results):
        return ExitCode.INTERRUPTED
    if any(claim.verdict is not Verdict.UNDECIDED and not claim.as_expected for claim in claims):
        return ExitCode.NOT_AS_EXPECTED
    if any(claim.verdict is Verdict.UNDECIDED for claim in claims):
        return ExitCode.UNDECIDED
    return ExitCode.AS_EXPECTED


def tell(error: EdgewrightError) -> None:
    """One error on the error stream, with everything in it that could steer a terminal made harmless."""
    from verifier.report.pieces import clean

    if isinstance(error, SourceError):
        from verifier.language.diagnostics import format_diagnostic

        rows = [row for finding in error.diagnostics for row in format_diagnostic(finding)]
    elif isinstance(error, InternalDisagreement):
        rows = [f"edgewright: internal disagreement, no verdict: {error}", "  please report it with the wiring file"]
    else:
        rows = _sentence(f"edgewright: {error}", "")
        if isinstance(error, CallError) and error.hint:
            rows += _sentence(error.hint, "  ")
    sys.stderr.write("".join(clean(row) + "\n" for row in rows))


def _sentence(text: str, margin: str) -> list[str]:
    """In rows that fit the width of reports; words, paths among them, stay whole."""
    import textwrap

    from verifier.report.pieces import clean
    from verifier.report.writer import width_of

    return textwrap.wrap(
        clean(text),
        width_of(sys.stderr),
        initial_indent=margin,
        subsequent_indent="  ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def loaded(paths: Sequence[str], allow_outside: bool) -> WiringFile:
    """All files as one. Every one is read before any is judged, so a mistake in the last costs no waiting."""
    import verifier
    from verifier.claims.claim import WiringFile

    files = [verifier.load(path, allow_outside=allow_outside) for path in dict.fromkeys(paths)]
    _warn([warning for file in files for warning in file.warnings])
    designs = {(design.file, design.name): design for file in files for design in file.designs}
    return WiringFile(", ".join(file.path for file in files), tuple(designs.values()))


def _warn(warnings: Sequence[Diagnostic]) -> None:
    if warnings:
        from verifier.language.diagnostics import format_diagnostic

        rows = dict.fromkeys("\n".join(format_diagnostic(warning)) for warning in warnings)
        sys.stderr.write("\n".join(rows) + "\n")


def time_left(call: argparse.Namespace) -> float:
    """What reading the files has left of the time for the whole call."""
    return max(float(call.deadline) - time.monotonic(), SHORTEST_LIMIT_SECONDS)


def writer_of(*paths: str | None) -> Writer:
    """A silent one where one of these is `-`: standard output then belongs to what is written there alone.

    Raises CallError when several are.
    """
    from verifier.report.writer import SilentWriter, writer_for

    if paths.count("-") > 1:
        raise CallError("`-` is given twice, and there is one standard output", "write the others to files")
    return SilentWriter() if "-" in paths else writer_for(sys.stdout)


def style_of(call: argparse.Namespace) -> RunStyle:
    """How runs are to be shown on standard output."""
    from verifier.report.shown_run import RunStyle

    if not call.waves:
        return RunStyle.TABLE
    from verifier.report.waves import can_be_written

    return RunStyle.WAVES if can_be_written(sys.stdout.encoding, os.environ) else RunStyle.ASCII_WAVES


def trace_kinds(call: argparse.Namespace) -> tuple[str, ...]:
    """The kinds of files that runs are to be written as; empty: none are. Raises CallError when the call is wrong."""
    if call.traces is None:
        if call.traces_as is not None:
            raise CallError("--traces-as says how, and nothing says where", "add --traces FOLDER")
        return ()
    from verifier.report.trace_files import WRITERS, kinds_in

    return tuple(WRITERS) if call.traces_as is None else kinds_in(call.traces_as)


def traces_folder(path: str, designs: Sequence[Design] = ()) -> Path:
    """The folder for traces. Raises CallError when it cannot be made, or when names of files would meet."""
    from verifier.report.trace_files import folder_made_ready

    return folder_made_ready(path, designs)


def refuse_unwritable(json_path: str | None) -> None:
    """A record that could not be written is better refused before the work than after."""
    if json_path not in (None, "-") and not Path(json_path).absolute().parent.is_dir():
        raise CallError(f"there is no folder {Path(json_path).parent} to write {Path(json_path).name} in")


def put_record(record: Record, json_path: str) -> None:
    from verifier.report.records import as_json

    put_text(as_json(record), json_path)


def put_text(text: str, path: str) -> None:
    """Writes the whole text there; `-` is standard output. Raises CallError when it cannot be written."""
    from verifier.report.records import write_whole

    if path == "-":
        sys.stdout.write(text)
        return
    try:
        write_whole(Path(path), text)
    except OSError as error:
        raise CallError(f"cannot write {path}: {error.strerror or error}") from error
