"""Families: what each kind of gate and storage takes and asks for, as far as a family gives it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from lark import Token

from verifier.circuit.netlist import Delay, Timing
from verifier.language.findings import Findings, nearest, quoted
from verifier.language.reading import COUNT_LIMIT, Reader
from verifier.language.scopes import targets_of
from verifier.language.syntax import Block, Branch

_FAMILY_WORDS = frozenset({
    "buffer", "not", "and", "or", "nand", "nor", "xor", "xnor", "majority", "if", "flipflop", "toggle", "jk",
    "latch", "set_reset",
})  # fmt: skip

_FLIP_FLOP_FIGURES = {
    "set-up": "set_up", "hold": "hold", "clock width": "clock_width", "clear width": "clear_width",
    "settling": "settling",
}  # fmt: skip
_LATCH_FIGURES = {"set-up": "set_up", "hold": "hold", "enable width": "clock_width"}
_FIGURES = {
    "flipflop": _FLIP_FLOP_FIGURES, "toggle": _FLIP_FLOP_FIGURES, "jk": _FLIP_FLOP_FIGURES, "latch": _LATCH_FIGURES,
}  # fmt: skip
"""For each kind the figures it may have, as they are written, and the fields of `Timing` they become."""

_FIGURE_WORDS = (*_FLIP_FLOP_FIGURES, "enable width")


@dataclass(frozen=True)
class Family:
    """By the words that stand for the kinds: `nand`, `if`, `latch`."""

    delays: Mapping[str, Delay] = field(default_factory=dict)
    timings: Mapping[str, Timing] = field(default_factory=dict)


@dataclass(frozen=True)
class _Figure:
    """One figure behind a delay, as in `set-up 20 ns`."""

    word: str
    value: int
    tree: Branch


def read_family(block: Block, findings: Findings) -> Family:
    """What the family's lines say; each mistake becomes a finding."""
    return _FamilyReader(block, findings).read()


class _FamilyReader:
    """Reads one family; `_seen` holds the words that had a line already, a wrong one included."""

    def __init__(self, block: Block, findings: Findings) -> None:
        self._block = block
        self._findings = findings
        self._reader = Reader(block, findings)
        self._seen: set[str] = set()

    def read(self) -> Family:
        delays: dict[str, Delay] = {}
        timings: dict[str, Timing] = {}
        for statement in self._block.all("delay"):
            delay = self._reader.delay(statement.branch(1))
            figures = self._figures(statement)
            for word in self._kinds(statement):
                timing = self._timing(word, figures)
                if delay is not None:
                    delays[word] = delay
                if timing is not None:
                    timings[word] = timing
        return Family(delays, timings)

    def _kinds(self, statement: Branch) -> list[str]:
        """The kinds that the line speaks of, those left out of which a finding says what is wrong."""
        kinds: list[str] = []
        for target in targets_of(statement):
            word = str(target.token(0))
            if word not in _FAMILY_WORDS or len(target.tokens) > 1:
                hint = nearest(word, _FAMILY_WORDS) or "known are gates such as `nand`, and `flipflop`, `latch`"
                self._error("unknown-part", f"a family has no {quoted(word)}", target, hint)
            elif word in self._seen:
                self._error("name-taken", f"the delay of {quoted(word)} is given twice", target)
            else:
                self._seen.add(word)
                kinds.append(word)
        return kinds

    def _figures(self, statement: Branch) -> list[_Figure]:
        """The figures of a line that are known and said once."""
        figures: list[_Figure] = []
        for tree in statement.branches[2:]:
            *words, number = tree.tokens
            word = " ".join(words).replace(" - ", "-")
            value = self._reader.number(number, limit=COUNT_LIMIT)
            if word not in _FIGURE_WORDS:
                self._report_unknown_figure(word, words[0], tree)
            elif any(figure.word == word for figure in figures):
                self._error("repeated-option", f"`{word}` is said twice", tree, "say it once")
            elif value is not None:
                figures.append(_Figure(word, value, tree))
        return figures

    def _report_unknown_figure(self, word: str, first: Token, tree: Branch) -> None:
        hint = nearest(word, _FIGURE_WORDS)
        if first.type in ("RISE", "FALL"):
            hint = "a delay for each edge is written `takes rise 3..10 ns, fall 4..11 ns`"
        self._error("unknown-name", f"there is no figure called {quoted(word)}", tree, hint)

    def _timing(self, kind: str, figures: list[_Figure]) -> Timing | None:
        """The figures as the netlist has them; None when there are none."""
        names = _FIGURES.get(kind, {})
        for figure in figures:
            if figure.word not in names:
                known = ", ".join(f"`{word}`" for word in names)
                hint = f"a {kind} may have {known}" if known else "a flip-flop or latch may have such a figure"
                self._error("wrong-option", f"`{figure.word}` cannot be said of a {kind}", figure.tree, hint)
        fitting = {names[figure.word]: figure.value for figure in figures if figure.word in names}
        return Timing(**fitting) if fitting else None

    def _error(self, code: str, message: str, tree: Branch, hint: str = "") -> None:
        self._findings.error(code, message, self._block.place(tree), hint)
