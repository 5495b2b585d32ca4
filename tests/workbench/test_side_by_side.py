"""The limit as a promise, and claims that take long in processes of their own: nothing hangs, nothing gets lost."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from verifier.claims.claim import Claim
from verifier.errors import InternalDisagreement
from verifier.evidence.verdict import ClaimResult, FileResult, Fit, Verdict
from verifier.workbench import checking, worker_pool
from verifier.workbench.certificates import recheck_saved, write_certificates
from verifier.workbench.checking import check
from verifier.workbench.judge import Judge, Wishes

STAGES = 40
REGISTER = "\n".join(f"    s[{bit}] = flipflop(s[{bit - 1}]) on rise of tempo start 0" for bit in range(1, STAGES))
HARD = f"""\
circuit melody
    input  tempo free running
    output note
    must quick: note == s[39]
    must slow:  not (s == 0x5DEADBEEF1)
    must after: never (note changes and tempo steady)
    must slower: not (s == 0x5DEADBEEF2)
    net s[{STAGES}]
    note = s[{STAGES - 1}]
    s[0] = flipflop(xor(s[39], s[37], s[20], s[18])) on rise of tempo start 1
{REGISTER}
"""
"""A shift register of 40 stages: whether it ever comes by one certain state takes longer than anyone waits."""

BELLS = """\
circuit bells
    input  tempo free running
    input  lever by hand
    output low_bell, high_bell
    must alone:    never (low_bell and high_bell)
    must quiet:    low_bell rises only when lever rises
    must rings:    low_bell again and again
    must no_rest:  high_bell leads to not high_bell
    can  both:     low_bell and high_bell
    can  strike:   high_bell rises
    low_bell  = flipflop(not high_bell and lever) on rise of tempo start 1
    high_bell = flipflop(low_bell) on rise of tempo start 0
