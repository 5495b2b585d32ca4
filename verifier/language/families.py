"""Families: the delay of each kind of gate and storage, as far as a family gives it."""

from __future__ import annotations

from verifier.circuit.netlist import Range
from verifier.language.findings import Findings, nearest, quoted
from verifier.language.reading import Reader
from verifier.language.scopes import targets_of
from verifier.language.syntax import Block

_FAMILY_WORDS = frozenset({
    "buffer", "not", "and", "or", "nand", "nor", "xor", "xnor", "majority", "if", "flipflop", "toggle", "jk",
    "latch", "set_reset",
})  # fmt: skip


def read_family(block: Block, findings: Findings) -> dict[str, Range]:
    """The delays by the words that stand for the kinds: `nand`, `if`, `latch`."""
    delays: dict[str, Range] = {}
    reader = Reader(block, findings)
    for statement in block.all("delay"):
        delay = reader.range(statement.branch(1))
        for target in targets_of(statement):
            word, span = str(target.token(0)), block.place(target)
            if word not in _FAMILY_WORDS or len(target.tokens) > 1:
                hint = nearest(word, _FAMILY_WORDS) or "known are gates such as `nand`, and `flipflop`, `latch`"
                findings.error("unknown-part", f"a family has no {quoted(word)}", span, hint)
            elif word in delays:
                findings.error("name-taken", f"the delay of {quoted(word)} is given twice", span)
            elif delay is not None:
                delays[word] = delay
    return delays
