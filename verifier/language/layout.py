"""Cuts the tokens of a file into blocks of logical lines by their columns.

A line that starts in the first column is a header. The first indented line below it sets the block's indentation; lines
at that column are statements, deeper lines go on with the statement above. It looks at columns, brackets and the first
word of a line, and leaves everything else to the grammar.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import groupby

from lark import Token

OPENING = frozenset({"LPAR", "LSQB"})
CLOSING = frozenset({"RPAR", "RSQB"})
_STATEMENT_WORDS = frozenset({"INPUT", "INPUTS", "OUTPUT", "NET", "DELAYS", "LET", "GIVEN", "MUST", "CAN"})
_HEADER_WORDS = frozenset({"CONTRACT", "CIRCUIT", "PART", "FAMILY", "USE"})

Line = list[Token]
"""The tokens of one logical line."""


@dataclass
class Section:
    """A header line and the statement lines below it."""

    header: Line
    statements: list[Line] = field(default_factory=list)


@dataclass(frozen=True)
class Misplaced:
    """A line whose indentation fits nothing."""

    token: Token
    message: str
    hint: str


@dataclass
class Layout:
    sections: list[Section] = field(default_factory=list)
    misplaced: list[Misplaced] = field(default_factory=list)


class _Cutter:
    """The state of one pass over the lines of a file."""

    def __init__(self, unjudged_lines: frozenset[int]) -> None:
        self.layout = Layout()
        # Lines with a tab in them: the tab is the finding, their column says nothing.
        self._unjudged = unjudged_lines
        # The logical line that the next physical line may go on with; empty at the start.
        self._current: Line = []
        self._open_brackets = 0
        self._in_header = True
        self._indentation: int | None = None

    def take(self, line: Line) -> None:
        if self._continues(line):
            self._current.extend(line)
        elif _column(line) == 1:
            self._open_header(line)
        elif not self.layout.sections:
            hint = "`contract`, `circuit`, `part`, `family` and `use` start in the first column"
            self._misplaced(line, "this line is indented, but no block stands above it", hint)
            self._current = list(line)
        else:
            self._open_statement(line)
        self._open_brackets = _open_brackets(self._current)

    def _open_header(self, line: Line) -> None:
        self._current = list(line)
        self.layout.sections.append(Section(self._current))
        self._in_header = True
        self._indentation = None

    def _open_statement(self, line: Line) -> None:
        column = _column(line)
        judged = line[0].line not in self._unjudged
        if self._indentation is None and judged:
            self._indentation = column
        elif self._indentation is not None and column != self._indentation and judged:
            deeper = "deeper" if column > self._indentation else "less"
            message = f"this line is indented {deeper} than the statements above it"
            self._misplaced(line, message, f"start it in column {self._indentation}, like them")
        self._current = list(line)
        self.layout.sections[-1].statements.append(self._current)
        self._in_header = False

    def _continues(self, line: Line) -> bool:
        """Whether this physical line goes on with the logical line above it."""
        if not self._current or (_column(line) == 1 and line[0].line not in self._unjudged):
            return False
        if self._current[-1].type in ("COMMA", "EQUAL"):
            return True
        if _starts_statement(line):
            return False
        if self._open_brackets:
            return True
        return not self._in_header and self._indentation is not None and _column(line) > self._indentation

    def _misplaced(self, line: Line, message: str, hint: str) -> None:
        self.layout.misplaced.append(Misplaced(line[0], message, hint))


def cut(tokens: Iterable[Token], unjudged_lines: frozenset[int] = frozenset()) -> Layout:
    """The sections of a file, and the lines whose indentation is wrong."""
    cutter = _Cutter(unjudged_lines)
    for line in _physical_lines(tokens):
        cutter.take(line)
    return cutter.layout


def _physical_lines(tokens: Iterable[Token]) -> Iterator[Line]:
    for _, line in groupby(tokens, key=lambda token: token.line):
        yield list(line)


def _column(line: Line) -> int:
    return line[0].column or 1


def _starts_statement(line: Line) -> bool:
    """Whether the line cannot be the middle of a statement; `=` stands in no expression."""
    if line[0].type in _STATEMENT_WORDS or line[0].type in _HEADER_WORDS:
        return True
    return line[0].type == "NAME" and any(token.type == "EQUAL" for token in line)


def _open_brackets(line: Line) -> int:
    opened = sum((token.type in OPENING) - (token.type in CLOSING) for token in line)
    return max(0, opened)
