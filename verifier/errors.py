"""Where a piece of text stands in a wiring file, and the one family of errors a user can meet.

Nothing here prints or exits: the command line does both, in one place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum


@dataclass(frozen=True, order=True)
class Span:
    """A stretch of source text. Lines and columns count from 1; the end column is one past the last character."""

    file: str
    line: int
    column: int
    end_line: int
    end_column: int


class Severity(Enum):
    ERROR = "error"
    WARNING = "warning"


@dataclass(frozen=True)
class Diagnostic:
    """One finding about a wiring file."""

    code: str
    """A short stable name such as `unknown-name`, one for each kind of mistake."""
    message: str
    span: Span
    excerpt: str = ""
    """The source line at the start of the span, without its line end."""
    hint: str = ""
    severity: Severity = Severity.ERROR


class EdgewrightError(Exception):
    """Root of everything that is reported to a user; `exit_code` is what the command ends with."""

    exit_code = 2


class SourceError(EdgewrightError):
    """A wiring file is wrong; carries every finding, in source order."""

    def __init__(self, diagnostics: Sequence[Diagnostic]) -> None:
        if not diagnostics:
            raise ValueError("a source error needs at least one diagnostic")
        self.diagnostics = tuple(sorted(diagnostics, key=lambda finding: finding.span))
        super().__init__("; ".join(finding.message for finding in self.diagnostics))


class CallError(EdgewrightError):
    """The call is wrong: no such file, circuit, claim or option value."""

    def __init__(self, message: str, hint: str = "") -> None:
        self.hint = hint
        super().__init__(message)


class InternalDisagreement(EdgewrightError):
    """Two independent ways of judging the same thing gave different answers: a bug in Edgewright."""

    exit_code = 4
