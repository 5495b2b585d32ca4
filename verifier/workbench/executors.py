"""Where the faults of a campaign are judged: one interface, and the plainest of its three implementations.

An executor gets batches and hands back an outcome for each fault of each batch, in any order, each exactly once. It
knows nothing of campaigns, stores or reports.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass
from typing import Protocol

from verifier.evidence.fault_outcome import FaultOutcome
from verifier.workbench.fault_judge import Batch, judged_one_by_one


@dataclass(frozen=True, kw_only=True)
class Answer:
    batch: int
    """Place of the batch among those given."""
    place: int
    """Place of the fault in its batch."""
    outcome: FaultOutcome


class Executor(Protocol):
    @property
    def processes(self) -> int:
        """How many batches are worked on side by side."""

    def answers(self, batches: Sequence[Batch]) -> Generator[Answer, None, None]:
        """An answer for each fault of each batch as it comes; closing the iterator ends the work.

        Raises InternalDisagreement when two independent ways of judging differ.
        """


class InThisProcess:
    processes = 1

    def answers(self, batches: Sequence[Batch]) -> Generator[Answer, None, None]:
        for number, batch in enumerate(batches):
            for place, outcome in enumerate(judged_one_by_one(batch)):
                yield Answer(batch=number, place=place, outcome=outcome)
