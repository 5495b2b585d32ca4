"""The command `edgewright`: reads the call, asks the workbench, shows what comes back, ends with an exit code.

The one place that prints and exits. It decides nothing about circuits.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from enum import IntEnum
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.errors import CallError, EdgewrightError, InternalDisagreement, SourceError

if TYPE_CHECKING:
    from verifier.evidence.verdict import DesignResult


class ExitCode(IntEnum):
    """What each way to end means; the numbers are promised to scripts."""

    AS_EXPECTED = 0
    NOT_AS_EXPECTED = 1
    BAD_INPUT = 2
    UNDECIDED = 3
    DISAGREEMENT = 4
    INTERRUPTED = 130
    OUTPUT_CLOSED = 141


EXIT_CODES_TOLD = """\
exit codes:
  0  every verdict is as expected          3  a claim stayed undecided
  1  a claim is not as expected            4  internal disagreement or error
  2  the input or the call is wrong      130  interrupted (Ctrl-C)
"""

EXAMPLE = """\
example: two bells that must never be struck together
  $ cat two_bells.wiring
  circuit two_bells
      input  low_key, high_key
      output low_bell, high_bell
      must never_both: never (low_bell and high_bell)
      low_bell  = low_key
      high_bell = high_key and not low_key
  $ edgewright check two_bells.wiring
"""

RUN_STEPS = """\
Each STEP is one step; the words in it happen together:
  lever=1         set an input (a bus takes a number: pattern=5)
  lever           flip an input of one bit
  "a=1 b=0"       two at once, where the file lets inputs change together
  wait            change nothing
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one call. Returns its exit code; every ending of the command goes through here."""
    for stream in (sys.stdout, sys.stderr):
        # A name that the terminal's encoding lacks must not end in a traceback.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        call = _parser().parse_args(arguments)
        code = int(call.command(call))
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
    except Exception as error:
        code = _internal_error(error)
    return code


def _forget_output() -> None:
    """Whoever read our output went away; the interpreter must not complain about it when it closes the stream."""
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


def _parser() -> argparse.ArgumentParser:
    plain = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(
        prog="edgewright",
        description="Proves small sequential circuits right, or hands over the shortest input sequence that breaks them.",
        epilog=f"{EXAMPLE}\n{EXIT_CODES_TOLD}",
        formatter_class=plain,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action=_ShowVersion, nargs=0, help="print the version and stop")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    described = [
        ("check", _check, "judge every claim; a table of steps for each broken one"),
        ("compare", _compare, "judge every claim of every circuit; circuits down, claims across"),
        ("run", _run, "play a sequence of inputs and show every step"),
    ]
    for name, command, help_text in described:
        epilog = f"{RUN_STEPS}\n{EXIT_CODES_TOLD}" if name == "run" else EXIT_CODES_TOLD
        sub = commands.add_parser(
            name, help=help_text, description=help_text.capitalize() + ".", epilog=epilog, formatter_class=plain, allow_abbrev=False
        )
        sub.set_defaults(command=command)
        {"check": _check_options, "compare": _judging_options, "run": _run_options}[name](sub)
        sub.add_argument("--json", metavar="PATH", help="write the records there too; - : to standard output, and nothing else")
        sub.add_argument("--allow-outside", action="store_true", help="let `use` reach out of the file's own folder")
    return parser


class _ShowVersion(argparse.Action):
    """Asks for the version only when it is wanted: looking it up costs as much as a small proof."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        import verifier

        print(f"edgewright {verifier.__version__}")
        parser.exit()


def _judging_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("files", metavar="FILE", nargs="+", help="wiring file")
    parser.add_argument("--circuit", metavar="NAME", action="append", help="only this circuit (may be given again)")
    parser.add_argument("--claim", metavar="NAME", action="append", help="only this claim (may be given again)")
    parser.add_argument("--view", metavar="VIEW", type=_view, help="only claims of this view: settled, any-delay or timed")
    parser.add_argument("--limit", metavar="SECONDS", type=_seconds, default=60.0, help="longest time for one claim (60)")
    parser.add_argument("--depth", metavar="N", type=_count, help="longest counterexample to look for, in instants")


def _check_options(parser: argparse.ArgumentParser) -> None:
    _judging_options(parser)
    parser.add_argument("--show", action="store_true", help="print the run of each shown claim as well")
    parser.add_argument("--quiet", action="store_true", help="print no runs, only verdicts")


def _run_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="wiring file")
    parser.add_argument("steps", metavar="STEP", nargs="*", help="what to do, one argument a step; see below")
    parser.add_argument("--circuit", metavar="NAME", help="the circuit to play; needed when the file has several")
    parser.add_argument("--steps", dest="steps_from", metavar="PATH", help="read the steps there, one a line; - : from standard input")
    parser.add_argument("--nets", metavar="NAME,...", default="", help="inner nets to show beside the pins")
    parser.add_argument("--start", metavar="NAME=VALUE", action="append", default=[], help="value at power-up, of an input or a storage part")


def _view(text: str) -> View:
    from verifier.claims.claim import View

    try:
        return View(text.replace("-", " ").replace("_", " "))
    except ValueError:
        raise argparse.ArgumentTypeError("a view is settled, any-delay or timed") from None


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = 0.0
    if not 0 < seconds < float("inf"):
        raise argparse.ArgumentTypeError("a time limit is a number of seconds above 0")
    return seconds


def _count(text: str) -> int:
    if not text.isascii() or not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError("a depth is a whole number above 0")
    return int(text)


def _check(call: argparse.Namespace) -> int:
    from verifier.report.check_page import CheckPage

    return _judge(call, lambda writer, live: CheckPage(writer, live, broken_runs=not call.quiet, shown_runs=call.show))


def _compare(call: argparse.Namespace) -> int:
    from verifier.report.matrix import MatrixPage

    return _judge(call, MatrixPage)


def _judge(call: argparse.Namespace, page_for: Callable[[Writer, LiveLine], Page]) -> int:
    """Loads, judges while the page is printed, writes the record, and says how it ended."""
    import verifier
    from verifier.report.progress import LiveLine

    _refuse_unwritable(call.json)
    wiring_file = _loaded(call.files, call.allow_outside)
    writer = _writer(call.json)
    with LiveLine(sys.stderr, enabled=writer.live and sys.stderr.isatty(), width=writer.width) as live:
        page = page_for(writer, live)
        result = verifier.check(
            wiring_file,
            call.circuit,
            call.claim,
            call.view,
            limit=call.limit,
            depth=call.depth,
            on_start=page.starts,
            on_result=page.judged,
        )
        page.finish(result.designs)
    if call.json is not None:
        from verifier.report.records import verdict_record

        _put_record(verdict_record(verifier.__version__, result.designs), call.json)
    return exit_code(result.designs)


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
