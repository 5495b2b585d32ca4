"""What a worker process does: judges one claim and sends back what came of it.

It is started by `worker_pool.py`, which is also the only one to talk to it. It ends as soon as the process that started
it is gone, leaves Ctrl-C to that process, and has a limit of memory of its own.
"""

from __future__ import annotations

import dataclasses
import os
import signal
import threading
import time
from dataclasses import dataclass
from enum import Enum
from multiprocessing.connection import Connection

from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.formula import Literal
from verifier.errors import InternalDisagreement
from verifier.evidence.verdict import ClaimResult
from verifier.workbench.judge import PARTS_OF_THE_TIME, Judge, Wishes


@dataclass(frozen=True, kw_only=True)
class Job:
    design: Design
    claim: int
    """Index among the claims of the design."""
    until: float
    """Wall-clock time at which the answer should be there."""
    depth: int | None
    wishes: Wishes
    memory_bytes: int


class News(Enum):
    """What a message is about; its second half is given with each."""

    DEPTH = "depth"
    """How many instants have been searched."""
    RESULT = "result"
    """A ClaimResult, the claim in it replaced by `NO_CLAIM`."""
    NO_MEMORY = "no memory"
    """None."""
    DISAGREEMENT = "disagreement"
    """The text of it."""
    FAILURE = "failure"
    """The text of an exception that nobody foresaw."""


Message = tuple[News, object]

NO_CLAIM = Claim(name="", kind=ClaimKind.MUST, formula=Literal(value=1), text="")
"""Claims are not sent back: a deep formula does not go through a pipe, and the other side has it."""


def main(reading: int, writing: int) -> None:
    """Works on the one job that comes through the file descriptor `reading`."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    orders, answers = Connection(reading, writable=False), Connection(writing, readable=False)
    try:
        job = orders.recv()
        threading.Thread(target=_end_with_the_starter, args=(orders,), daemon=True).start()
        limit_memory(job.memory_bytes)
        answers.send(_outcome(job, answers))
    except (EOFError, OSError):
        os._exit(1)  # nobody is there any more


def _end_with_the_starter(orders: Connection) -> None:
    try:
        orders.recv()
    except (EOFError, OSError):
        os._exit(1)


def limit_memory(size: int) -> None:
    """No more than so many bytes for this process from now on, where the system knows such limits."""
    try:
        import resource
    except ImportError:  # not every system has it
        return
    _, most = resource.getrlimit(resource.RLIMIT_AS)
    allowed = size if most == resource.RLIM_INFINITY else min(size, most)
    resource.setrlimit(resource.RLIMIT_AS, (allowed, most))


def _outcome(job: Job, answers: Connection) -> Message:
    try:
        result = _judged(job, answers)
    except MemoryError:
        return News.NO_MEMORY, None
    except InternalDisagreement as disagreement:
        return News.DISAGREEMENT, str(disagreement)
    except Exception as error:
        if "out of memory" in str(error):  # how z3 says it
            return News.NO_MEMORY, None
        return News.FAILURE, f"{type(error).__name__}: {error}"
    return News.RESULT, dataclasses.replace(result, claim=NO_CLAIM)


def _judged(job: Job, answers: Connection) -> ClaimResult:
    judge = Judge(
        job.design,
        limit_seconds=(job.until - time.time()) / PARTS_OF_THE_TIME,
        depth=job.depth,
        on_depth=lambda instants: answers.send((News.DEPTH, instants)),
        wishes=job.wishes,
    )
    return judge.judge(job.design.claims[job.claim], job.until - time.time())
