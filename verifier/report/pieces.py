"""Lines made of pieces of text, each with a tone: the one form in which reports are laid out.

Every text from outside (names, claims, paths) becomes a piece through `clean`, so nothing that a wiring file says can
steer a terminal. How a tone looks, and whether it shows at all, is the writer's business (`writer.py`).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum


class Tone(Enum):
    PLAIN = "plain"
    HEADING = "heading"
    GOOD = "good"
    BAD = "bad"
    DOUBTFUL = "doubtful"
    CHANGED = "changed"
    QUIET = "quiet"


@dataclass(frozen=True)
class Piece:
    text: str
    tone: Tone = Tone.PLAIN


Line = tuple[Piece, ...]


def line(*parts: str | Piece) -> Line:
    return tuple(part if isinstance(part, Piece) else Piece(part) for part in parts)


def plain(laid_out: Line) -> str:
    return "".join(piece.text for piece in laid_out).rstrip()


def plain_text(lines: Iterable[Line]) -> str:
    return "".join(plain(laid_out) + "\n" for laid_out in lines)


UNPRINTABLE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Unicode categories of characters that can move a cursor, reorder text or hide in it."""


def clean(text: str) -> str:
    """The text on one line, everything that a terminal might obey written out as `\\x1b` or `\\u202e`."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        letter.encode("unicode_escape").decode() if unicodedata.category(letter) in UNPRINTABLE else letter
        for letter in text
    )


def wrapped(text: str, width: int) -> list[str]:
    """The words of the text in lines of at most `width` characters; a longer word is cut. At least one line."""
    lines: list[str] = []
    current = ""
    for word in text.split(" "):
        while len(word) > width:
            if current:
                lines.append(current)
                current = ""
            lines.append(word[:width])
            word = word[width:]
        if current and len(current) + 1 + len(word) > width:
            lines.append(current)
            current = word
        else:
            current = f"{current} {word}" if current and word else current or word
    return [*lines, current] if current or not lines else lines


def paragraph(text: str, *, width: int, first: str = "", then: str = "", tone: Tone = Tone.PLAIN) -> list[Line]:
    """The text wrapped to `width`, its lines led in by `first` and `then`."""
    rows = wrapped(text, max(20, width - max(len(first), len(then))))
    return [line(then if index else first, Piece(row, tone)) for index, row in enumerate(rows)]


def listing(words: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    if len(words) < 2:
        return "".join(words)
    return ", ".join(words[:-1]) + " and " + words[-1]
