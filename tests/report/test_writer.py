"""Plain text for a pipe, colours for a terminal, the same characters for both."""

import io
import re

import pytest

from verifier.report.pieces import Piece, Tone, line, plain_text
from verifier.report.writer import PIPE_WIDTH, SilentWriter, writer_for

LINES = [
    line(Piece("broken", Tone.BAD), "  mem[addr] [bold]not markup[/bold] :bell: 12"),
    line(Piece("[1]", Tone.CHANGED)),
]


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture(autouse=True)
def _ordinary_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("NO_COLOR", "FORCE_COLOR", "COLORTERM"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLUMNS", "100")


def test_a_pipe_gets_plain_text_at_eighty_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("COLUMNS")
    stream = io.StringIO()
    writer = writer_for(stream)
    writer.write(LINES)
    assert (writer.width, writer.live) == (PIPE_WIDTH, False)
    assert stream.getvalue() == "broken  mem[addr] [bold]not markup[/bold] :bell: 12\n[1]\n"


@pytest.mark.parametrize(
    ("said", "width"), [("60", 60), ("10", 40), ("500", 120), ("", 80), ("0", 80), ("wide", 80), ("-5", 80)]
)
def test_a_pipe_has_the_width_that_columns_says_within_bounds(
    said: str, width: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", said)
    assert writer_for(io.StringIO()).width == width


def test_a_terminal_gets_the_same_characters_in_colour() -> None:
    stream = Terminal()
    writer = writer_for(stream)
    writer.write(LINES)
    assert (writer.width, writer.live) == (100, True)
    assert "\x1b[" in stream.getvalue()
    assert re.sub(r"\x1b\[[0-9;]*m", "", stream.getvalue()) == plain_text(LINES)


def test_no_colour_is_respected_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    stream = Terminal()
    writer_for(stream).write(LINES)
    assert not re.search(r"\x1b\[(3|4|9)[0-9]", stream.getvalue())


def test_a_terminal_that_knows_no_colours_gets_plain_text(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "dumb")
    stream = Terminal()
    writer_for(stream).write(LINES)
    assert stream.getvalue() == plain_text(LINES)


def test_a_long_line_is_not_folded_by_the_terminal_writer() -> None:
    stream = Terminal()
    writer_for(stream).write([line("x" * 300)])
    assert stream.getvalue() == "x" * 300 + "\n"


def test_the_silent_writer_takes_lines_and_prints_none(capsys: pytest.CaptureFixture[str]) -> None:
    SilentWriter().write(LINES)
    assert capsys.readouterr().out == ""
