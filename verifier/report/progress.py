"""The live line: says what is being decided once that takes longer than a second. Only ever on a terminal.

One line on its own stream, rewritten in place and wiped before anything else is printed; a pipe never sees it.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO

from verifier.report.pieces import clean

PATIENCE_SECONDS = 1.0
REFRESH_SECONDS = 0.5
WIPE = "\r\x1b[K"
"""To the start of the line and clear it to its end, with whatever a key press has left there."""


class LiveLine:
    def __init__(self, stream: TextIO, *, enabled: bool, width: int = 80, patience: float = PATIENCE_SECONDS) -> None:
        self._stream = stream
        self._enabled = enabled
        self._width = width
        self._patience = patience
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._doing = self._how_far = ""
        self._since = time.monotonic()
        self._shown = False
        """Whether the line stands on the terminal now."""

    def __enter__(self) -> LiveLine:
        if self._enabled:
            self._thread = threading.Thread(target=self._tick, daemon=True)
            self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        if self._thread is not None:
            self._thread.join()
        with self._lock:
            self._wipe()

    def now(self, doing: str) -> None:
        """From here on this is being done."""
        with self._lock:
            self._doing = clean(doing)
            self._how_far = ""
            self._since = time.monotonic()

    def how_far(self, text: str) -> None:
        """How far that has come, to be shown beside it."""
        with self._lock:
            self._how_far = clean(text)

    def show(self, doing: str) -> None:
        """This is being done now, as part of what has been going on."""
        with self._lock:
            self._doing = clean(doing)

    @contextmanager
    def out_of_the_way(self) -> Iterator[None]:
        """While something else is printed."""
        with self._lock:
            self._wipe()
            yield

    def _tick(self) -> None:
        while not self._stop.wait(min(REFRESH_SECONDS, self._patience)):
            with self._lock:
                elapsed = time.monotonic() - self._since
                if self._doing and elapsed >= self._patience:
                    beside = f", {self._how_far}" if self._how_far else ""
                    self._show(f"... {self._doing}, {elapsed:.0f} s{beside}")

    def _show(self, text: str) -> None:
        self._stream.write(WIPE + text[: self._width - 1])
        self._stream.flush()
        self._shown = True

    def _wipe(self) -> None:
        if self._shown:
            self._stream.write(WIPE)
            self._stream.flush()
            self._shown = False
