"""The command as a process: pipes that close, Ctrl-C, a real terminal."""

from __future__ import annotations

import json
import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

COMMAND = [sys.executable, "-m", "verifier"]

GOOD = """\
circuit two_bells
    input  low_key, high_key
    output low_bell, high_bell
    must never_both: never (low_bell and high_bell)
    low_bell  = low_key
    high_bell = high_key and not low_key
"""

REGISTER = "\n".join(f"    s[{bit}] = flipflop(s[{bit - 1}]) on rise of tempo start 0" for bit in range(1, 40))
LONG = f"""\
circuit melody
    input  tempo free running
    output note
    must quick: note == s[39]
    must slow:  not (s == 0x5DEADBEEF1)
    must after: never (note changes and tempo steady)
    net s[40]
    note = s[39]
    s[0] = flipflop(xor(s[39], s[37], s[20], s[18])) on rise of tempo start 1
{REGISTER}
"""
"""A shift register of 40 stages: whether it ever comes by one certain state takes longer than anyone waits."""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "good.wiring").write_text(GOOD)
    (tmp_path / "long.wiring").write_text(LONG)
    return tmp_path


def environment(**changes: str) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name not in ("NO_COLOR", "FORCE_COLOR", "COLUMNS")}
    paths = [entry for entry in sys.path if entry]
    return {**kept, "PYTHONPATH": os.pathsep.join(paths), "TERM": "xterm-256color", **changes}


def test_a_reader_that_goes_away_is_no_reason_to_complain(folder: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with subprocess.Popen(
        [*COMMAND, "check", "good.wiring"],
        cwd=folder,
        env=environment(),
        stdout=writing,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        os.close(writing)
        _, complaints = process.communicate(timeout=60)
    assert complaints == ""
    assert process.returncode == 141


def with_closed(streams: str, arguments: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    """The call by a shell that closes some of its streams, as `>&-` does."""
    return subprocess.run(
        ["sh", "-c", f'exec "$@" {streams}', "sh", *COMMAND, *arguments],
        cwd=folder,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.mark.parametrize(
    "arguments",
    [
        ["compare", "good.wiring"],
        ["check", "good.wiring", "--json", "-"],
        ["draw", "good.wiring", "-o", "-"],
        ["run", "good.wiring", "low_key"],
        ["--help"],
    ],
)
def test_a_closed_output_is_one_line_and_its_own_exit_code(arguments: list[str], folder: Path) -> None:
    done = with_closed(">&-", arguments, folder)
    assert done.stderr == "edgewright: standard output is closed, so nothing was done\n"
    assert done.returncode == 141


def test_a_call_without_an_error_stream_does_its_work(folder: Path) -> None:
    done = with_closed("2>&-", ["check", "good.wiring"], folder)
    assert "proved      never_both" in done.stdout
    assert done.returncode == 0
    assert with_closed("2>&-", ["check", "no_such.wiring"], folder).returncode == 2
    assert with_closed(">&- 2>&-", ["check", "good.wiring"], folder).returncode == 141


def test_steps_from_a_closed_input_are_refused(folder: Path) -> None:
    done = with_closed("<&-", ["run", "good.wiring", "--steps", "-"], folder)
    assert done.stderr == "edgewright: standard input is closed, so there are no steps to read\n"
    assert done.returncode == 2


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs the device that is always full")
def test_a_full_disk_is_one_line(folder: Path) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [*COMMAND, "check", "good.wiring"],
            cwd=folder,
            env=environment(),
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=60,
            check=False,
        )
    assert done.stderr == "edgewright: cannot write: No space left on device\n"
    assert done.returncode == 2


def test_an_interrupt_prints_what_was_decided_and_ends_cleanly(folder: Path) -> None:
    with subprocess.Popen(
        [*COMMAND, "check", "long.wiring", "--json", "verdicts.json"],
        cwd=folder,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        first = [process.stdout.readline(), process.stdout.readline()]
        process.send_signal(signal.SIGINT)
        out, complaints = process.communicate(timeout=60)
    assert first[1] == "  proved      quick\n"
    assert "slow     not judged" in out
    assert "interrupted: not every claim was judged" in out
    assert "A proof speaks of the model" in out
    assert complaints == ""
    assert process.returncode == 130
    record = json.loads((folder / "verdicts.json").read_text())
    assert record["interrupted"] is True
    assert [claim["name"] for claim in record["circuits"][0]["claims"]] == ["quick"]


def test_a_time_limit_leaves_the_claim_undecided_and_ends_with_three(folder: Path) -> None:
    done = subprocess.run(
        [*COMMAND, "check", "long.wiring", "--limit", "6"],
        cwd=folder,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 3, done.stdout + done.stderr
    assert "undecided   slow" in done.stdout
    assert "proved      after" in done.stdout


def on_a_terminal(arguments: list[str], folder: Path, until: str) -> str:
    """All that the command sends to a terminal of 80 columns; once this text has come it is interrupted."""
    leader, follower = pty.openpty()
    process = subprocess.Popen(
        [*COMMAND, *arguments],
        cwd=folder,
        env=environment(COLUMNS="80"),
        stdout=follower,
        stderr=follower,
        stdin=follower,
    )
    os.close(follower)
    received = b""
    deadline = time.monotonic() + 60
    interrupted = False
    while time.monotonic() < deadline:
        if not select.select([leader], [], [], 0.1)[0]:
            continue
        try:
            chunk = os.read(leader, 65536)
        except OSError:  # how Linux says that the other end is closed
            break
        if not chunk:
            break
        received += chunk
        if until.encode() in received and not interrupted:
            process.send_signal(signal.SIGINT)
            interrupted = True
    process.wait(timeout=60)
    os.close(leader)
    return received.decode().replace("\r\n", "\n")


def test_a_terminal_shows_colours_and_what_takes_long(folder: Path) -> None:
    received = on_a_terminal(["check", "long.wiring"], folder, until="... melody: slow, ")
    assert "\x1b[32mproved" in received
    assert re.search(r"\r\x1b\[K\.\.\. melody: slow, \d+ s", received)
    # The live line is wiped before the next thing is printed.
    after_last = received[received.rindex("... melody: slow") :]
    assert re.match(r"\.\.\. melody: slow, \d+ s[^\r]*\r\x1b\[K", after_last)
    assert "not judged" in after_last


def test_a_pipe_sees_neither_colours_nor_progress(folder: Path) -> None:
    done = subprocess.run(
        [*COMMAND, "check", "long.wiring", "--claim", "slow", "--limit", "1.6"],
        cwd=folder,
        env=environment(),
        capture_output=True,
        timeout=60,
        check=False,
    )
    assert b"\x1b" not in done.stdout
    assert b"\r" not in done.stdout
    assert done.stderr == b""
