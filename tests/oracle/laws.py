"""Textbook laws of linear time, as formulas that are true at every instant of every run; from memory.

The two-sided ones say that the law's sides are equal; each holds for all formulas `f` and `g`, whatever stands in them.
"""

from __future__ import annotations

from collections.abc import Callable

from verifier.claims.formula import (
    AgainAndAgain,
    Always,
    Apply,
    Before,
    Eventually,
    Formula,
    Next,
    Once,
    Operator,
    Since,
    Step,
    StepWord,
    Until,
)

Law = Callable[[Formula, Formula], Formula]


def no(formula: Formula) -> Formula:
    return Apply(operator=Operator.NOT, operands=(formula,))


def both(*formulas: Formula) -> Formula:
    return Apply(operator=Operator.AND, operands=formulas)


def either(*formulas: Formula) -> Formula:
    return Apply(operator=Operator.OR, operands=formulas)


def implies(left: Formula, right: Formula) -> Formula:
    return Apply(operator=Operator.IMPLIES, operands=(left, right))


def same(left: Formula, right: Formula) -> Formula:
    return Apply(operator=Operator.XNOR, operands=(left, right))


def always(formula: Formula) -> Formula:
    return Always(operand=formula)


def eventually(formula: Formula) -> Formula:
    return Eventually(operand=formula)


def following(formula: Formula) -> Formula:
    return Next(operand=formula)


def again(formula: Formula) -> Formula:
    return AgainAndAgain(operand=formula)


def until(left: Formula, right: Formula) -> Formula:
    return Until(left=left, right=right)


def since(left: Formula, right: Formula) -> Formula:
    return Since(left=left, right=right)


def once(formula: Formula) -> Formula:
    return Once(operand=formula)


def before(formula: Formula) -> Formula:
    return Before(operand=formula)


def changes(formula: Formula) -> Formula:
    return Step(word=StepWord.CHANGES, operand=formula)


LAWS: dict[str, Law] = {
    "always is not eventually not": lambda f, g: same(always(f), no(eventually(no(f)))),
    "next is its own dual": lambda f, g: same(following(no(f)), no(following(f))),
    "until promises its end": lambda f, g: implies(until(f, g), eventually(g)),
    "until unfolds": lambda f, g: same(until(f, g), either(g, both(f, following(until(f, g))))),
    "not until": lambda f, g: same(no(until(f, g)), either(always(no(g)), until(no(g), both(no(f), no(g))))),
    "next goes through until": lambda f, g: same(following(until(f, g)), until(following(f), following(g))),
    "until in until is until": lambda f, g: same(until(f, until(f, g)), until(f, g)),
    "always goes through and": lambda f, g: same(always(both(f, g)), both(always(f), always(g))),
    "eventually goes through or": lambda f, g: same(eventually(either(f, g)), either(eventually(f), eventually(g))),
    "always unfolds": lambda f, g: same(always(f), both(f, following(always(f)))),
    "again and again is always eventually": lambda f, g: same(again(f), always(eventually(f))),
    "not again and again is not for good at last": lambda f, g: same(no(again(f)), eventually(always(no(f)))),
    "again and again goes through or": lambda f, g: same(again(either(f, g)), either(again(f), again(g))),
    "for good meets again and again": lambda f, g: implies(both(always(f), again(g)), again(both(f, g))),
    "for good at last goes through and": lambda f, g: same(
        eventually(always(both(f, g))), both(eventually(always(f)), eventually(always(g)))
    ),
    "again and again forgets the start": lambda f, g: same(again(f), following(again(f))),
    "what changes again and again holds again and again": lambda f, g: same(
        again(changes(f)), both(again(f), again(no(f)))
    ),
    "next undoes before": lambda f, g: same(following(before(f)), f),
    "since unfolds forwards": lambda f, g: same(
        following(since(f, g)), either(following(g), both(following(f), since(f, g)))
    ),
    "some time is before or after": lambda f, g: same(once(eventually(f)), either(once(f), eventually(f))),
    "some time is after or before": lambda f, g: same(eventually(once(f)), either(once(f), eventually(f))),
    "what has been stays so": lambda f, g: implies(once(f), always(once(f))),
    "what is now will have been": lambda f, g: implies(f, following(once(before(f)))),
    "what came again and again has been again and again": lambda f, g: implies(again(f), again(since(g, f))),
}
"""Each for all formulas."""

NO_LAWS: dict[str, Law] = {
    "before undoes next": lambda f, g: same(before(following(f)), f),
    "always goes through or": lambda f, g: same(always(either(f, g)), either(always(f), always(g))),
    "eventually goes through and": lambda f, g: same(eventually(both(f, g)), both(eventually(f), eventually(g))),
    "again and again goes through and": lambda f, g: same(again(both(f, g)), both(again(f), again(g))),
    "until comes of its end": lambda f, g: implies(eventually(g), until(f, g)),
    "for good is again and again": lambda f, g: same(always(f), again(f)),
    "again and again is for good at last": lambda f, g: implies(again(f), eventually(always(f))),
    "until goes both ways": lambda f, g: same(until(f, g), until(g, f)),
    "what will be has been": lambda f, g: implies(eventually(f), once(f)),
    "since is until": lambda f, g: same(since(f, g), until(f, g)),
    "next once is once": lambda f, g: same(following(once(f)), once(f)),
}
"""Tempting, and wrong: for some formulas some run is against it."""
