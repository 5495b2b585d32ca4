"""What a worker process of a campaign does: judges the faults of one batch after another and sends back each outcome.

It is started by `fault_processes.py`, which is also the only one to talk to it. It ends as soon as the process that
started it is gone, leaves Ctrl-C to that process, and has a limit of memory of its own.
"""

from __future__ import annotations

import os
import queue
import signal
import threading
from enum import Enum
from multiprocessing.connection import Connection

from verifier.errors import InternalDisagreement
from verifier.workbench.fault_judge import Batch, judged_one_by_one
from verifier.workbench.worker import limit_memory


class Word(Enum):
    """What a message is about; its second half is given with each."""

    OUTCOME = "outcome"
    """A FaultOutcome, for the next fault of the batch."""
    DONE = "done"
    """None: the batch is through."""
    DISAGREEMENT = "disagreement"
    """The text of it."""
    FAILURE = "failure"
    """The text of an exception that nobody foresaw."""


def main(reading: int, writing: int) -> None:
    """Works on the batches that come through the file descriptor `reading`, each with the memory it may use."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    orders, answers = Connection(reading, writable=False), Connection(writing, readable=False)
    waiting: queue.SimpleQueue[tuple[Batch, int]] = queue.SimpleQueue()
    threading.Thread(target=_receive, args=(orders, waiting), daemon=True).start()
    try:
        while True:
            batch, memory_bytes = waiting.get()
            limit_memory(memory_bytes)
            _judge(batch, answers)
    except (EOFError, OSError):
        os._exit(1)  # nobody is there any more


def _receive(orders: Connection, waiting: queue.SimpleQueue[tuple[Batch, int]]) -> None:
    try:
        while True:
            waiting.put(orders.recv())
    except (EOFError, OSError):
        os._exit(1)


def _judge(batch: Batch, answers: Connection) -> None:
    try:
        for outcome in judged_one_by_one(batch):
            answers.send((Word.OUTCOME, outcome))
    except OSError:
        raise
    except InternalDisagreement as disagreement:
        answers.send((Word.DISAGREEMENT, str(disagreement)))
    except Exception as error:
        answers.send((Word.FAILURE, f"{type(error).__name__}: {error}"))
    else:
        answers.send((Word.DONE, None))
