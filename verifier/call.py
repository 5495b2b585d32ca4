"""What a call of the command may say: commands, options, their ranges and their help.

It reads a call and does nothing else.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, NoReturn

from verifier.help_texts import (
    CHECKLIST_TOLD,
    EQUAL_TOLD,
    EXAMPLE,
    EXIT_CODES_TOLD,
    EXPLAIN_TOLD,
    FAULTS_TOLD,
    GATE_TOLD,
    RUN_STEPS,
)

if TYPE_CHECKING:
    from verifier.claims.claim import View

DEFAULT_LIMIT_SECONDS = 60.0

TAKES_MORE = {
    "check": "files",
    "compare": "files",
    "gate": "paths",
    "recheck": "files",
    "report": "files",
    "run": "steps",
}
"""Commands that take any number of arguments, and where these go."""


class _Parser(argparse.ArgumentParser):
    """Repeats nothing of a wrong call that could steer a terminal."""

    def error(self, message: str) -> NoReturn:
        from verifier.report.pieces import clean

        super().error(clean(message))


def parsed(arguments: Sequence[str] | None) -> argparse.Namespace:
    """The call. A wrong one, `--help` and `--version` end the process by SystemExit, as argparse does."""
    words = sys.argv[1:] if arguments is None else list(arguments)
    root, commands = _parsers()
    if words and not words[0].startswith("-") and words[0] not in commands:
        root.error(f"there is no command {words[0]}{_nearest(words[0], commands)}")
    call, further = root.parse_known_args(words)
    command = commands[call.command]
    # Files and steps that stand after an option come back here: argparse gives a list of arguments only one place.
    strange = [text for text in further if text.startswith("-")]
    if strange:
        option = strange[0].partition("=")[0]
        command.error(f"unknown option {option}{_nearest(option, _options(command))}")
    if further and call.command not in TAKES_MORE:
        command.error(f"one word too many: {further[0]}")
    if further:
        getattr(call, TAKES_MORE[call.command]).extend(further)
    return call


def _options(command: argparse.ArgumentParser) -> list[str]:
    return re.findall(r"--[a-z][a-z-]*", command.format_usage())


def _nearest(word: str, known: Iterable[str]) -> str:
    from difflib import get_close_matches

    close = get_close_matches(word, known, n=1)
    return f"; did you mean {close[0]}?" if close else ""


def _parsers() -> tuple[argparse.ArgumentParser, dict[str, argparse.ArgumentParser]]:
    """The parser of the whole call, and that of each command."""
    plain = argparse.RawDescriptionHelpFormatter
    root = _Parser(
        prog="edgewright",
        description="Proves small sequential circuits right, or finds the shortest input sequence\nthat breaks them.",
        epilog=f"{EXAMPLE}\n{EXIT_CODES_TOLD}",
        formatter_class=plain,
        allow_abbrev=False,
    )
    root.add_argument("--version", action=_ShowVersion, nargs=0, help="print the version and stop")
    added: dict[str, argparse.ArgumentParser] = {}
    commands = root.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name, (add_options, what, epilog) in {
        "check": (_check_options, "judge every claim; a table of steps for each broken one", ""),
        "compare": (_judging_options, "judge every claim of every circuit; circuits down, claims across", ""),
        "explain": (_explain_options, "why does a claim have the verdict it has?", EXPLAIN_TOLD + "\n"),
        "equal": (_equal_options, "do two circuits with the same pins behave the same for ever?", EQUAL_TOLD + "\n"),
        "run": (_run_options, "play a sequence of inputs and show every step", RUN_STEPS + "\n"),
        "report": (_report_options, "judge every claim and write one page with pictures, to open in a browser", ""),
        "draw": (_draw_options, "draw a circuit as an SVG file", ""),
        "faults": (_faults_options, "what would the claims notice if the circuit were miswired?", FAULTS_TOLD + "\n"),
        "checklist": (
            _checklist_options,
            "steps for the real board, with the readings to expect",
            CHECKLIST_TOLD + "\n",
        ),
        "gate": (_gate_options, "judge every file below some paths, and compare with an earlier revision", GATE_TOLD),
        "recheck": (_recheck_options, "do saved certificates still prove their claims about the present circuits?", ""),
    }.items():
        command = commands.add_parser(
            name,
            help=what,
            description=what[:1].upper() + what[1:] + ("" if what.endswith("?") else "."),
            epilog=epilog + EXIT_CODES_TOLD,
            formatter_class=plain,
            allow_abbrev=False,
        )
        added[name] = command
        command.set_defaults(command=name)
        add_options(command)
        command.add_argument("--json", metavar="PATH", help="write the records there; `-`: print them and nothing else")
        command.add_argument("--allow-outside", action="store_true", help="let `use` leave the file's own folder")
    return root, added


class _ShowVersion(argparse.Action):
    """Asks for the version only when it is wanted: looking it up costs as much as a small proof."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        import verifier

        print(f"edgewright {verifier.__version__}")
        parser.exit()


