"""The command `edgewright`: reads the call, asks the workbench, shows what comes back, ends with an exit code.

The one place that prints and exits. It decides nothing about circuits.
"""

from __future__ import annotations

import argparse
import errno
import os
import sys
import time
from collections.abc import Callable, Sequence
from enum import IntEnum
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from verifier.call import parsed
from verifier.errors import CallError, EdgewrightError, InternalDisagreement, SourceError

if TYPE_CHECKING:
    from verifier.claims.claim import Claim, Design, WiringFile
    from verifier.errors import Diagnostic
    from verifier.evidence.verdict import ClaimResult, DesignResult, Rechecked
    from verifier.report.progress import LiveLine
    from verifier.report.records import Record, Refused
    from verifier.report.writer import Writer
    from verifier.workbench.judge import Wishes

    class Page(Protocol):
        """What is told about a judging while it goes on, and prints it."""

        def starts(self, design: Design, claim: Claim) -> None: ...
        def searched(self, instants: int) -> None: ...
        def judged(self, design: Design, result: ClaimResult) -> None: ...
        def finish(self, results: Sequence[DesignResult], refused: Sequence[Design] = ()) -> None: ...


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
DISK_TROUBLE = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO}


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one call. Returns its exit code; every ending of the command goes through here."""
    for stream in (sys.stdout, sys.stderr):
        # A name that the terminal's encoding lacks must not end in a traceback.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        started = time.monotonic()
        call = parsed(arguments)
        call.deadline = started + getattr(call, "limit", 0.0)
        code = int(COMMANDS[call.command](call))
        sys.stdout.flush()
    except EdgewrightError as error:
        _tell(error)
        code = error.exit_code
    except KeyboardInterrupt:
        sys.stderr.write("interrupted\n")
        code = ExitCode.INTERRUPTED
    except BrokenPipeError:
        _forget_output()
        code = ExitCode.OUTPUT_CLOSED
    except OSError as error:
        if error.errno not in DISK_TROUBLE:
            return _internal_error(error)
        _forget_output()
        sys.stderr.write(f"edgewright: cannot write: {error.strerror or error}\n")
        code = ExitCode.BAD_INPUT
    except Exception as error:
        code = _internal_error(error)
    return code


def _forget_output() -> None:
    """Nobody takes our output any more; the interpreter must not complain about it when it closes the stream."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())


def _internal_error(error: Exception) -> int:
    if os.environ.get("EDGEWRIGHT_TRACEBACK") == "1":
        import traceback

        traceback.print_exception(error)
    from verifier.report.pieces import clean

    what = clean(f"{type(error).__name__}: {error}")
    sys.stderr.write(
        f"edgewright: internal error ({what}); please report it with the wiring file"
        " (EDGEWRIGHT_TRACEBACK=1 shows where it came from)\n"
    )
    return ExitCode.DISAGREEMENT


def _tell(error: EdgewrightError) -> None:
    """One error on the error stream, with everything in it that could steer a terminal made harmless."""
    from verifier.report.pieces import clean

    if isinstance(error, SourceError):
        from verifier.language.diagnostics import format_diagnostic

        rows = [row for finding in error.diagnostics for row in format_diagnostic(finding)]
    elif isinstance(error, InternalDisagreement):
        rows = [f"edgewright: internal disagreement, no verdict: {error}", "  please report it with the wiring file"]
    else:
        rows = [f"edgewright: {error}"]
        if isinstance(error, CallError) and error.hint:
            rows.append(f"  {error.hint}")
    sys.stderr.write("".join(clean(row) + "\n" for row in rows))


def _check(call: argparse.Namespace) -> int:
    return _judge(call, lambda writer, live: _check_page(call, writer, live), _wishes(call))


def _check_page(call: argparse.Namespace, writer: Writer, live: LiveLine) -> Page:
    from verifier.report.check_page import CheckPage, Runs

    return CheckPage(writer, live, Runs(broken=not call.quiet, shown=call.show, witnesses=call.witness))


def _wishes(call: argparse.Namespace) -> Wishes:
    import verifier

    return verifier.Wishes(witnesses=call.witness, certificates=call.certificates is not None)


def _compare(call: argparse.Namespace) -> int:
    from verifier.report.matrix import MatrixPage

    return _judge(call, MatrixPage)


def _judge(call: argparse.Namespace, page_for: Callable[[Writer, LiveLine], Page], wishes: Wishes | None = None) -> int:
    """Loads, judges while the page is printed, writes the record, and says how it ended."""
    import verifier
    from verifier.report.progress import LiveLine

    _refuse_unwritable(call.json)
    wiring_file = _loaded(call.files, call.allow_outside)
    wishes = wishes or verifier.Wishes()
    folder = _certificates_folder(call.certificates, wiring_file) if wishes.certificates else None
    writer = _writer(call.json)
    refused: list[Refused] = []
    with LiveLine(sys.stderr, enabled=writer.live and sys.stderr.isatty(), width=writer.width) as live:

        def refuse(design: Design, error: SourceError) -> None:
            refused.append((design, error))
            with live.out_of_the_way():
                _tell(error)

        page = page_for(writer, live)
        live.now("making ready")
        result = verifier.check(
            wiring_file,
            call.circuit,
            call.claim,
            call.view,
            limit=_time_left(call),
            depth=call.depth,
            wishes=wishes,
            on_start=page.starts,
            on_result=page.judged,
            on_depth=page.searched,
            on_refused=refuse,
        )
        if refused and not result.designs:
            return ExitCode.BAD_INPUT
        page.finish(result.designs, [design for design, _ in refused])
    if folder is not None:
        _put_certificates(folder, result.designs, writer)
    if call.json is not None:
        from verifier.report.records import verdict_record

        record = verdict_record(verifier.__version__, result.designs, refused, witnesses=wishes.witnesses)
        _put_record(record, call.json)
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


