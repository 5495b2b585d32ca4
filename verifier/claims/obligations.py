"""What a run owes from some instant on, as small machines: a tableau that only promises and never asks back.

Where the exact tableau guesses the truth of every future word both ways, a formula that is *demanded* needs one
direction: if it is demanded now, it holds from now on. With negations pushed down to the past, demands of the same
formula made at different instants can be pursued by one machine, since what discharges the latest of them discharges
the earlier ones. That takes one bit of memory a word and a guess only where a choice must be made.

Formulas under which demands cannot be pushed (a future word inside a comparison, an `xor` or a past word) are left to
the exact `Tableau`.
"""

from __future__ import annotations

from verifier.claims.formula import (
    AgainAndAgain,
    Always,
    Apply,
    Eventually,
    Formula,
    LeadsTo,
    Never,
    Next,
    OnlyWhen,
    Operator,
    Until,
)
from verifier.claims.tableau import EndlessAlgebra, Tableau, is_about_the_future
from verifier.claims.words import Bit


class Obligations:
    """Demands on the runs that count, over one algebra. `demand(bit, formula)` may be called any number of times."""

    def __init__(self, algebra: EndlessAlgebra) -> None:
        self._algebra = algebra
        self._tableau = Tableau(algebra)
        self._latched: dict[Bit, Bit] = {}

    def demand(self, when: Bit, formula: Formula, holds: bool = True) -> None:
        """At every instant at which `when` is 1, the formula holds (or, with `holds` False, does not)."""
        pending = [(when, formula, holds)]
        while pending:
            pending.extend(self._pushed(*pending.pop()))

    def _pushed(self, when: Bit, formula: Formula, holds: bool) -> list[tuple[Bit, Formula, bool]]:
        """Demands on parts that together amount to the demand; what they need of the run is required on the way."""
        if when == self._algebra.low:
            return []
        if not is_about_the_future(formula):
            self._require(when, self._past(formula, holds))
            return []
        match formula:
            case Apply(operator=Operator.NOT):
                return [(when, formula.operands[0], not holds)]
            case Apply(operator=Operator.AND | Operator.OR):
                parts = [(operand, holds) for operand in formula.operands]
                return self._every_or_some(when, parts, every=(formula.operator is Operator.AND) == holds)
            case Apply(operator=Operator.IMPLIES):
                left, right = formula.operands
                return self._every_or_some(when, [(left, not holds), (right, holds)], every=not holds)
            case Next():
                following = self._algebra.memory("owed")
                self._algebra.remember(following, when)
                return [(following, formula.operand, holds)]
            case Always():
                return self._always_or_eventually(when, formula.operand, holds, always=holds)
            case Eventually():
                return self._always_or_eventually(when, formula.operand, holds, always=not holds)
            case AgainAndAgain():
                inner = Eventually(operand=formula.operand)
                return self._always_or_eventually(when, inner, holds, always=holds)
            case Until():
                return self._until(when, formula, holds)
            case _:
                (value,) = self._tableau.value(formula)
                self._require(when, value if holds else self._algebra.negation(value))
                return []

    def _past(self, formula: Formula, holds: bool) -> Bit:
        (value,) = self._tableau.value(formula)
        return value if holds else self._algebra.negation(value)

    def _require(self, when: Bit, value: Bit) -> None:
        self._algebra.require(self._algebra.disjunction(self._algebra.negation(when), value))

    def _every_or_some(
        self, when: Bit, parts: list[tuple[Formula, bool]], every: bool
    ) -> list[tuple[Bit, Formula, bool]]:
        if every:
            return [(when, formula, holds) for formula, holds in parts]
        chosen = [(self._chance(formula, holds), formula, holds) for formula, holds in parts]
        some = self._algebra.low
        for bit, _, _ in chosen:
            some = self._algebra.disjunction(some, bit)
        self._require(when, some)
        return [demand for demand in chosen if is_about_the_future(demand[1])]

    def _chance(self, formula: Formula, holds: bool) -> Bit:
        """A bit that is only 1 where the formula holds: its value if it is about the past, else a guess to be
        demanded."""
        return self._algebra.guess("chosen") if is_about_the_future(formula) else self._past(formula, holds)

    def _for_good(self, when: Bit) -> Bit:
        """1 from the first instant at which `when` is 1 on; one machine serves everything demanded at the same time."""
        if when not in self._latched:
            memory = self._algebra.memory("for good")
            self._latched[when] = self._algebra.disjunction(when, memory)
            self._algebra.remember(memory, self._latched[when])
        return self._latched[when]

    def _always_or_eventually(
        self, when: Bit, formula: Formula, holds: bool, always: bool
    ) -> list[tuple[Bit, Formula, bool]]:
        if not always:
            return self._discharged(when, formula, holds, None)
        owed = self._for_good(when)
        again = _eventually_within(formula, holds)
        if again is None or is_about_the_future(again[0]):
            return [(owed, formula, holds)]
        value = self._past(*again)
        self._algebra.again_and_again(self._algebra.disjunction(self._algebra.negation(owed), value))
        return []

    def _until(self, when: Bit, formula: Until, holds: bool) -> list[tuple[Bit, Formula, bool]]:
        """`left until right`; its opposite: `right` fails up to and including an instant at which `left` fails, or
        for ever."""
        if holds:
            return self._discharged(when, formula.right, True, (formula.left, True))
        algebra = self._algebra
        memory = algebra.memory("owed")
        owed = algebra.disjunction(when, memory)
        released = self._chance(formula.left, False)
        released_now = algebra.conjunction(owed, released)
        algebra.remember(memory, algebra.conjunction(owed, algebra.negation(released)))
        demands: list[tuple[Bit, Formula, bool]] = [(owed, formula.right, False)]
        if is_about_the_future(formula.left):
            demands.append((released_now, formula.left, False))
        return demands

    def _discharged(
        self, when: Bit, goal: Formula, holds: bool, meanwhile: tuple[Formula, bool] | None
    ) -> list[tuple[Bit, Formula, bool]]:
        """The goal comes at last, and until then `meanwhile` holds."""
        algebra = self._algebra
        memory = algebra.memory("owed")
        owed = algebra.disjunction(when, memory)
        comes = self._chance(goal, holds)
        still_owed = algebra.conjunction(owed, algebra.negation(comes))
        algebra.remember(memory, still_owed)
        algebra.again_and_again(algebra.negation(still_owed))
        demands: list[tuple[Bit, Formula, bool]] = []
        if is_about_the_future(goal):
            demands.append((algebra.conjunction(owed, comes), goal, holds))
        if meanwhile is not None:
            demands.append((still_owed, *meanwhile))
        return demands


def _eventually_within(formula: Formula, holds: bool) -> tuple[Formula, bool] | None:
    """For a formula that, demanded like this, says that something comes at last: that something."""
    while isinstance(formula, Apply) and formula.operator is Operator.NOT:
        formula, holds = formula.operands[0], not holds
    if isinstance(formula, Eventually) and holds:
        return formula.operand, True
    if isinstance(formula, Always) and not holds:
        return formula.operand, False
    return None


def at_every_instant(formula: Formula) -> Formula:
    """The formula that a claim stands for at instant 0: patterns and plain formulas are meant always."""
    match formula:
        case Next() | Always() | Eventually() | Until() | AgainAndAgain():
            return formula
        case OnlyWhen():
            body: Formula = Apply(operator=Operator.IMPLIES, operands=(formula.left, formula.right))
        case Never():
            body = Apply(operator=Operator.NOT, operands=(formula.operand,))
        case LeadsTo(bound=None):
            goal = Eventually(operand=formula.right)
            body = Apply(operator=Operator.IMPLIES, operands=(formula.left, goal))
        case _:
            body = formula
    return Always(operand=body)
