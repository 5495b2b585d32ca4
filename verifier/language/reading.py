"""Reads the small things of the language: numbers, ranges, pins. Each mistake becomes a finding."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from lark import Token

from verifier.circuit.netlist import Delay, Range
from verifier.claims.formula import Tightest
from verifier.errors import Span
from verifier.language.findings import Findings, quoted
from verifier.language.syntax import Block, Branch

WIDTH_LIMIT = 1024
"""Bits in a bus."""

COUNT_LIMIT = 1_000_000_000
"""Steps, edges or nanoseconds in a claim."""

RESERVED = frozenset({
    "nand", "nor", "xnor", "majority", "join", "flipflop", "toggle", "jk", "latch", "set_reset", "settles",
})  # fmt: skip
"""Names that the language itself gives a meaning to."""

_NUMBER = re.compile(r"[0-9]+|0b[01]+|0x[0-9A-Fa-f]+")
_DIGIT_LIMIT = 400


@dataclass(frozen=True)
class Pin:
    """A declared name with its width."""

    name: str
    width: int
    span: Span


@dataclass(frozen=True)
class RefusedPin:
    """A declared name of which a finding says what is wrong."""

    name: str
    span: Span


class Reader:
    """Reads pieces of one block."""

    def __init__(self, block: Block, findings: Findings) -> None:
        self._block = block
        self._findings = findings
        self.refused: list[RefusedPin] = []

    def number(self, token: Token, *, limit: int | None = None) -> int | None:
        """The value of a number, or None when a finding says what is wrong with it."""
        span = self._block.place(token)
        if not _NUMBER.fullmatch(token):
            unit = re.fullmatch(r"([0-9]+)(ns|steps)", token)
            hint = f"write a space: `{unit[1]} {unit[2]}`" if unit else "numbers look like `12`, `0b0101` or `0x1F`"
            self._findings.error("bad-number", f"{quoted(token)} is no number", span, hint)
            return None
        if len(token) > _DIGIT_LIMIT:
            self._findings.error("number-too-large", "this number has too many digits", span)
            return None
        value = int(token, 0) if token[:2] in ("0b", "0x") else int(token)
        if limit is not None and value > limit:
            self._findings.error("number-too-large", f"{quoted(token)} is more than {limit}", span)
            return None
        return value

    def amount(self, token: Token) -> int | Tightest | None:
        """A number or `?`."""
        return Tightest.ASKED if token.type == "ASKED" else self.number(token, limit=COUNT_LIMIT)

    def range(self, tree: Branch) -> Range | None:
        """`3..15` or `10`, in nanoseconds."""
        tokens = tree.tokens
        values = [self.number(token, limit=COUNT_LIMIT) for token in tokens]
        low, high = values[0], values[-1]
        if low is None or high is None:
            return None
        if low > high:
            hint = f"write `{tokens[-1]}..{tokens[0]}`"
            message = f"the range {tokens[0]}..{tokens[-1]} ends before it starts"
            self._findings.error("bad-range", message, self._block.place(tree), hint)
            return None
        return Range(low, high)

    def delay(self, tree: Branch) -> Delay | None:
        """`3..15 ns`, or `rise 3..10 ns, fall 4..11 ns` in either order."""
        edges = [branch.token(0) for branch in tree.branches if branch.rule == "edge"]
        if edges and edges[0].type == edges[1].type:
            message = f"`{edges[1]}` is said twice"
            span = self._block.place(edges[1])
            self._findings.error("repeated-option", message, span, "say `rise ... ns, fall ... ns`")
            return None
        ranges = [self.range(branch) for branch in tree.branches if branch.rule == "range"]
        first, last = ranges[0], ranges[-1]
        if first is None or last is None:
            return None
        if edges and edges[0].type == "FALL":
            return Delay(rise=last, fall=first)
        return Delay(rise=first, fall=last)

    def pins(self, tree: Branch) -> list[Pin]:
        """The pins of a `pins` list that are fit to use."""
        return [pin for branch in tree.branches if (pin := self.pin(branch)) is not None]

    def pin(self, tree: Branch) -> Pin | None:
        name = tree.token(0)
        width = self.width(tree.token(1)) if len(tree.tokens) > 1 else 1
        if not self.name_is_free(name) or width is None:
            self.refused.append(RefusedPin(str(name), self._block.place(tree)))
            return None
        return Pin(str(name), width, self._block.place(tree))

    def width(self, token: Token) -> int | None:
        value = self.number(token, limit=WIDTH_LIMIT)
        if value == 0:
            self._findings.error("bad-width", "a bus has at least one bit", self._block.place(token))
            return None
        return value

    def name_is_free(self, name: Token) -> bool:
        """Whether the language leaves this name to the writer."""
        if name in RESERVED:
            message = f"{quoted(name)} is a word of the language and cannot be a name"
            self._findings.error("keyword-as-name", message, self._block.place(name), "choose another name")
        return name not in RESERVED


class NameTable:
    """Names that are taken in one place, found by their spelling without regard to case."""

    def __init__(self, names: Iterable[str] = ()) -> None:
        self._by_folded = {name.casefold(): name for name in names}

    def add(self, name: str) -> None:
        self._by_folded[name.casefold()] = name

    def is_taken(self, name: str, span: Span, findings: Findings, what: str = "something called") -> bool:
        """Reports a name that is taken, or that differs from a taken one by case alone; True when it is taken."""
        other = self._by_folded.get(name.casefold())
        if other == name:
            findings.error("name-taken", f"there is already {what} {quoted(name)}", span, "choose another name")
        elif other is not None:
            message = f"{quoted(name)} differs from {quoted(other)} by upper and lower case alone"
            findings.error("case-clash", message, span, "choose a name that cannot be mistaken for the other")
        return other == name
