"""The executor with worker processes: fresh interpreters, as in `worker_pool.py`, that live as long as there is work.

Whatever becomes of a worker, each fault gets exactly one answer. When one dies, the fault it was at is tried once more,
alone; the rest of its batch goes back to the others. A fault at which two workers died, or one fell silent, is left
undecided.
"""

from __future__ import annotations

import os
import signal
import subprocess
import time
from collections import deque
from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection, wait

from verifier.errors import CallError, InternalDisagreement
from verifier.evidence.fault_outcome import FaultOutcome
from verifier.workbench.executors import Answer
from verifier.workbench.fault_judge import Batch, gone
from verifier.workbench.fault_worker import Word
from verifier.workbench.worker_pool import fresh_interpreter, memory_bytes, uninterrupted

PATIENCE_SECONDS = 10.0
"""How long beyond the limit of a fault a worker may be silent: starting, and finishing what cannot be broken off."""
MOST_TRIES = 2
_PROGRAM = "import sys; from verifier.workbench.fault_worker import main; main(int(sys.argv[1]), int(sys.argv[2]))"


@dataclass(frozen=True, kw_only=True)
class _Task:
    """Faults of one batch that one worker is to judge."""

    batch: Batch
    number: int
    places: tuple[int, ...]
    """Of these faults in the batch as it was given."""
    tries: int = 1

    def only(self, start: int, stop: int | None = None) -> _Task:
        faults = self.batch.faults[start:stop]
        return replace(self, batch=replace(self.batch, faults=faults), places=self.places[start:stop])


class WorkerProcesses:
    """So many processes side by side."""

    def __init__(self, processes: int) -> None:
        self.processes = processes
        self._memory_bytes = min(memory_bytes(), 3 * memory_bytes() // (processes + 1))

    def answers(self, batches: Sequence[Batch]) -> Generator[Answer, None, None]:
        waiting = deque(
            _Task(batch=batch, number=number, places=tuple(range(len(batch.faults))))
            for number, batch in enumerate(batches)
        )
        workers: list[_Worker] = []
        try:
            while waiting or any(worker.task is not None for worker in workers):
                self._employ(workers, waiting)
                for worker in _speaking(workers):
                    yield from _heard(worker, waiting)
                for worker in [worker for worker in workers if worker.is_over]:
                    workers.remove(worker)
                    worker.end()
        finally:
            with uninterrupted():
                for worker in workers:
                    worker.end()

    def _employ(self, workers: list[_Worker], waiting: deque[_Task]) -> None:
        for worker in workers:
            if waiting and worker.task is None:
                worker.give(waiting.popleft())
        while waiting and len(workers) < self.processes:
            try:
                with uninterrupted():  # a process that nobody has noted down yet would outlive a Ctrl-C
                    workers.append(_Worker(self._memory_bytes))
            except OSError as error:
                if workers:
                    return
                why = f"no process could be started: {error.strerror or error}"
                raise CallError(why, "--processes 1 does without") from error
            workers[-1].give(waiting.popleft())


def _speaking(workers: Sequence[_Worker]) -> list[_Worker]:
    """Waits until some worker has something to say, or has been silent for too long."""
    busy = [worker for worker in workers if worker.task is not None]
    patience = min(worker.patience_left for worker in busy)
    heard = wait([worker.answers for worker in busy], timeout=max(patience, 0.0))
    return [worker for worker in busy if worker.answers in heard or worker.patience_left <= 0]


def _heard(worker: _Worker, waiting: deque[_Task]) -> Iterator[Answer]:
    """What the worker has to say; what it leaves undone goes back to those that wait."""
    task, place = worker.task, worker.place
    if task is None:
        return
    try:
        word, content = worker.next_word()
    except (EOFError, OSError):
        yield from _left_behind(task, place, worker.how_it_ended(), waiting)
        worker.is_over = True
        return
    if word is Word.OUTCOME and isinstance(content, FaultOutcome):
        yield Answer(batch=task.number, place=task.places[place], outcome=content)
    elif word is Word.DISAGREEMENT:
        raise InternalDisagreement(str(content))
    elif word is Word.FAILURE:
        raise RuntimeError(f"judging a fault in a process of its own failed: {content}")


def _left_behind(task: _Task, place: int, why: str, waiting: deque[_Task]) -> Iterator[Answer]:
    """A worker died at the fault at `place`, or after all of them."""
    rest = task.only(place + 1)
    if rest.places:
        waiting.appendleft(replace(rest, tries=1))
    if place >= len(task.places):
        return
    if task.tries >= MOST_TRIES:
        yield Answer(batch=task.number, place=task.places[place], outcome=gone(why))
    else:
        waiting.appendleft(replace(task.only(place, place + 1), tries=task.tries + 1))


class _Worker:
    """One process, and the task it is at."""

    def __init__(self, memory: int) -> None:
        self.task: _Task | None = None
        self.place = 0
        """Of the fault it is at, in its task."""
        self.is_over = False
        self._memory = memory
        self._heard_at = time.monotonic()
        theirs, orders = os.pipe()
        answers, also_theirs = os.pipe()
        self._orders = Connection(orders, readable=False)
        self.answers = Connection(answers, writable=False)
        try:
            self._process = fresh_interpreter(_PROGRAM, theirs, also_theirs)
        finally:
            os.close(theirs)
            os.close(also_theirs)

    @property
    def process_id(self) -> int:
        return self._process.pid

    @property
    def patience_left(self) -> float:
        limit = 0.0 if self.task is None else self.task.batch.limit_seconds
        return self._heard_at + limit + PATIENCE_SECONDS - time.monotonic()

    def give(self, task: _Task) -> None:
        self.task, self.place = task, 0
        self._heard_at = time.monotonic()
        try:
            self._orders.send((task.batch, self._memory))
        except OSError:  # it is dead; reading from it will say so
            return

    def next_word(self) -> tuple[Word, object]:
        """Raises EOFError when it is gone, or silent for too long."""
        if self.patience_left <= 0 and not self.answers.poll():
            self._process.kill()
            raise EOFError
        word, content = self.answers.recv()
        self._heard_at = time.monotonic()
        if word is Word.DONE:
            self.task = None
        elif word is Word.OUTCOME:
            self.place += 1
        return word, content

    def how_it_ended(self) -> str:
        code = self._process.wait()
        if code < 0:
            return f"its process was ended by {signal.Signals(-code).name}, twice over"
        return f"its process ended by itself with code {code}, twice over"

    def end(self) -> None:
        self._process.kill()
        try:
            self._process.wait(timeout=PATIENCE_SECONDS)
        except subprocess.TimeoutExpired:
            return
        self._orders.close()
        self.answers.close()
