"""The command `edgewright`: reads the call, hands it to its command, ends with an exit code.

It decides nothing about circuits, and every way to end goes through here.
"""

from __future__ import annotations

import argparse
import errno
import os
import sys
import time
from collections.abc import Callable, Sequence
from importlib import import_module

from verifier.call import parsed
from verifier.commands.common import ExitCode, tell
from verifier.errors import EdgewrightError

DISK_TROUBLE = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO}

COMMANDS = {
    "check": "check:run",
    "checklist": "checklist:run",
    "compare": "check:run_compare",
    "draw": "draw:run",
    "equal": "equal:run",
    "faults": "faults:run",
    "explain": "explain:run",
    "gate": "gate:run",
    "recheck": "recheck:run",
    "report": "report:run",
    "run": "run:run",
}
"""Command to the module and the function that carry it out, loaded when the command is called."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one call. Returns its exit code; every ending of the command goes through here."""
    if sys.stderr is None:  # closed by the caller, as `2>&-` does
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 (open as long as the process runs)
    if sys.stdout is None:
        # Before anything is opened: the next file would be given the number of the standard output.
        sys.stderr.write("edgewright: standard output is closed, so nothing was done\n")
        return ExitCode.OUTPUT_CLOSED
    for stream in (sys.stdout, sys.stderr):
        # A name that the terminal's encoding lacks must not end in a traceback.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        started = time.monotonic()
        call = parsed(arguments)
        call.deadline = started + getattr(call, "limit", 0.0)
        code = int(_handler(call.command)(call))
        sys.stdout.flush()
    except EdgewrightError as error:
        tell(error)
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


def _handler(command: str) -> Callable[[argparse.Namespace], int]:
    module, _, function = COMMANDS[command].partition(":")
    handler: Callable[[argparse.Namespace], int] = getattr(import_module(f"verifier.commands.{module}"), function)
    return handler


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
