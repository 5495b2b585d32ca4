"""What may follow an expression in an assignment: clock, enable, clear, preset, start, delay. Each at most once."""

from __future__ import annotations

from dataclasses import dataclass, field

from lark import Token

from verifier.circuit.netlist import Delay
from verifier.language.complaints import fitting_number
from verifier.language.findings import Findings
from verifier.language.reading import Reader
from verifier.language.scopes import Scope
from verifier.language.syntax import Block, Branch


@dataclass
class Options:
    """The options of one assignment, as far as they are written."""

    on: Branch | None = None
    enable: Branch | None = None
    clear: Branch | None = None
    preset: Branch | None = None
    start: Token | None = None
    takes: Delay | None = None
    written: list[tuple[str, Branch]] = field(default_factory=list)
    """The word of each option and where it stands, in order."""


def read_options(assignment: Branch, reader: Reader, block: Block, findings: Findings) -> Options | None:
    """The options, or None when a finding says what is wrong with them."""
    options = Options()
    for tree in assignment.branches[2:]:
        word = str(tree.token(0)) if tree.rule == "asynchronous" else tree.rule
        if any(word == other for other, _ in options.written):
            findings.error("repeated-option", f"`{word}` is said twice", block.place(tree), "say it once")
            return None
        options.written.append((word, tree))
        if word == "on":
            options.on = tree
        elif word == "while":
            options.enable = tree
        elif word == "clear":
            options.clear = tree
        elif word == "preset":
            options.preset = tree
        elif word == "start":
            options.start = tree.token(0)
        else:
            options.takes = reader.delay(tree.branch(0))
            if options.takes is None:
                return None
    return options


def start_bits(token: Token | None, width: int, scope: Scope, findings: Findings) -> tuple[bool | None, ...] | None:
    """The start of each bit, lowest first; None as a whole when a finding says what is wrong."""
    if token is None or token.type == "UNKNOWN":
        return (None,) * width
    value = fitting_number(token, width, scope, findings)
    return None if value is None else tuple(bool(value >> bit & 1) for bit in range(width))
