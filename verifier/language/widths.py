"""How wide expressions and undeclared nets are, as far as that follows from what is written. It reports no mismatch."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping

from verifier.claims.formula import Formula
from verifier.language.findings import Findings, quoted
from verifier.language.reading import Reader
from verifier.language.scopes import Scope, Symbol
from verifier.language.syntax import Branch, run_operands, walk_branches

_ONE_BIT = frozenset({
    "compare", "step", "index", "once", "since", "until", "next", "always", "eventually", "again_and_again",
    "within_the_last", "implies",
})  # fmt: skip
_AS_FIRST_OPERAND = frozenset(["group", "not", "before", "at_the_last"])


def find_instance(scope: Scope, tree: Branch) -> Scope | None:
    """The use of a part that `s`, `s[2]` or `s.t` names."""
    if tree.rule == "reference":
        return scope.instances.get(str(tree.token(0)))
    if tree.rule == "index" and tree.branch(0).rule == "reference":
        return scope.instances.get(f"{tree.branch(0).token(0)}[{tree.token(1)}]")
    if tree.rule == "member":
        outer = find_instance(scope, tree.branch(0))
        return outer.instances.get(str(tree.token(1))) if outer is not None else None
    return None


def find_symbol(scope: Scope, tree: Branch) -> Symbol | None:
    """What a reference or a member names."""
    if tree.rule == "reference":
        return scope.symbols.get(str(tree.token(0)))
    instance = find_instance(scope, tree.branch(0))
    symbol = instance.symbols.get(str(tree.token(1))) if instance is not None else None
    return None if symbol is None or symbol.is_input else symbol


def natural_width(tree: Branch, scope: Scope, lets: Mapping[str, Formula] | None = None) -> int | None:
    """The width that an expression has by itself; None for numbers, and for what is not known or wrong."""
    rule = tree.rule
    if rule in _ONE_BIT:
        return 1
    if rule == "reference" and lets is not None and str(tree.token(0)) in lets:
        return lets[str(tree.token(0))].width
    if rule in ("reference", "member"):
        symbol = find_symbol(scope, tree)
        return symbol.width if symbol is not None else None
    if rule == "slice":
        return _slice_width(tree)
    if rule == "call":
        return _call_width(tree, scope, lets)
    if rule in _AS_FIRST_OPERAND:
        return natural_width(tree.branch(0), scope, lets)
    if rule == "if":
        return first_width(tree.branches[1:], scope, lets)
    if rule in ("and", "or", "xor"):
        return first_width(run_operands(tree), scope, lets)
    if rule in ("add", "subtract"):
        return first_width(tree.branches, scope, lets)
    return None


def first_width(trees: list[Branch], scope: Scope, lets: Mapping[str, Formula] | None) -> int | None:
    """The width of the first operand that has one."""
    for tree in trees:
        width = natural_width(tree, scope, lets)
        if width is not None:
            return width
    return None


def call_arguments(tree: Branch) -> list[Branch]:
    arguments = tree.children[1]
    return arguments.branches if isinstance(arguments, Branch) else []


def written_bits(tree: Branch) -> int | None:
    """The bits of a number inside `join`: one for `0` and `1`, as many as are written for `0b0101`."""
    if tree.rule != "number":
        return None
    text = str(tree.token(0))
    if text in ("0", "1"):
        return 1
    return len(text) - 2 if text.startswith("0b") else None


def join_width(tree: Branch, scope: Scope, lets: Mapping[str, Formula], findings: Findings) -> int | None:
    """The width of an operand of `join`, which nothing around it can give."""
    width = written_bits(tree) or natural_width(tree, scope, lets)
    if width is None and tree.rule == "number":
        hint = "inside `join`, write `0`, `1`, or all bits as in `0b0101`"
        findings.error("unknown-width", "nothing says how wide this number is", scope.block.place(tree), hint)
        return None
    return width or 1


def _slice_width(tree: Branch) -> int | None:
    high, low = str(tree.token(1)), str(tree.token(2))
    if not (high.isdecimal() and low.isdecimal() and len(high) < 6 and len(low) < 6):
        return None
    return int(high) - int(low) + 1 if int(high) >= int(low) else None


def _call_width(tree: Branch, scope: Scope, lets: Mapping[str, Formula] | None) -> int | None:
    arguments = call_arguments(tree)
    part = scope.calls.get(id(tree))
    if part is not None and part.interface is not None:
        return part.interface.outputs[0].width if part.interface.outputs else None
    if tree.token(0) == "join":
        widths = [written_bits(argument) or natural_width(argument, scope, lets) for argument in arguments]
        known = [width for width in widths if width is not None]
        return sum(known) if known and len(known) == len(widths) else None
    return first_width(arguments, scope, lets)


def infer_widths(scope: Scope, findings: Findings) -> None:
    """Gives every undeclared symbol the width of its definition, here and in all parts within.

    A symbol that depends on itself and on nothing else with a width is one bit wide, unless it counts: then its width
    must be written.
    """
    for child in scope.calls.values():
        infer_widths(child, findings)
    open_symbols = [s for s in scope.symbols.values() if s.width is None and s.definition is not None]
    users: dict[str, list[Symbol]] = {}
    for symbol in open_symbols:
        for name in _references(symbol):
            users.setdefault(name, []).append(symbol)
    _settle(deque(open_symbols), users, scope)
    for symbol in open_symbols:
        if symbol.width is None and not _names_unknown(symbol, scope):
            _take_default(symbol, scope, findings)
            if symbol.width is not None:
                _settle(deque(users.get(symbol.name, [])), users, scope)


def _settle(queue: deque[Symbol], users: Mapping[str, list[Symbol]], scope: Scope) -> None:
    while queue:
        symbol = queue.popleft()
        if symbol.width is None and symbol.definition is not None:
            symbol.width = natural_width(symbol.definition, scope)
            if symbol.width is not None:
                queue.extend(users.get(symbol.name, []))


def _references(symbol: Symbol) -> set[str]:
    if symbol.definition is None:
        return set()
    return {str(branch.token(0)) for branch in walk_branches(symbol.definition) if branch.rule == "reference"}


def _names_unknown(symbol: Symbol, scope: Scope) -> bool:
    """Whether the definition names something that has no width and will get none: a finding says why."""
    referenced = [scope.symbols.get(name) for name in _references(symbol)]
    return any(s is None or (s.width is None and s.definition is None) for s in referenced)


def _take_default(symbol: Symbol, scope: Scope, findings: Findings) -> None:
    definition = symbol.definition
    if definition is None:
        return
    branches = list(walk_branches(definition))
    joins = [branch for branch in branches if branch.rule == "call" and branch.token(0) == "join"]
    if any(join_width(argument, scope, {}, findings) is None for join in joins for argument in call_arguments(join)):
        return
    numbers = [Reader(scope.block, findings).number(b.token(0)) for b in branches if b.rule == "number"]
    if any(number is None for number in numbers):
        return
    counts = any(branch.rule in ("add", "subtract") for branch in branches)
    if counts or any(number is not None and number > 1 for number in numbers):
        hint = f"write it: `{symbol.name}[4] = ...` for four bits"
        message = f"nothing says how wide {quoted(symbol.name)} is"
        findings.error("unknown-width", message, symbol.span, hint)
        return
    symbol.width = 1
