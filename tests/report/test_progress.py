"""The live line of a terminal."""

import io
import time

from verifier.report.progress import LiveLine


def wait_for(stream: io.StringIO, text: str) -> None:
    deadline = time.monotonic() + 5
    while text not in stream.getvalue() and time.monotonic() < deadline:
        time.sleep(0.005)
    assert text in stream.getvalue()


def on_screen(text: str) -> str:
    """What one terminal line shows after these characters."""
    cells: list[str] = []
    position = 0
    for character in text.replace("\x1b[K", "\v"):
        if character == "\r":
            position = 0
        elif character == "\v":
            del cells[position:]
        else:
            cells[position : position + 1] = [character]
            position += 1
    return "".join(cells).rstrip()


def test_the_line_appears_when_something_takes_long_and_is_wiped_at_the_end() -> None:
    stream = io.StringIO()
    with LiveLine(stream, enabled=True, patience=0.01) as live:
        live.now("two_registers: no_lost_press")
        wait_for(stream, "two_registers: no_lost_press, 0 s")
        live.how_far("9 instants")
        wait_for(stream, "two_registers: no_lost_press, 0 s, 9 instants")
    assert on_screen(stream.getvalue()) == ""
    assert "\n" not in stream.getvalue()


def test_the_line_is_out_of_the_way_while_something_else_is_printed() -> None:
    stream = io.StringIO()
    with LiveLine(stream, enabled=True, patience=0.01) as live:
        live.now("plain_mux: settles")
        wait_for(stream, "plain_mux: settles")
        with live.out_of_the_way():
            assert on_screen(stream.getvalue()) == ""


def test_nothing_is_shown_when_all_is_quick() -> None:
    stream = io.StringIO()
    with LiveLine(stream, enabled=True, patience=60) as live:
        live.now("plain_mux: settles")
    assert stream.getvalue() == ""


def test_a_pipe_never_sees_the_line() -> None:
    stream = io.StringIO()
    with LiveLine(stream, enabled=False, patience=0) as live:
        live.now("plain_mux: settles")
        time.sleep(0.05)
    assert stream.getvalue() == ""


def test_the_line_fits_the_terminal_and_cannot_steer_it() -> None:
    stream = io.StringIO()
    with LiveLine(stream, enabled=True, patience=0.01, width=40) as live:
        live.now("\x1b[2J" + "bell " * 40)
        wait_for(stream, "bell bell")
        shown = on_screen(stream.getvalue())
    assert len(shown) <= 39
    assert "\x1b[2J" not in stream.getvalue()
