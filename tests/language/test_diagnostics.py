"""Findings as plain text."""

from __future__ import annotations

from verifier.errors import Diagnostic, Severity, Span
from verifier.language.diagnostics import WIDTH, format_diagnostic


def test_a_finding_is_place_source_line_caret_and_hint() -> None:
    span = Span("bells.wiring", 4, 12, 4, 15)
    finding = Diagnostic("unknown-name", "there is no net called `pul`", span, "    ring = pul", "did you mean `pull`?")
    assert format_diagnostic(finding) == [
        "bells.wiring:4:12: error: there is no net called `pul`",
        "        ring = pul",
        "               ^^^",
        "hint: did you mean `pull`?",
    ]


def test_warnings_say_so_and_missing_pieces_are_left_out() -> None:
    finding = Diagnostic("unused-net", "not used", Span("b", 1, 1, 1, 1), severity=Severity.WARNING)
    assert format_diagnostic(finding) == ["b:1:1: warning: not used"]


def test_a_span_of_several_lines_is_underlined_to_the_end_of_its_first() -> None:
    finding = Diagnostic("x", "wrong", Span("b", 1, 3, 2, 2), "a (b and   ")
    assert format_diagnostic(finding)[1:] == ["    a (b and", "      ^^^^^^"]


def test_long_lines_are_cut_around_the_column() -> None:
    line = "".join(str(number % 10) for number in range(1, 501))
    finding = Diagnostic("x", "wrong", Span("b", 1, 250, 1, 260), line)
    shown, caret = format_diagnostic(finding)[1:]
    assert len(shown) <= WIDTH + 4
    assert shown[caret.index("^") : caret.rindex("^") + 1] == line[249:259]


def test_a_span_longer_than_the_cut_line_is_underlined_as_far_as_it_shows() -> None:
    finding = Diagnostic("x", "wrong", Span("b", 1, 5, 1, 400), "a" * 500)
    shown, caret = format_diagnostic(finding)[1:]
    assert len(caret) <= len(shown)


def test_control_characters_never_come_through() -> None:
    finding = Diagnostic("x", "bad \x1b[31m", Span("b\x07", 1, 2, 1, 3), "a\tb\x1b[2J\u202e\u2066", "hint \x9b \u200f")
    text = "".join(format_diagnostic(finding))
    assert all(character.isprintable() for character in text)
    assert "\\x1b[31m" in text
    assert "    a b [2J  " in text
