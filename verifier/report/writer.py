"""Puts laid-out lines on a stream: plain where it is a file or a pipe, with colour on a terminal.

`rich` is loaded only for a terminal. Both writers print the very same characters.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterable
from typing import TYPE_CHECKING, Protocol, TextIO

from verifier.report.pieces import Line, Tone, plain_text

if TYPE_CHECKING:
    from rich.console import Console

PIPE_WIDTH = 80
NARROWEST, WIDEST = 40, 120

STYLES = {
    Tone.PLAIN: "",
    Tone.HEADING: "bold",
    Tone.GOOD: "green",
    Tone.BAD: "bold red",
    Tone.DOUBTFUL: "yellow",
    Tone.CHANGED: "bold cyan",
    Tone.QUIET: "dim",
}


class Writer(Protocol):
    @property
    def width(self) -> int: ...

    @property
    def live(self) -> bool:
        """Whether a person watches the lines arrive."""

    def write(self, lines: Iterable[Line]) -> None: ...


class PlainWriter:
    def __init__(self, stream: TextIO, width: int = PIPE_WIDTH) -> None:
        self._stream = stream
        self.width = width
        self.live = False

    def write(self, lines: Iterable[Line]) -> None:
        self._stream.write(plain_text(lines))
        self._stream.flush()


class TerminalWriter:
    def __init__(self, console: Console, width: int) -> None:
        self._console = console
        self.width = width
        self.live = True

    def write(self, lines: Iterable[Line]) -> None:
        from rich.text import Text

        for laid_out in lines:
            # Text keeps square brackets as they are; a plain string would be read as markup.
            text = Text.assemble(*((piece.text, STYLES[piece.tone]) for piece in laid_out))
            text.rstrip()
            self._console.print(text, soft_wrap=True, highlight=False, emoji=False, markup=False)


class SilentWriter:
    """Swallows everything: for `--json -`, where standard output belongs to the record alone."""

    width = PIPE_WIDTH
    live = False

    def write(self, lines: Iterable[Line]) -> None:
        for _ in lines:
            pass


def writer_for(stream: TextIO) -> Writer:
    """The writer that suits the stream."""
    width = width_of(stream)
    if not stream.isatty() or os.environ.get("TERM") == "dumb":
        return PlainWriter(stream, width)
    from rich.console import Console

    return TerminalWriter(Console(file=stream, width=width, highlight=False), width)


def width_of(stream: TextIO) -> int:
    """What the environment says in COLUMNS, else that of the terminal, else that for a pipe; within bounds."""
    said = os.environ.get("COLUMNS", "")
    if not stream.isatty() and not (said.isascii() and said.isdigit() and int(said) > 0):
        return PIPE_WIDTH
    return min(max(shutil.get_terminal_size((PIPE_WIDTH, 24)).columns, NARROWEST), WIDEST)
