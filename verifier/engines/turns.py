"""How bounded search and a proof attempt share the time of one question, in one process.

The one that has used less of its share goes on. It decides nothing and knows nothing of systems.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from verifier.engines.bounded_search import BoundedSearch
from verifier.logic.session import Answer, NoAnswerError

Progress = Callable[[int], None]
"""Told, now and then, how many frames have been searched. What it raises ends the search."""

FIRST_FRAMES = 4
"""Searched before a proof is tried."""
LEAST_TURN_SECONDS = 0.05
BOUNDED_SHARE = 3
"""The proof gets so many times the time of bounded search. Measured on the benchmark's families: with equal turns, long
proofs take about twice as long; with more than this, long counterexamples do."""


class Turns:
    """The clock of one question."""

    def __init__(self, deadline: float) -> None:
        self.deadline = deadline
        self._bounded_seconds = 0.0
        self._proof_seconds = 0.0

    @property
    def bounded_is_next(self) -> bool:
        return BOUNDED_SHARE * self._bounded_seconds < self._proof_seconds

    def search(self, bounded: BoundedSearch) -> Answer:
        """One frame more, in a turn of half the time that the proof has had; UNSATISFIABLE also when that ran out.

        Raises NoAnswerError at the deadline.
        """
        started = time.monotonic()
        turn = max(LEAST_TURN_SECONDS, self._proof_seconds / 2)
        try:
            return bounded.advance(min(self.deadline, started + turn))
        except NoAnswerError:
            if time.monotonic() >= self.deadline:
                raise
            return Answer.UNSATISFIABLE
        finally:
            self._bounded_seconds += time.monotonic() - started

    @contextmanager
    def proving(self) -> Iterator[None]:
        """The time inside is the proof's. Raises NoAnswerError when there is none left."""
        started = time.monotonic()
        if started >= self.deadline:
            raise NoAnswerError("the time ran out")
        yield
        self._proof_seconds += time.monotonic() - started

    def reason(self, stopped: NoAnswerError, limit_seconds: float) -> str:
        """Why there was no answer, in words for a user."""
        late = time.monotonic() >= self.deadline
        return f"no answer within {limit_seconds:.3g} s" if late else str(stopped)
