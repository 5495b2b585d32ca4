"""Claims judged in processes of their own, so many side by side at most, each within its share of the time left.

Every worker is a fresh interpreter, neither forked (this process may have threads, and solvers that do not survive a
fork) nor spawned by way of the caller's own main module (which may be a script that would run again). It gets one job
through a pipe. Whatever becomes of it, the claim gets a result: a worker that dies, runs out of memory or out of time
leaves it undecided, with the reason.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from multiprocessing.connection import Connection, wait

from verifier.errors import InternalDisagreement
from verifier.evidence.verdict import ClaimResult, Verdict
from verifier.workbench.judge import OnDepth
from verifier.workbench.open_claims import OpenClaim, Terms
from verifier.workbench.worker import Job, News

MOST_MEMORY_BYTES = 4 * 2**30
LEAST_SHARE_SECONDS = 1.0
"""With less, starting a process is not worth it: rather a few claims get that much and the others none."""
FINISHING_SECONDS = 0.3
"""How long before the end of its time a worker should have answered."""
GRACE_SECONDS = 0.2
"""How long after the end of its time a worker is waited for."""
_PROGRAM = "import sys; from verifier.workbench.worker import main; main(int(sys.argv[1]), int(sys.argv[2]))"


OnOpenStart = Callable[[OpenClaim], None]
OnOpenResult = Callable[[OpenClaim, ClaimResult], None]


def judge_side_by_side(
    claims: Iterable[OpenClaim], terms: Terms, on_start: OnOpenStart, on_result: OnOpenResult, on_depth: OnDepth
) -> None:
    """Tells a result for each of the claims as it comes; when something is raised, no worker is left behind.

    Raises:
        InternalDisagreement: a worker found two ways of judging that differ.
        RuntimeError: a worker failed in a way that nobody foresaw.
    """
    waiting = deque(claims)
    workers: list[_Worker] = []
    try:
        while waiting or workers:
            while waiting and len(workers) < terms.processes:
                share = _share(terms, len(waiting), workers)
                open_claim = waiting.popleft()
                if share < LEAST_SHARE_SECONDS:
                    on_result(open_claim, open_claim.so_far)
                else:
                    on_start(open_claim)
                    _start(open_claim, terms, share, workers, on_result)
            if workers:
                _hear(workers, on_depth)
            for worker in [worker for worker in workers if worker.result is not None]:
                workers.remove(worker)
                worker.end()
                if worker.result is not None:
                    on_result(worker.open_claim, worker.result)
    finally:
        with uninterrupted():
            for worker in workers:
                worker.end()


@contextmanager
def uninterrupted() -> Iterator[None]:
    """Ctrl-C waits until the block is done. Blocking the signal would not do: any thread may take it."""
    if threading.current_thread() is not threading.main_thread():
        yield  # Ctrl-C is for the main thread
        return
    pressed: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, _: pressed.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, signal.SIG_DFL if before is None else before)
    if pressed:
        raise KeyboardInterrupt


def _start(open_claim: OpenClaim, terms: Terms, share: float, workers: list[_Worker], on_result: OnOpenResult) -> None:
    try:
        with uninterrupted():  # a process that nobody has noted down yet would outlive a Ctrl-C
            workers.append(_Worker(open_claim, terms, share))
    except OSError as error:
        so_far = open_claim.so_far
        reason = f"{so_far.reason}; then no process could be started for it: {error.strerror or error}"
        on_result(open_claim, replace(so_far, reason=reason))


def _share(terms: Terms, waiting: int, workers: list[_Worker]) -> float:
    """Seconds for the next claim: what the processes have time for beside the work at hand, shared among all open."""
    left = max(terms.deadline - time.monotonic(), 0.0)
    taken = sum(max(worker.time_left - GRACE_SECONDS, 0.0) for worker in workers)
    fair = max(terms.processes * left - taken, 0.0) / waiting
    return min(left, max(fair, LEAST_SHARE_SECONDS))


def _hear(workers: list[_Worker], on_depth: OnDepth) -> None:
    """Waits until some worker has something to say or its time is over, and takes it in."""
    patience = min((worker.time_left for worker in workers), default=0.0)
    speaking = wait([worker.answers for worker in workers], timeout=max(patience, 0.0))
    for worker in workers:
        if worker.answers in speaking:
            worker.hear(on_depth)
        elif worker.time_left <= 0:
            worker.give_up(f"no answer from a process of its own within {worker.share:.1f} s")


class _Worker:
    """One process with one claim. `result` is there once it is known."""

    def __init__(self, open_claim: OpenClaim, terms: Terms, share: float) -> None:
        self.open_claim = open_claim
        self.result: ClaimResult | None = None
        self._started = time.monotonic()
        self.share = share
        theirs, orders = os.pipe()
        answers, also_theirs = os.pipe()
        self._orders = Connection(orders, readable=False)
        self.answers = Connection(answers, writable=False)
        try:
            self._process = fresh_interpreter(_PROGRAM, theirs, also_theirs)
        finally:
            os.close(theirs)
            os.close(also_theirs)
        self._send(terms)

    @property
    def time_left(self) -> float:
        return self._started + self.share + GRACE_SECONDS - time.monotonic()

    def _send(self, terms: Terms) -> None:
        design = self.open_claim.design
        job = Job(
            design=design,
            claim=design.claims.index(self.open_claim.claim),
            until=time.time() + max(self.share - FINISHING_SECONDS, 0.0),
            depth=terms.depth,
            wishes=terms.wishes,
            memory_bytes=memory_bytes(),
        )
        try:
            self._orders.send(job)
        except OSError:
            self.give_up(self._how_it_ended())
        except RecursionError:
            self.give_up("the claim or the circuit is nested too deeply for a process of its own")

    def hear(self, on_depth: OnDepth) -> None:
        try:
            news, content = self.answers.recv()
        except (EOFError, OSError):
            self.give_up(self._how_it_ended())
            return
        if news is News.DEPTH and isinstance(content, int):
            on_depth(content)
        elif news is News.RESULT and isinstance(content, ClaimResult):
            self.result = self._better(replace(content, claim=self.open_claim.claim))
        elif news is News.NO_MEMORY:
            self.give_up(f"its process ran out of the {memory_bytes() / 2**30:.1f} GiB of memory it may use")
        elif news is News.DISAGREEMENT:
            raise InternalDisagreement(str(content))
        else:
            raise RuntimeError(f"judging {self.open_claim.claim.name} in a process of its own failed: {content}")

    def _better(self, found: ClaimResult) -> ClaimResult:
        """What the worker found; without an answer, whichever of the two turns lasted longer tells more."""
        so_far = self.open_claim.so_far
        kept = so_far if found.verdict is Verdict.UNDECIDED and found.seconds < so_far.seconds else found
        return replace(kept, seconds=so_far.seconds + time.monotonic() - self._started)

    def give_up(self, reason: str) -> None:
        """What was known before, with the reason why there is no more."""
        so_far = self.open_claim.so_far
        seconds = so_far.seconds + time.monotonic() - self._started
        self.result = replace(so_far, reason=f"{so_far.reason}; then {reason}", seconds=seconds)

    def _how_it_ended(self) -> str:
        try:
            code = self._process.wait(timeout=GRACE_SECONDS)
        except subprocess.TimeoutExpired:
            return "its process fell silent"
        if code < 0:
            return f"its process was ended by {signal.Signals(-code).name}"
        return f"its process ended by itself, with code {code}"

    def end(self) -> None:
        self._process.kill()
        self._process.wait()
        self._orders.close()
        self.answers.close()


def memory_bytes() -> int:
    """What one worker may use: no more than a third of the machine's memory, as two of them may be at work."""
    try:
        machine = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, OSError, ValueError):  # not every system tells
        return MOST_MEMORY_BYTES
    return min(MOST_MEMORY_BYTES, machine // 3)


def fresh_interpreter(program: str, reading: int, writing: int) -> subprocess.Popen[bytes]:
    """A process that runs the program, its arguments the two file descriptors it talks through.

    In a process group of its own, so that a Ctrl-C at the terminal reaches the calling process alone.
    """
    path = os.pathsep.join(entry or os.getcwd() for entry in sys.path)
    return subprocess.Popen(
        [sys.executable, "-c", program, str(reading), str(writing)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        pass_fds=(reading, writing),
        process_group=0,
        env={**os.environ, "PYTHONPATH": path},
    )
