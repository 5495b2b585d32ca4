"""Findings that circuits and claims share: names that are unknown, widths and numbers that do not fit."""

from __future__ import annotations

from collections.abc import Sequence

from lark import Token

from verifier.language.findings import Findings, nearest, quoted
from verifier.language.reading import Reader
from verifier.language.scopes import Scope
from verifier.language.syntax import Branch
from verifier.language.widths import find_instance


def fitting_number(token: Token, width: int, scope: Scope, findings: Findings) -> int | None:
    """The number, if it fits the width."""
    value = Reader(scope.block, findings).number(token)
    if value is not None and value >> width:
        most = (1 << width) - 1
        message = f"{quoted(token)} does not fit into {_bits(width)}"
        hint = f"the largest number there is {most}" if width <= 64 else ""
        findings.error("does-not-fit", message, scope.block.place(token), hint)
        return None
    return value


def check_slice(tree: Branch, high: int, low: int, width: int, scope: Scope, findings: Findings) -> bool:
    """Whether bits `high..low` exist."""
    if high >= width or low >= width:
        report_bit(tree, tree.token(1) if high >= width else tree.token(2), width, scope, findings)
        return False
    if high < low:
        message = f"the bits {high}..{low} run upwards"
        findings.error("bad-range", message, scope.block.place(tree), f"the higher bit comes first: `[{low}..{high}]`")
        return False
    return True


def report_bit(tree: Branch, token: Token, width: int, scope: Scope, findings: Findings) -> None:
    base = tree.branches[0] if tree.branches else None
    name = text_of(base) if base is not None else str(tree.token(0))
    message = f"there is no bit {token} in {quoted(name)}, which is {_bits(width)} wide"
    hint = f"its bits are 0 to {width - 1}" if width > 1 else "its one bit is bit 0"
    findings.error("no-such-bit", message, scope.block.place(token), hint)


def report_width(tree: Branch, width: int, wanted: int, scope: Scope, findings: Findings) -> None:
    message = f"{quoted(text_of(tree))} is {_bits(width)} wide, but {_bits(wanted)} {_verb(wanted)} wanted here"
    hint = "choose bits with `[3]` or `[3..0]`, or put buses together with `join(...)`"
    findings.error("width-mismatch", message, scope.block.place(tree), hint)


def report_unknown(tree: Branch, scope: Scope, more_names: Sequence[str], findings: Findings) -> None:
    """Reports a reference or member that names nothing."""
    if tree.rule == "reference":
        name = str(tree.token(0))
        if name in scope.lost:
            return
        if name in scope.instances:
            hint = f"its nets are `{name}.` and their name"
            message = f"{quoted(name)} is a part, not a net"
        else:
            message = f"there is no net called {quoted(name)}"
            hint = nearest(name, (*scope.symbols, *more_names))
        findings.error("unknown-name", message, scope.block.place(tree), hint)
        return
    base, token = tree.branch(0), tree.token(1)
    instance = find_instance(scope, base)
    if instance is None:
        known = [*scope.instances]
        message = f"there is no part called {quoted(text_of(base))} in here"
        findings.error("unknown-name", message, scope.block.place(base), nearest(text_of(base), known))
        return
    symbol = instance.symbols.get(str(token))
    inside = [name for name, known in instance.symbols.items() if not known.is_input]
    if symbol is not None:
        hint = "use the net that is connected to it"
        message = f"{quoted(token)} is an input of the part {quoted(text_of(base))}"
    else:
        hint = nearest(str(token), inside)
        message = f"the part {quoted(text_of(base))} has no net called {quoted(token)}"
    findings.error("unknown-name", message, scope.block.place(token), hint)


def report_unknown_call(tree: Branch, known: Sequence[str], scope: Scope, findings: Findings) -> None:
    callee = tree.token(0)
    message = f"there is no gate or part called {quoted(callee)}"
    findings.error("unknown-part", message, scope.block.place(callee), nearest(str(callee), known))


def text_of(tree: Branch) -> str:
    """A short piece of syntax as it is written; other pieces are called `this`."""
    if tree.rule == "reference":
        return str(tree.token(0))
    if tree.rule == "member":
        return f"{text_of(tree.branch(0))}.{tree.token(1)}"
    if tree.rule == "index":
        return f"{text_of(tree.branch(0))}[{tree.token(1)}]"
    if tree.rule == "slice":
        return f"{text_of(tree.branch(0))}[{tree.token(1)}..{tree.token(2)}]"
    return "this"


def _bits(width: int) -> str:
    return "1 bit" if width == 1 else f"{width} bits"


def _verb(width: int) -> str:
    return "is" if width == 1 else "are"
