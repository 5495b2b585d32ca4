"""The text of one wiring file: read within limits, checked for characters that must not be there, cut into lines.

It knows nothing of the language.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from verifier.errors import CallError, Span

SIZE_LIMIT = 4 * 1024 * 1024
"""Largest file that is read, in bytes."""

# Control characters, and the invisible ones that change the direction or the joining of what is printed after them.
_INVISIBLE = r"\x00-\x08\x0b-\x1f\x7f-\x9f\u00ad\u061c\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb"
_FORBIDDEN = re.compile(rf"[\t{_INVISIBLE}]")
# A tab stands between words; anything else that is forbidden may stand inside one.
_CUTTING = re.compile(rf"[{_INVISIBLE}]")
CARRIAGE_RETURN = "carriage return"
_NAMES = {"\t": "tab", "\x1b": "escape character", "\r": CARRIAGE_RETURN}


class UnreadableTextError(Exception):
    """The file is there but its content is no text that can be a wiring file; carries what a finding needs."""

    def __init__(self, code: str, message: str, hint: str) -> None:
        self.code = code
        self.hint = hint
        super().__init__(message)


@dataclass(frozen=True)
class Source:
    """One text under the name that findings show."""

    name: str
    text: str
    """Line ends are `\\n`; forbidden characters are still in it."""

    @cached_property
    def lines(self) -> list[str]:
        return self.text.split("\n")

    @property
    def clean_text(self) -> str:
        """The text with every forbidden character replaced by one space, so that columns stay."""
        return _FORBIDDEN.sub(" ", self.text)

    @cached_property
    def marred_words(self) -> dict[int, frozenset[str]]:
        """The lines that a forbidden character cuts, outside comments, and their words as they are without it."""
        marred = {}
        for number, line in enumerate(self.lines, start=1):
            statement = line.split("#")[0]
            bare = _CUTTING.sub("", statement)
            if bare != statement:
                marred[number] = frozenset(re.findall(r"\w+", bare))
        return marred

    def forbidden_characters(self) -> list[tuple[str, Span]]:
        """The first tab and the first other forbidden character of each line, as a name and its place."""
        found = []
        for number, line in enumerate(self.lines, start=1):
            seen: set[str] = set()
            for match in _FORBIDDEN.finditer(line):
                name = _NAMES.get(match[0], f"character U+{ord(match[0]):04X}")
                if name not in seen and len(seen) < 2:
                    seen.add(name)
                    found.append((name, Span(self.name, number, match.start() + 1, number, match.end() + 1)))
        return found

    def word_at(self, line: int, column: int) -> Span:
        """The run of letters, digits, accents and `_` around a character; where it is none of these, that alone."""
        text = self.lines[line - 1]
        first = last = column - 1
        if _belongs_to_a_word(text[first]):
            while first > 0 and _belongs_to_a_word(text[first - 1]):
                first -= 1
            while last + 1 < len(text) and _belongs_to_a_word(text[last + 1]):
                last += 1
        return Span(self.name, line, first + 1, line, last + 2)

    def start(self) -> Span:
        return Span(self.name, 1, 1, 1, 1)


def _belongs_to_a_word(character: str) -> bool:
    return character.isalnum() or character == "_" or unicodedata.category(character).startswith("M")


def without_control_characters(text: str) -> str:
    """The text with every unprintable character written out, as in `\\x1b`; what is printed passes through here."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def read_text(path: Path) -> str:
    """The text of a file, line ends made `\\n`.

    Raises:
        CallError: there is no such file, it is no regular file, or it may not be read.
        UnreadableTextError: it is too large, holds a zero byte, or is not UTF-8.
    """
    shown = without_control_characters(str(path))
    try:
        if path.is_dir():
            raise CallError(f"{shown} is a folder, not a file", "name the wiring file inside it")
        if not path.exists():
            raise CallError(f"there is no file {shown}")
        if not path.is_file():
            raise CallError(f"{shown} is no regular file")
        with path.open("rb") as stream:
            content = stream.read(SIZE_LIMIT + 1)
    except (OSError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or "it cannot be opened"
        raise CallError(f"cannot read {shown}: {reason}") from problem
    return decode(content)


def decode(content: bytes) -> str:
    """The text in these bytes; raises UnreadableTextError."""
    if len(content) > SIZE_LIMIT:
        raise UnreadableTextError("too-large", "this file is larger than 4 MiB", "split it; `use` joins files")
    if b"\x00" in content:
        raise UnreadableTextError("not-text", "this is a binary file, not a wiring file", "it holds a zero byte")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        hint = f"the byte at offset {problem.start} does not belong there; save the file as UTF-8"
        raise UnreadableTextError("not-text", "this file is not UTF-8 text", hint) from problem
    return text.replace("\r\n", "\n")
