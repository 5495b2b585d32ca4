"""Text of wiring files in a drawing: harmless, of known width, and shortened where there is no room for it."""

from __future__ import annotations

import unicodedata
from html import escape

from verifier.report.pieces import clean

NAME_SIZE = 11
"""Height of names, in units of the drawing."""

PIN_SIZE = 10
"""Height of what stands inside an outline."""

ADVANCE = 0.62
"""Width of a character of the monospaced fonts named in the style, in heights, rounded up."""


def shown(text: str) -> str:
    """The text as XML: markup and control characters in it are characters like any other."""
    return escape(clean(text), quote=True)


def text_width(text: str, size: float) -> float:
    """How wide the text is at most, set in a monospaced font of this height."""
    columns = sum(2 if unicodedata.east_asian_width(letter) in "WF" else 1 for letter in clean(text))
    return columns * ADVANCE * size


def shortened(text: str, most: int) -> str:
    """At most that many columns; the middle of a longer text is left out, for the ends tell names apart."""
    text = clean(text)
    if text_width(text, 1) <= most * ADVANCE:
        return text
    head, tail = text[: (most - 1) // 2], text[-(most // 2) :]
    while text_width(f"{head}…{tail}", 1) > most * ADVANCE and len(head) > 1:
        head, tail = head[:-1], tail[1:]
    return f"{head}…{tail}"
