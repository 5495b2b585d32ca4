"""A formula, or a part of one, as text: as a person would write it, with the parentheses that binding asks for.

It is for reading. It does not keep the writer's own layout: the claim as written stands in `Claim.text`.
"""

from __future__ import annotations

from verifier.claims import formula as tree
from verifier.claims.formula import Formula, Operator

PATTERN, CHOICE, IMPLIES, OR, AND, SINCE, POSTFIX, PREFIX, NOT, COMPARISON, STEP, BEFORE, ARITHMETIC, ATOM = range(14)
"""From loose to tight."""

INFIX = {Operator.AND: AND, Operator.OR: OR, Operator.XOR: OR, Operator.IMPLIES: IMPLIES}

RULE_NAMES = {
    tree.TimingRule.SET_UP: "set-up",
    tree.TimingRule.HOLD: "hold",
    tree.TimingRule.CLOCK_WIDTH: "clock width",
    tree.TimingRule.CLEAR_WIDTH: "clear width",
}

Worded = tuple[str, int]
"""A text and how tightly its outermost word binds."""


def worded(formula: Formula) -> str:
    """The text of the formula."""
    return _worded(formula)[0]


def worded_as_one(formula: Formula) -> str:
    """The text of the formula, in parentheses unless it is a name, a bit or a call."""
    return _tight(_worded(formula), ATOM)


def _worded(formula: Formula) -> Worded:
    texts: dict[int, Worded] = {}
    pending = [(formula, False)]
    while pending:
        node, children_done = pending.pop()
        if children_done:
            texts[id(node)] = _word(node, [texts[id(child)] for child in node.children])
        else:
            pending.append((node, True))
            pending.extend((child, False) for child in node.children)
    return texts[id(formula)]


def _tight(part: Worded, at_least: int) -> str:
    text, binding = part
    return text if binding >= at_least else f"({text})"


def _word(node: Formula, parts: list[Worded]) -> Worded:
    """One node, given its children in the order of `children`."""
    match node:
        case tree.Literal(value=value):
            return str(value), ATOM
        case tree.Signal(name=name):
            return name, ATOM
        case tree.Apply(operator=operator):
            return _applied(operator, parts)
        case tree.Select():
            condition, when_high, when_low = (text for text, _ in parts)
            return f"if {condition} then {when_high} else {when_low}", CHOICE
        case tree.Compare(comparison=comparison):
            return f" {comparison.value} ".join(_tight(part, STEP) for part in parts), COMPARISON
        case tree.Add():
            return f"{_tight(parts[0], ARITHMETIC)} + {_tight(parts[1], ATOM)}", ARITHMETIC
        case tree.Subtract():
            return f"{_tight(parts[0], ARITHMETIC)} - {_tight(parts[1], ATOM)}", ARITHMETIC
        case tree.Slice(high=high, low=low):
            bits = str(high) if high == low else f"{high}..{low}"
            return f"{_tight(parts[0], ATOM)}[{bits}]", ATOM
        case tree.Join():
            return f"join({', '.join(text for text, _ in parts)})", ATOM
        case _:
            return _temporal(node, parts)


def _applied(operator: Operator, parts: list[Worded]) -> Worded:
    if operator is Operator.NOT:
        return f"not {_tight(parts[0], NOT)}", NOT
    if operator in INFIX and len(parts) > 1:
        binding = INFIX[operator]
        return f" {operator.value} ".join(_tight(part, binding + 1) for part in parts), binding
    return f"{operator.value}({', '.join(text for text, _ in parts)})", ATOM


def _temporal(node: Formula, parts: list[Worded]) -> Worded:
    match node:
        case tree.Before():
            return f"before {_tight(parts[0], BEFORE)}", BEFORE
        case tree.Step(word=word):
            return f"{_tight(parts[0], BEFORE)} {word.value}", STEP
        case tree.Once() | tree.Next() | tree.Always() | tree.Eventually():
            return f"{type(node).__name__.lower()} {_tight(parts[0], PREFIX)}", PREFIX
        case tree.Since() | tree.Until():
            return f" {type(node).__name__.lower()} ".join(_tight(part, POSTFIX) for part in parts), SINCE
        case tree.AtTheLast():
            return f"{_tight(parts[0], PREFIX)} at the last {_tight(parts[1], PREFIX)}", POSTFIX
        case tree.WithinTheLast(bound=bound):
            return f"{_tight(parts[0], PREFIX)} within the last {_bound(bound, parts[1:])}", POSTFIX
        case tree.AgainAndAgain():
            return f"{_tight(parts[0], PREFIX)} again and again", POSTFIX
        case _:
            return _pattern(node, parts)


def _pattern(node: Formula, parts: list[Worded]) -> Worded:
    match node:
        case tree.OnlyWhen():
            return f"{_tight(parts[0], CHOICE)} only when {_tight(parts[1], CHOICE)}", PATTERN
        case tree.Never():
            return f"never {_tight(parts[0], PREFIX)}", PATTERN
        case tree.LeadsTo(bound=bound):
            within = f" within {_bound(bound, parts[2:])}" if bound else ""
            return f"{_tight(parts[0], CHOICE)} leads to {_tight(parts[1], CHOICE)}{within}", PATTERN
        case tree.NeverGlitches():
            return f"{parts[0][0]} never glitches", PATTERN
        case tree.PulsesLast(pulses=pulses, at_least=bound):
            return f"{pulses.value} of {parts[0][0]} last at least {_bound(bound, parts[1:])}", PATTERN
        case tree.Settles():
            return "settles", PATTERN
        case tree.KeepsTiming(rule=rule):
            return f"keeps {RULE_NAMES[rule]}", PATTERN
        case _:
            raise TypeError(f"no words for a {type(node).__name__}")


def _bound(bound: tree.Bound, of: list[Worded]) -> str:
    amount = bound.amount.value if isinstance(bound.amount, tree.Tightest) else str(bound.amount)
    return f"{amount} {bound.unit.value}" + (f" of {_tight(of[0], ATOM)}" if of else "")