"""


@pytest.fixture
def hard(tmp_path: Path) -> Path:
    path = tmp_path / "melody.wiring"
    path.write_text(HARD)
    return path


@pytest.fixture
def bells(tmp_path: Path) -> Path:
    path = tmp_path / "bells.wiring"
    path.write_text(BELLS)
    return path


class HesitantJudge(Judge):
    """Comes to nothing in a first turn, and to the usual verdicts in a longer one."""

    def judge(self, claim: Claim, limit_seconds: float | None = None) -> ClaimResult:
        if limit_seconds is not None and limit_seconds <= checking.LONGEST_FIRST_TURN_SECONDS:
            time.sleep(limit_seconds)
            return ClaimResult(claim=claim, verdict=Verdict.UNDECIDED, engine="none", seconds=0.0, reason="no time")
        return super().judge(claim, limit_seconds)


@pytest.fixture
def hesitant(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(checking, "LONGEST_FIRST_TURN_SECONDS", 0.001)
    monkeypatch.setattr(checking, "Judge", HesitantJudge)


def by_name(result: FileResult) -> dict[str, ClaimResult]:
    return {claim.claim.name: claim for design in result.designs for claim in design.claims}


def workers_of(parent: int) -> list[int]:
    """Ids of the worker processes that this process has started."""
    found = []
    for entry in Path("/proc").iterdir():
        try:
            if entry.name.isdigit() and b"verifier.workbench.worker" in (entry / "cmdline").read_bytes():
                status = (entry / "status").read_text()
                if f"PPid:\t{parent}\n" in status and "State:\tZ" not in status:
                    found.append(int(entry.name))
        except OSError:  # it has gone in the meantime
            continue
    return found


def wait_for_workers(parent: int, seconds: float = 20.0) -> list[int]:
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        found = workers_of(parent)
        if found:
            return found
        time.sleep(0.02)
    return []


def alive(process: int) -> bool:
    try:
        return "State:\tZ" not in Path(f"/proc/{process}/status").read_text()
    except OSError:
        return False


needs_proc = pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="looks at processes by way of /proc")


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": os.pathsep.join(entry for entry in sys.path if entry)}


@pytest.fixture
def started(hard: Path) -> Iterator[subprocess.Popen[str]]:
    """The command at work on a file with hard claims."""
    command = [sys.executable, "-m", "verifier", "check", hard.name, "--limit", "60"]
    with subprocess.Popen(
        command, cwd=hard.parent, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        yield process
        process.kill()


def test_the_limit_holds_for_the_whole_call_and_what_was_decided_is_there(hard: Path) -> None:
    began = time.monotonic()
    results = by_name(check(hard, limit=3))
    assert time.monotonic() - began < 4
    assert list(results) == ["quick", "slow", "after", "slower", "settles"]
    assert {name for name, result in results.items() if result.verdict is Verdict.UNDECIDED} == {"slow", "slower"}
    assert all("no answer" in results[name].reason for name in ("slow", "slower"))


@pytest.mark.parametrize("method", ["__init__", "judge"])
def test_work_that_looks_at_no_clock_is_broken_off_in_time(
    bells: Path, monkeypatch: pytest.MonkeyPatch, method: str
) -> None:
    def never_ends(*_: object, **__: object) -> None:
        while True:
            pass

    monkeypatch.setattr(Judge, method, never_ends)
    began = time.monotonic()
    results = by_name(check(bells, limit=0.5))
    assert 0.4 < time.monotonic() - began < 1.5
    assert len(results) == 7
    assert {result.verdict for result in results.values()} == {Verdict.UNDECIDED}
    assert {result.reason for result in results.values()} == {checking.OUT_OF_TIME}


def test_the_alarm_clock_is_left_as_it_was_found(bells: Path) -> None:
    check(bells, limit=30)
    assert signal.getitimer(signal.ITIMER_REAL) == (0.0, 0.0)
    assert signal.getsignal(signal.SIGALRM) is signal.SIG_DFL


def test_easy_files_start_no_process(bells: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("a process was started")

    monkeypatch.setattr(worker_pool, "fresh_interpreter", refuse)
    assert len(by_name(check(bells))) == 7


def test_processes_of_their_own_come_to_the_same_results(bells: Path, hesitant: None) -> None:
    chosen = ["alone", "rings", "strike", "settles"]
    usual = by_name(check(bells, claim=chosen, limit=40, processes=0))
    begun: list[str] = []
    told: list[str] = []
    apart = by_name(
        check(
            bells,
            claim=chosen,
            limit=40,
            on_start=lambda design, claim: begun.append(claim.name),
            on_result=lambda design, result: told.append(result.claim.name),
        )
    )
    assert len(begun) == 2 * len(usual)
    assert sorted(told) == sorted(usual)
    assert list(apart) == list(usual)
    for name, result in apart.items():
        expected = usual[name]
        assert (result.claim, result.verdict, result.empty) == (expected.claim, expected.verdict, expected.empty)
        assert result.trigger is expected.trigger
        assert result.run == expected.run
        assert result.invariant == expected.invariant
    assert {result.verdict for result in apart.values()} == {Verdict.PROVED, Verdict.BROKEN, Verdict.SHOWN}


@needs_proc
def test_a_worker_that_is_killed_leaves_its_claim_undecided_and_the_others_alone(hard: Path) -> None:
    killed: list[int] = []

    def kill() -> None:
        for process in wait_for_workers(os.getpid())[:1]:
            os.kill(process, signal.SIGKILL)
            killed.append(process)

    killer = threading.Thread(target=kill)
    killer.start()
    results = by_name(check(hard, limit=6))
    killer.join()
    assert len(killed) == 1
    ended = [name for name, result in results.items() if "ended by SIGKILL" in result.reason]
    assert len(ended) == 1
    assert ended[0] in ("slow", "slower")
    assert results["after"].verdict is Verdict.PROVED
    assert len(results) == 5


@needs_proc
def test_an_interrupt_ends_the_workers_at_once(started: subprocess.Popen[str]) -> None:
    workers = wait_for_workers(started.pid)
    assert workers
    began = time.monotonic()
    started.send_signal(signal.SIGINT)
    out, complaints = started.communicate(timeout=20)
    assert time.monotonic() - began < 2
    assert started.returncode == 130
    assert not any(alive(process) for process in workers)
    assert "proved      after" in out
    assert "slow     not judged" in out
    assert complaints == ""


@needs_proc
def test_workers_end_with_the_process_that_started_them(started: subprocess.Popen[str]) -> None:
    workers = wait_for_workers(started.pid)
    assert workers
    started.kill()
    started.wait(timeout=20)
    deadline = time.monotonic() + 10
    while any(alive(process) for process in workers) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not any(alive(process) for process in workers)


WORKER = "import sys, verifier.workbench.worker as worker\n"
WORK = "\nworker.main(int(sys.argv[1]), int(sys.argv[2]))\n"


def outcome(bells: Path, monkeypatch: pytest.MonkeyPatch, program: str, limit: float = 20) -> str:
    """Why a claim is undecided that such a worker was to judge."""
    monkeypatch.setattr(worker_pool, "_PROGRAM", program)
    result = by_name(check(bells, claim="alone", limit=limit))["alone"]
    assert result.verdict is Verdict.UNDECIDED
    return result.reason


@pytest.mark.parametrize(
    ("program", "reason"),
    [
        (WORKER + "worker._judged = lambda *_: bytearray(2**40)" + WORK, "GiB of memory it may use"),
        ("import sys; sys.exit(3)", "ended by itself, with code 3"),
        ("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)", "ended by SIGSEGV"),
        (WORKER + "print('not for you'); worker._judged = lambda *_: worker.os._exit(0)" + WORK, "with code 0"),
    ],
)
def test_a_worker_without_an_answer_is_a_reason_and_no_verdict(
    bells: Path, hesitant: None, monkeypatch: pytest.MonkeyPatch, program: str, reason: str
) -> None:
    assert reason in outcome(bells, monkeypatch, program)


def test_a_worker_that_hangs_is_ended_when_its_time_is_over(
    bells: Path, hesitant: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    began = time.monotonic()
    assert "no answer from a process" in outcome(bells, monkeypatch, "import time; time.sleep(60)", limit=2)
    assert time.monotonic() - began < 3


def test_a_disagreement_or_a_failure_in_a_worker_is_one_of_the_call(
    bells: Path, hesitant: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    raising = "\ndef _judged(*_):\n    raise {}\nworker._judged = _judged"
    with pytest.raises(InternalDisagreement, match="two opinions"):
        outcome(bells, monkeypatch, WORKER + raising.format("worker.InternalDisagreement('two opinions')") + WORK)
    with pytest.raises(RuntimeError, match=r"judging alone .* failed: KeyError"):
        outcome(bells, monkeypatch, WORKER + raising.format("KeyError('bell')") + WORK)


def test_without_a_process_to_be_had_claims_are_undecided(
    bells: Path, hesitant: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise BlockingIOError(11, "too many processes")

    monkeypatch.setattr(worker_pool, "fresh_interpreter", refuse)
    results = by_name(check(bells))
    assert {result.verdict for result in results.values()} == {Verdict.UNDECIDED}
    assert all("too many processes" in result.reason for result in results.values())


def test_certificates_from_workers_are_as_good_as_any(tmp_path: Path, bells: Path, hesitant: None) -> None:
    result = check(bells, claim=["alone", "no_rest", "settles"], limit=40, wishes=Wishes(certificates=True))
    proved = [name for name, claim in by_name(result).items() if claim.verdict is Verdict.PROVED]
    assert "settles" in proved
    assert len(write_certificates(tmp_path, result.designs)) == len(proved)
    found = {entry.claim: entry for entry in recheck_saved(tmp_path, checking.load(bells))}
    assert all((found[name].fit, found[name].why) == (Fit.FITS, "") for name in proved)