def _recheck(call: argparse.Namespace) -> int:
    """Judges saved proofs against the circuits as they are now; what cannot be judged is told, and the rest goes on."""
    import verifier
    from verifier.report.recheck_page import recheck_lines, recheck_record

    _refuse_unwritable(call.json)
    wiring_file = _loaded(call.files, call.allow_outside)
    troubles: list[EdgewrightError] = []

    def trouble(error: EdgewrightError) -> None:
        troubles.append(error)
        _tell(error)

    found = verifier.recheck_saved(Path(call.folder), wiring_file, limit=call.limit, on_trouble=trouble)
    writer = _writer(call.json)
    writer.write(recheck_lines(found, troubles=len(troubles), width=writer.width))
    if call.json is not None:
        _put_record(recheck_record(verifier.__version__, found, troubles), call.json)
    return ExitCode.BAD_INPUT if troubles else recheck_exit_code(found)


def recheck_exit_code(found: Sequence[Rechecked]) -> ExitCode:
    from verifier.evidence.verdict import Fit

    fits = {entry.fit for entry in found}
    if fits & {Fit.NO_LONGER, Fit.MISSING}:
        return ExitCode.NOT_AS_EXPECTED
    return ExitCode.UNDECIDED if Fit.OPEN in fits else ExitCode.AS_EXPECTED


def _equal(call: argparse.Namespace) -> int:
    """Compares two circuits and says how they differ, if they do."""
    import verifier
    from verifier.report.equal_page import equal_lines
    from verifier.report.progress import LiveLine
    from verifier.report.records import verdict_record
    from verifier.workbench.selection import one_circuit

    _refuse_unwritable(call.json)
    here = _loaded([call.file], call.allow_outside)
    there = here if call.other is None else _loaded([call.other], call.allow_outside)
    left, right = one_circuit(here, call.left), one_circuit(there, call.right)
    writer = _writer(call.json)
    with LiveLine(sys.stderr, enabled=writer.live and sys.stderr.isatty(), width=writer.width) as live:
        live.now(f"{left.name} and {right.name}")
        result = verifier.equal(
            left,
            right,
            call.power_up,
            limit=_time_left(call),
            depth=call.depth,
            on_depth=lambda instants: live.how_far(f"no difference in the first {instants} instants"),
        )
    writer.write(equal_lines(result, width=writer.width))
    if call.json is not None:
        _put_record(verdict_record(verifier.__version__, [result]), call.json)
    return exit_code([result])


def _run(call: argparse.Namespace) -> int:
    """Plays the steps and shows them. No claim is judged, so it ends well unless the call is wrong."""
    import verifier
    from verifier.report.records import run_record
    from verifier.report.run_page import played_lines
    from verifier.report.signals import shown_signals
    from verifier.workbench.selection import one_circuit
    from verifier.workbench.sequence import shown_names

    _refuse_unwritable(call.json)
    design = one_circuit(_loaded([call.file], call.allow_outside), call.circuit)
    nets = shown_names(design, [name.strip() for name in call.nets.split(",") if name.strip()])
    played = verifier.play_words(design, _steps(call), call.start)
    signals = shown_signals(design.netlist, further=nets)
    writer = _writer(call.json)
    writer.write(played_lines(design, played.run, signals, played.notes, width=writer.width))
    if call.json is not None:
        further = {"notes": played.notes, "broken_givens": played.broken_givens}
        _put_record(run_record(verifier.__version__, design, played.run, signals, **further), call.json)
    return ExitCode.AS_EXPECTED


def _steps(call: argparse.Namespace) -> list[str]:
    from verifier.workbench.sequence import steps_in

    if call.steps_from is None:
        return list(call.steps)
    if call.steps:
        raise CallError("steps are given both on the command line and with --steps")
    if call.steps_from == "-":
        return steps_in(sys.stdin.read())
    try:
        return steps_in(Path(call.steps_from).read_text(encoding="utf-8"))
    except UnicodeDecodeError as error:
        raise CallError(f"{call.steps_from} is not UTF-8 text") from error
    except OSError as error:
        raise CallError(f"cannot read {call.steps_from}: {error.strerror or error}") from error


def _time_left(call: argparse.Namespace) -> float:
    """What reading the files has left of the time for the whole call."""
    return max(float(call.deadline) - time.monotonic(), SHORTEST_LIMIT_SECONDS)


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


def _loaded(paths: Sequence[str], allow_outside: bool) -> WiringFile:
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


def _writer(json_path: str | None) -> Writer:
    from verifier.report.writer import SilentWriter, writer_for

    return SilentWriter() if json_path == "-" else writer_for(sys.stdout)


def _refuse_unwritable(json_path: str | None) -> None:
    """A record that could not be written is better refused before the work than after."""
    if json_path not in (None, "-") and not Path(json_path).absolute().parent.is_dir():
        raise CallError(f"there is no folder {Path(json_path).parent} to write {Path(json_path).name} in")


def _put_record(record: Record, json_path: str) -> None:
    from verifier.report.records import as_json, write_whole

    if json_path == "-":
        sys.stdout.write(as_json(record))
        return
    try:
        write_whole(Path(json_path), as_json(record))
    except OSError as error:
        raise CallError(f"cannot write {json_path}: {error.strerror or error}") from error


COMMANDS = {"check": _check, "compare": _compare, "equal": _equal, "recheck": _recheck, "run": _run}
