"""The `?` in place of a number: where it stands, a number put there, and which way a formula goes as that grows."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from enum import Enum

from verifier.claims import formula as tree
from verifier.claims.claim import Claim
from verifier.claims.formula import Bound, Formula, Operator, Tightest, walk

EASIER, HARDER, EITHER = 1, -1, 0
"""What a larger number, or a formula that holds more often, does to the whole."""


class Growing(Enum):
    """What becomes of the runs that fulfil a formula when its numbers grow."""

    MORE = "more of them"
    FEWER = "fewer of them"
    UNCLEAR = "neither always more nor always fewer of them"


def asked_bound(formula: Formula) -> Bound | None:
    """The bound with a `?`, if there is one."""
    for node in walk(formula):
        for name in node.__dataclass_fields__:
            value = getattr(node, name)
            if isinstance(value, Bound) and value.amount is Tightest.ASKED:
                return value
    return None


def with_amount(claim: Claim, amount: int) -> Claim:
    """The claim with the number in place of its `?`."""
    return dataclasses.replace(claim, formula=replaced(claim.formula, amount))


def replaced(node: Formula, amount: int) -> Formula:
    """The formula with the number in place of every `?`."""
    changed: dict[str, object] = {}
    for name in node.__dataclass_fields__:
        value = getattr(node, name)
        if isinstance(value, Bound) and value.amount is Tightest.ASKED:
            changed[name] = dataclasses.replace(value, amount=amount)
        elif isinstance(value, Formula):
            changed[name] = replaced(value, amount)
        elif isinstance(value, tuple) and any(isinstance(item, Formula) for item in value):
            changed[name] = tuple(replaced(item, amount) if isinstance(item, Formula) else item for item in value)
    return dataclasses.replace(node, **changed) if changed else node  # type: ignore[arg-type]


def growing(formula: Formula) -> Growing | None:
    """None for a formula without a `?`."""
    signs = set(_signs(formula, EASIER))
    if not signs:
        return None
    return {frozenset({EASIER}): Growing.MORE, frozenset({HARDER}): Growing.FEWER}.get(
        frozenset(signs), Growing.UNCLEAR
    )


def _signs(node: Formula, sign: int) -> Iterator[int]:
    """For each `?`, how its growing touches the whole, when this node holding more often does `sign` to it."""
    match node:
        case tree.Apply(operator=Operator.NOT, operands=(inner,)):
            yield from _signs(inner, -sign)
        case tree.Apply(operator=Operator.AND | Operator.OR, operands=operands):
            for inner in operands:
                yield from _signs(inner, sign)
        case tree.Apply(operator=Operator.IMPLIES, operands=(left, right)):
            yield from (*_signs(left, -sign), *_signs(right, sign))
        case tree.Select(condition=condition, when_high=high, when_low=low) if node.width == 1:
            yield from (*_signs(condition, EITHER), *_signs(high, sign), *_signs(low, sign))
        case (
            tree.Before(operand=inner)
            | tree.Once(operand=inner)
            | tree.Initially(operand=inner)
            | tree.Next(operand=inner)
            | tree.Always(operand=inner)
            | tree.Eventually(operand=inner)
            | tree.AgainAndAgain(operand=inner)
        ):
            yield from _signs(inner, sign)
        case tree.WithinTheLast(operand=inner, bound=bound):
            yield from (*_asked(bound, sign), *_signs(inner, sign))
        case tree.Since(left=left, right=right) | tree.Until(left=left, right=right):
            yield from (*_signs(left, sign), *_signs(right, sign))
        case tree.AtTheLast(operand=inner, trigger=trigger):
            yield from (*_signs(inner, sign), *_signs(trigger, EITHER))
        case tree.OnlyWhen(left=left, right=right):
            yield from (*_signs(left, -sign), *_signs(right, sign))
        case tree.Never(operand=inner):
            yield from _signs(inner, -sign)
        case tree.LeadsTo(left=left, right=right, bound=bound):
            yield from (*_signs(left, -sign), *_signs(right, sign))
            yield from _asked(bound, sign) if bound is not None else ()
        case tree.PulsesLast(at_least=bound):
            yield from _asked(bound, -sign)
        case _:
            if asked_bound(node) is not None:
                yield EITHER


def _asked(bound: Bound, sign: int) -> Iterator[int]:
    if bound.amount is Tightest.ASKED:
        yield sign
    if bound.of is not None:
        yield from _signs(bound.of, EITHER)
