"""Collects what is found wrong with wiring files, each finding once, with its excerpt."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

from verifier.errors import Diagnostic, Severity, SourceError, Span
from verifier.language.source import Source, without_control_characters

LIMIT = 100
"""So many errors and so many warnings are kept; a file with more is beyond reading them all."""


class Findings:
    """Errors and warnings so far.

    Invariant: no two findings have the same code, message and span; spans lie in sources that were added.
    """

    def __init__(self) -> None:
        self._lines: dict[str, list[str]] = {}
        # A dict for its order and its uniqueness; the values are the findings themselves.
        self._found: dict[tuple[str, str, Span], Diagnostic] = {}
        # How many there are of each severity. Warnings must never crowd out an error.
        self._counts = dict.fromkeys(Severity, 0)

    def add_source(self, source: Source) -> None:
        self._lines[source.name] = source.lines

    def error(self, code: str, message: str, span: Span, hint: str = "") -> None:
        self._add(code, message, span, hint, Severity.ERROR)

    def warning(self, code: str, message: str, span: Span, hint: str = "") -> None:
        self._add(code, message, span, hint, Severity.WARNING)

    @property
    def full(self) -> bool:
        """Whether further errors are dropped."""
        return self.error_count >= LIMIT

    @property
    def error_count(self) -> int:
        return self._counts[Severity.ERROR]

    @property
    def warnings(self) -> tuple[Diagnostic, ...]:
        found = [finding for finding in self._found.values() if finding.severity is Severity.WARNING]
        return tuple(sorted(found, key=lambda finding: finding.span))

    def raise_errors(self) -> None:
        """Raises SourceError with all errors, if there are any."""
        errors = [finding for finding in self._found.values() if finding.severity is Severity.ERROR]
        if errors:
            raise SourceError(errors)

    def _add(self, code: str, message: str, span: Span, hint: str, severity: Severity) -> None:
        if self._counts[severity] >= LIMIT:
            return
        lines = self._lines.get(span.file, [])
        excerpt = lines[span.line - 1] if span.line <= len(lines) else ""
        clean = (without_control_characters(text) for text in (message, hint))
        finding = Diagnostic(code, next(clean), span, excerpt, next(clean), severity)
        key = (code, finding.message, span)
        if key not in self._found:
            self._found[key] = finding
            self._counts[severity] += 1


def quoted(name: str) -> str:
    """A name as messages show it; long ones are cut."""
    return f"`{name}`" if len(name) <= 60 else f"`{name[:57]}...`"


def counted(number: int, noun: str) -> str:
    """`1 input`, `2 inputs`."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def nearest(name: str, known: Iterable[str]) -> str:
    """A hint that offers the closest known name, or lists the known ones when they are few, or is empty."""
    names = list(dict.fromkeys(known))
    close = get_close_matches(name[:60].lower(), [candidate.lower() for candidate in names], n=1, cutoff=0.6)
    if close:
        match = next(candidate for candidate in names if candidate.lower() == close[0])
        return f"did you mean {quoted(match)}?"
    if 0 < len(names) <= 6:
        return "known here: " + ", ".join(quoted(candidate) for candidate in names)
    return ""
