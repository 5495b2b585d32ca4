"""One decision in a process of its own, ended when it has used up its time or memory. POSIX only: it forks.

The child starts as a copy of this process, so all engines see the very same transition system. It loads its
libraries and decides a system of one register before the clock starts: what is measured is deciding. The limit is
of processor time (the machine may be busy with other things); both kinds of time are reported.
"""

from __future__ import annotations

import gc
import os
import pickle
import resource
import select
import signal
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Any

from benchmarks.answers import Answer, Engine, warm_up
from verifier.logic.transition_system import TransitionSystem

MEMORY_BYTES = 6 * 2**30
WALL_PER_PROCESSOR_SECOND = 6
"""A child that got less of a processor than this is ended all the same."""


class Outcome(Enum):
    REACHED = "reached"
    UNREACHABLE = "unreachable"
    GAVE_UP = "gave up"
    OUT_OF_TIME = "time"
    OUT_OF_MEMORY = "memory"
    CRASHED = "crashed"

    @property
    def is_decided(self) -> bool:
        return self in (Outcome.REACHED, Outcome.UNREACHABLE)


@dataclass(frozen=True, kw_only=True)
class SolverTime:
    """Wall seconds inside z3."""

    checks: float
    other_calls: float


@dataclass(frozen=True, kw_only=True)
class Measurement:
    outcome: Outcome
    processor_seconds: float
    wall_seconds: float
    frames: int | None = None
    peak_mib: float = 0.0
    solver: SolverTime | None = None
    """Where that was asked for."""
    detail: str = ""


Probe = Callable[[], Callable[[], SolverTime]]
"""Called in the child before deciding; what it returns is called afterwards."""


def measured(engine: Engine, system: TransitionSystem, limit_seconds: float, probe: Probe | None = None) -> Measurement:
    """What the engine says of the system, and what that took."""
    sys.stdout.flush()
    sys.stderr.flush()
    reading, writing = os.pipe()
    begin = time.perf_counter()
    child = os.fork()
    if child == 0:
        os.close(reading)
        _live_as_child(writing, engine, system, limit_seconds, probe)
    os.close(writing)
    message = _message(reading, child, limit_seconds)
    _, status, usage = os.wait4(child, 0)
    peak_mib = usage.ru_maxrss / 1024
    if message:
        report: dict[str, Any] = pickle.loads(message)
        return Measurement(**report, peak_mib=peak_mib)
    stopped = os.WIFSIGNALED(status) and os.WTERMSIG(status) in (signal.SIGPROF, signal.SIGKILL)
    return Measurement(
        outcome=Outcome.OUT_OF_TIME if stopped else Outcome.CRASHED,
        processor_seconds=usage.ru_utime + usage.ru_stime,
        wall_seconds=time.perf_counter() - begin,
        peak_mib=peak_mib,
        detail=f"ended with status {status}",
    )


def _message(reading: int, child: int, limit_seconds: float) -> bytes:
    """Everything the child wrote; it is killed when it takes far too long."""
    patience = time.monotonic() + 10 + WALL_PER_PROCESSOR_SECOND * limit_seconds
    parts: list[bytes] = []
    with os.fdopen(reading, "rb", buffering=0) as pipe:
        while True:
            ready, _, _ = select.select([pipe], [], [], max(0.0, patience - time.monotonic()))
            if not ready:
                os.kill(child, signal.SIGKILL)
                return b""
            part = pipe.read(65536)
            if not part:
                return b"".join(parts)
            parts.append(part)


def _live_as_child(
    writing: int, engine: Engine, system: TransitionSystem, limit_seconds: float, probe: Probe | None
) -> None:
    """Never returns."""
    status = 1
    try:
        signal.signal(signal.SIGPROF, signal.SIG_DFL)
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        report = _report(engine, system, limit_seconds, probe)
        with os.fdopen(writing, "wb") as pipe:
            pickle.dump(report, pipe)
        status = 0
    finally:
        os._exit(status)


def _report(engine: Engine, system: TransitionSystem, limit_seconds: float, probe: Probe | None) -> dict[str, Any]:
    warm_up(engine)
    gc.collect()
    gc.freeze()
    stop_probe = probe() if probe is not None else None
    wall, processor = time.perf_counter(), time.process_time()
    signal.setitimer(signal.ITIMER_PROF, limit_seconds)
    answer: Answer | None = None
    detail = ""
    try:
        answer = engine(system)
        outcome = _outcome(answer)
    except MemoryError:
        outcome = Outcome.OUT_OF_MEMORY
    except Exception as error:  # whatever a peer raises is its answer
        outcome = Outcome.OUT_OF_MEMORY if "memory" in str(error).lower() else Outcome.CRASHED
        detail = f"{type(error).__name__}: {error}"
    report = {
        "outcome": outcome,
        "processor_seconds": time.process_time() - processor,
        "wall_seconds": time.perf_counter() - wall,
        "frames": None if answer is None else answer.frames,
        "solver": stop_probe() if stop_probe is not None else None,
        "detail": detail,
    }
    signal.setitimer(signal.ITIMER_PROF, 0)
    return report


def _outcome(answer: Answer | None) -> Outcome:
    if answer is None:
        return Outcome.GAVE_UP
    return Outcome.REACHED if answer.reached else Outcome.UNREACHABLE
