"""The executor on a cluster of `dask.distributed`: batches go to its workers, and what comes back is taken as it comes.

The cluster's scheduler gives the batches of a worker that is gone to another; a batch at which several workers died is
left undecided. Needs the package `distributed` here and there, and this same version of edgewright on every worker.
"""

from __future__ import annotations

import threading
from collections.abc import Generator, Sequence
from concurrent.futures import CancelledError
from importlib.metadata import version
from typing import Any

from verifier.errors import CallError, EdgewrightError
from verifier.evidence.fault_outcome import FaultOutcome
from verifier.workbench.executors import Answer
from verifier.workbench.fault_judge import Batch, gone, judged_one_by_one

CONNECT_SECONDS = 10
WORKERS_DIED = "the workers of the cluster that judged it died, one after another"

_ONE_AT_A_TIME = threading.Lock()
"""A worker may have several threads, and the solver is not for several threads of one process."""


class Cluster:
    """A cluster that somebody else runs, at the address of its scheduler."""

    def __init__(self, address: str) -> None:
        """Raises CallError: `distributed` is not installed, or nobody answers there."""
        try:
            from distributed import Client
        except ImportError as error:
            raise CallError(
                "--cluster needs the package `distributed`", "install it with: pip install 'edgewright[cluster]'"
            ) from error
        try:
            self._client: Any = Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
        except (OSError, ValueError) as error:
            raise CallError(
                f"no scheduler answers at {address} within {CONNECT_SECONDS} s",
                "an address looks like tcp://192.0.2.7:8786; `dask scheduler` prints its own",
            ) from error

    def __enter__(self) -> Cluster:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.close()

    @property
    def processes(self) -> int:
        return max(len(self._client.scheduler_info()["workers"]), 1)

    def answers(self, batches: Sequence[Batch]) -> Generator[Answer, None, None]:
        from distributed import KilledWorker, as_completed

        mine = version("edgewright")
        futures = {
            self._client.submit(judged_on_a_worker, batch, mine, pure=False): number
            for number, batch in enumerate(batches)
        }
        try:
            for future in as_completed(list(futures), loop=self._client.loop):
                number = futures[future]
                try:
                    outcomes = future.result()
                except CancelledError as error:
                    raise CallError(
                        "the scheduler of the cluster is gone, and with it the faults that were not judged yet",
                        "with --resume PATH the same call goes on where it stopped",
                    ) from error
                except KilledWorker:
                    outcomes = [gone(WORKERS_DIED) for _ in batches[number].faults]
                for place, outcome in enumerate(outcomes):
                    yield Answer(batch=number, place=place, outcome=outcome)
                future.release()
        finally:
            self._client.cancel(list(futures), force=True)


def judged_on_a_worker(batch: Batch, wanted: str) -> list[FaultOutcome]:
    """Raises EdgewrightError when the worker has another version."""
    here = version("edgewright")
    if here != wanted:
        raise EdgewrightError(f"a worker of the cluster has edgewright {here}, the campaign was started by {wanted}")
    with _ONE_AT_A_TIME:
        return list(judged_one_by_one(batch))