def _judging_options(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("files", metavar="FILE", nargs="+", help="wiring file")
    add("--circuit", metavar="NAME", action="append", help="only this circuit (may be given again)")
    add("--claim", metavar="NAME", action="append", help="only this claim (may be given again)")
    add(
        "--view",
        metavar="VIEW",
        type=_view,
        help="judge in this view the claims that name it or none: settled, any-delay, timed",
    )
    _effort_options(parser)


def _effort_options(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add(
        "--limit",
        metavar="SECONDS",
        type=_seconds,
        default=DEFAULT_LIMIT_SECONDS,
        help="longest time for the whole call (%(default)g)",
    )
    add("--depth", metavar="N", type=_count, help="longest counterexample to look for, in instants")


def _draw_options(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("file", metavar="FILE", help="wiring file")
    add("--circuit", metavar="NAME", help="the circuit to draw; needed when the file has several")
    add("-o", "--output", metavar="PATH", required=True, help="the SVG file to write; `-`: standard output")
    add(
        "--fold",
        metavar="NAME,...",
        action="append",
        default=[],
        help="parts to draw as one box each; `all`: every part (may be given again)",
    )


def _equal_options(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("file", metavar="FILE", help="wiring file")
    add("left", metavar="A", help="one circuit")
    add("right", metavar="B", help="the other circuit")
    add("--other", metavar="FILE", help="the file in which B stands, if it is another one")
    add(
        "--power-up",
        choices=["all", "matching"],
        default="all",
        help="which states are compared from: any of A with any of B, or only those that agree (%(default)s)",
    )
    _effort_options(parser)


def _explain_options(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("file", metavar="FILE", help="wiring file")
    add("--claim", metavar="NAME", required=True, help="the claim to explain")
    add("--circuit", metavar="NAME", help="the circuit; needed when several have the claim")
    _effort_options(parser)


def _check_options(parser: argparse.ArgumentParser) -> None:
    _judging_options(parser)
    parser.add_argument("--witness", action="store_true", help="print a run that shows the trigger of each `must`")
    parser.add_argument("--certificates", metavar="FOLDER", help="write one file there for each proof")
    parser.add_argument("--show", action="store_true", help="print the run of each shown claim as well")
    parser.add_argument("--quiet", action="store_true", help="print no runs, only verdicts")
    _drawing_options(parser)


def _drawing_options(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("--waves", action="store_true", help="draw runs as timing diagrams, not as tables")
    add("--traces", metavar="FOLDER", help="write every run there, as files for other programs")
    add("--traces-as", metavar="KIND,...", help="kinds of these files: vcd, csv, svg (all three)")


def _faults_options(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("file", metavar="FILE", help="wiring file")
    add("--circuit", metavar="NAME", action="append", help="only this circuit (may be given again)")
    add(
        "--technology",
        choices=["ttl", "cmos"],
        default="ttl",
        help="what an open pin does: reads high (ttl), or anything at any time (cmos) (%(default)s)",
    )
    add("--kind", metavar="KIND", action="append", help="only faults of this kind (may be given again)")
    add("--fault", metavar="NAME", help="only the fault of this name, with the table that shows it")
    add("--all", action="store_true", help="every fault with its table, noticed ones too")
    add("--limit", metavar="SECONDS", type=_seconds, default=10.0, help="longest time for one fault (%(default)g)")
    add("--processes", metavar="N", type=_processes, help="work in so many processes (one for each processor)")
    add("--cluster", metavar="ADDRESS", help="work on the dask.distributed cluster with this scheduler")
    add("--resume", metavar="PATH", help="keep outcomes in this file, and use those that are there")


def _recheck_options(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("folder", metavar="FOLDER", help="where `check --certificates` wrote them")
    add("files", metavar="FILE", nargs="+", help="wiring file as it is now")
    add("--circuit", metavar="NAME", action="append", help="only this circuit (may be given again)")
    add("--limit", metavar="SECONDS", type=_seconds, default=10.0, help="longest time for one check (%(default)g)")


def _report_options(parser: argparse.ArgumentParser) -> None:
    _judging_options(parser)
    parser.add_argument("-o", dest="output", metavar="PAGE", required=True, help="the HTML file to write")
    parser.add_argument(
        "--sweep",
        metavar="SWEEP",
        action="append",
        default=[],
        help='also vary a number and plot each `?` against it: "apart of lever 20..120 step 20", '
        '"high of tempo 10..20", "given NAME 5..9" (may be given again)',
    )


def _gate_options(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("paths", metavar="PATH", nargs="+", help="wiring file, or folder to search")
    add("--against", metavar="FILE", help="compare with this record; what it can prove again is judged, not searched")
    add("--record", metavar="FILE", help="write verdicts, proofs and runs there")
    add(
        "--trust-unchanged",
        action="store_true",
        help="take proofs without a certificate (timed ones) from the record where the circuit is unchanged",
    )
    add(
        "--fail-on",
        metavar="KIND,...",
        help="kinds of change that end with exit code 1; see below",
    )
    add("--processes", metavar="N", type=_processes, help="how many files or circuits to work on at once")
    add(
        "--limit", metavar="SECONDS", type=_seconds, default=600.0, help="longest time for the whole call (%(default)g)"
    )
    add("--depth", metavar="N", type=_count, help="longest counterexample to look for, in instants")
    add("--junit", metavar="PATH", help="write a JUnit report there; `-`: print it alone")
    add("--sarif", metavar="PATH", help="write a SARIF 2.1.0 report there; `-`: print it alone")
    add("--markdown", metavar="PATH", help="write a summary for a pull request there; `-`: print it alone")
    add("--quiet", action="store_true", help="print no runs")


def _run_options(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("file", metavar="FILE", help="wiring file")
    add("steps", metavar="STEP", nargs="*", help="what to do, one argument a step; see below")
    add("--circuit", metavar="NAME", help="the circuit to play; needed when the file has several")
    add("--steps", dest="steps_from", metavar="PATH", help="read the steps there, one a line; `-`: standard input")
    add("--nets", metavar="NAME,...", default="", help="inner nets to show beside the pins")
    add(
        "--start",
        metavar="NAME=VALUE",
        action="append",
        default=[],
        help="value of an input or a net at power-up (may be given again)",
    )
    _drawing_options(parser)


def _checklist_options(parser: argparse.ArgumentParser) -> None:
    add = parser.add_argument
    add("file", metavar="FILE", help="wiring file")
    add("--circuit", metavar="NAME", help="the circuit on the board; needed when the file has several")
    add("--led", metavar="NAME,...", action="append", default=[], help="inner nets that have an LED on the board")
    add(
        "--power-up",
        choices=["any", "as-written"],
        default="any",
        help="whether the board wakes as it likes or as the file's starts say (%(default)s)",
    )
    add("--woke", metavar="READINGS", help='what was read at power-up, and the inputs that were not low: "count 0101"')
    add("--strap", metavar="READINGS", help="levels of strapped inputs; low where nothing is said")
    add("--markdown", metavar="PATH", help="write the list there as Markdown; `-`: print it alone")
    add("--csv", metavar="PATH", help="write the list there as comma-separated values; `-`: print it alone")
    add("--page", metavar="PATH", help="write the list there as an HTML page to tick off; `-`: print it alone")
    add("--saw", metavar="READINGS", action="append", default=[], help="what the board showed instead; see below")
    add("--then", metavar="READINGS", action="append", default=[], help="what was done after that; see below")
    add("--only-saw", action="store_true", help="nothing but the readings in --saw was looked at")
    add("--technology", choices=["ttl", "cmos"], default="ttl", help="what an open pin does (%(default)s)")


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


def _processes(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 256:
        raise argparse.ArgumentTypeError("a number of processes is a whole number from 1 to 256")
    return int(text)


def _count(text: str) -> int:
    if not text.isascii() or not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError("a depth is a whole number above 0")
    return int(text)
