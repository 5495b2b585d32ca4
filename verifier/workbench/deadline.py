"""The end of the time for a call, enforced: once it has come, whatever this process is doing is broken off.

The solvers keep their own limits. This is for everything else that may take long, such as building the model of a large
circuit; it rests on the alarm clock of the process, so outside the main thread it does nothing.
"""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType, TracebackType

SNOOZE_SECONDS = 0.05
"""It rings again and again: what is raised inside a finaliser is lost."""


class TimeRanOut(BaseException):
    """Raised at any place. Like KeyboardInterrupt it is no error, so nothing on the way takes it for one."""


class Alarm:
    """Raises TimeRanOut in the block it is entered for, once the deadline (of `time.monotonic`) has come."""

    def __init__(self, deadline: float) -> None:
        self._deadline = deadline
        self._quiet = 0
        self._armed = False

    def __enter__(self) -> Alarm:
        self._quiet = 0
        free = threading.current_thread() is threading.main_thread() and signal.getitimer(signal.ITIMER_REAL)[0] == 0
        if free and signal.getsignal(signal.SIGALRM) is signal.SIG_DFL:
            signal.signal(signal.SIGALRM, self._ring)
            signal.setitimer(signal.ITIMER_REAL, max(self._deadline - time.monotonic(), 0.001), SNOOZE_SECONDS)
            self._armed = True
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._quiet += 1
        if self._armed:
            signal.setitimer(signal.ITIMER_REAL, 0)
            signal.signal(signal.SIGALRM, signal.SIG_DFL)
            self._armed = False

    def _ring(self, number: int, frame: FrameType | None) -> None:
        del number, frame
        if not self._quiet:
            raise TimeRanOut

    @contextmanager
    def quiet(self) -> Iterator[None]:
        """A block that is not broken off."""
        self._quiet += 1
        try:
            yield
        finally:
            self._quiet -= 1
