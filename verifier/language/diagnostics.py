"""A finding as lines of plain text: where, what, the source line, a caret, a hint.

It prints nothing, colours nothing, and lets no control character through.
"""

from __future__ import annotations

from verifier.errors import Diagnostic
from verifier.language.source import without_control_characters

WIDTH = 80
"""A source line longer than this is cut around the column in question."""


def format_diagnostic(finding: Diagnostic) -> list[str]:
    """`file:line:column: error: message`, then the source line, a caret line and the hint, each where there is one."""
    span = finding.span
    place = f"{without_control_characters(span.file)}:{span.line}:{span.column}"
    lines = [f"{place}: {finding.severity.value}: {without_control_characters(finding.message)}"]
    if finding.excerpt.strip():
        lines += _excerpt(finding)
    if finding.hint:
        lines.append(f"hint: {without_control_characters(finding.hint)}")
    return lines


def _excerpt(finding: Diagnostic) -> list[str]:
    span = finding.span
    line = "".join(character if character.isprintable() else " " for character in finding.excerpt)
    first = min(span.column - 1, len(line))
    last = span.end_column - 1 if span.end_line == span.line else len(line.rstrip())
    offset = max(0, first - WIDTH // 2) if len(line) > WIDTH else 0
    shown = line[offset : offset + WIDTH].rstrip()
    length = max(1, min(last - first, WIDTH - (first - offset)))
    return [f"    {shown}", "    " + " " * (first - offset) + "^" * length]
