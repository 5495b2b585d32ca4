"""The meaning of a formula on an endless run that repeats its last instants for ever.

Every word is read as it stands in grammar/README.md, part III: a search over positions, no automaton and no memory.
What makes the searches finite: from its settling point on, the value of a node repeats with the loop. A signal repeats
from where the loop begins; a word of the past needs up to one more loop (or the width of its window), a word of the
future none. `Truth` keeps a value for each position up to one loop past the settling point, and folds later ones back.
"""

from __future__ import annotations

from oracle.formulas import apply, compare
from verifier.claims.formula import (
    FUTURE_WORDS,
    Add,
    AgainAndAgain,
    Always,
    Apply,
    AtTheLast,
    Before,
    Bound,
    Compare,
    Eventually,
    Formula,
    Join,
    LeadsTo,
    Literal,
    Never,
    Next,
    Once,
    OnlyWhen,
    Operator,
    Select,
    Signal,
    Since,
    Slice,
    Step,
    StepWord,
    Subtract,
    Unit,
    Until,
    WithinTheLast,
)
from verifier.claims.run import Instant


class Truth:
    """All formulas on one endless run."""

    def __init__(self, instants: tuple[Instant, ...], loop_from: int) -> None:
        self.instants = instants
        self.loop_from = loop_from
        self.period = len(instants) - loop_from
        self._tables: dict[Formula, tuple[int, tuple[int, ...]]] = {}

    def at(self, node: Formula, position: int) -> int:
        settled, values = self._table(node)
        if position >= len(values):
            position = settled + (position - settled) % self.period
        return values[position]

    def positions(self, node: Formula) -> range:
        """Enough positions to see every value that the node ever has, from each of its settled ones on a whole loop."""
        return range(len(self._table(node)[1]))

    def _table(self, node: Formula) -> tuple[int, tuple[int, ...]]:
        if node not in self._tables:
            settled = max([self.loop_from, *(self._table(child)[0] for child in node.children)])
            settled += self._delay(node)
            mask = (1 << node.width) - 1
            values = tuple(self._value(node, position) & mask for position in range(settled + self.period))
            self._tables[node] = settled, values
        return self._tables[node]

    def _delay(self, node: Formula) -> int:
        """How much later than its operands a node repeats."""
        if isinstance(node, Before | Step):
            return 1
        if isinstance(node, Once | Since | AtTheLast):
            return self.period
        return _amount(node.bound) if isinstance(node, WithinTheLast) else 0

    def _value(self, node: Formula, i: int) -> int:
        if isinstance(node, FUTURE_WORDS):
            return int(self._future(node, i))
        if isinstance(node, Before | Step | Once | Since | AtTheLast | WithinTheLast):
            return self._past(node, i)
        return self._present(node, i)

    def _present(self, node: Formula, i: int) -> int:
        if isinstance(node, Literal):
            return node.value
        if isinstance(node, Signal):
            instant = self.instants[
                i if i < len(self.instants) else self.loop_from + (i - self.loop_from) % self.period
            ]
            return sum(instant[net] << bit for bit, net in enumerate(node.nets))
        values = [self.at(child, i) for child in node.children]
        if isinstance(node, Apply):
            return apply(node.operator, values, node.width)
        if isinstance(node, Select):
            return values[1] if values[0] else values[2]
        if isinstance(node, Compare):
            return int(compare(node.comparison, *values))
        if isinstance(node, Add | Subtract):
            return values[0] + values[1] if isinstance(node, Add) else values[0] - values[1]
        if isinstance(node, Slice):
            return values[0] >> node.low & ((1 << (node.high - node.low + 1)) - 1)
        if isinstance(node, Join):
            return int(
                "".join(format(value, f"0{part.width}b") for part, value in zip(node.parts, values, strict=True)), 2
            )
        raise TypeError(f"no meaning for {type(node).__name__} here")

    def _past(self, node: Formula, i: int) -> int:
        if isinstance(node, Before):
            return self.at(node.operand, max(i - 1, 0))
        if isinstance(node, Step):
            old, new = self.at(node.operand, max(i - 1, 0)), self.at(node.operand, i)
            words = {
                StepWord.CHANGES: old != new,
                StepWord.STEADY: old == new,
                StepWord.RISES: (old, new) == (0, 1),
                StepWord.FALLS: (old, new) == (1, 0),
            }
            return int(words[node.word])
        if isinstance(node, Once):
            return int(any(self.at(node.operand, j) for j in range(i + 1)))
        if isinstance(node, WithinTheLast):
            return int(any(self.at(node.operand, j) for j in range(max(i - _amount(node.bound), 0), i + 1)))
        if isinstance(node, Since):
            return int(
                any(
                    self.at(node.right, j) and all(self.at(node.left, k) for k in range(j + 1, i + 1))
                    for j in range(i + 1)
                )
            )
        if isinstance(node, AtTheLast):
            held = [j for j in range(i + 1) if self.at(node.trigger, j)]
            return self.at(node.operand, held[-1]) if held else 0
        raise TypeError(f"no meaning for {type(node).__name__} here")

    def _from(self, i: int, *nodes: Formula) -> range:
        """Positions from `i` on, up to a whole loop in which all of these nodes repeat."""
        settled = max(self._table(node)[0] for node in nodes)
        return range(i, max(i, settled) + self.period)

    def _future(self, node: Formula, i: int) -> bool:
        if isinstance(node, Next):
            return bool(self.at(node.operand, i + 1))
        if isinstance(node, Always):
            return all(self.at(node.operand, j) for j in self._from(i, node.operand))
        if isinstance(node, Eventually):
            return any(self.at(node.operand, j) for j in self._from(i, node.operand))
        if isinstance(node, AgainAndAgain):
            # Only the loop is seen again and again.
            settled = self._table(node.operand)[0]
            return any(self.at(node.operand, j) for j in range(settled, settled + self.period))
        if isinstance(node, Until):
            return any(
                self.at(node.right, j) and all(self.at(node.left, k) for k in range(i, j))
                for j in self._from(i, node.left, node.right)
            )
        raise TypeError(f"no meaning for {type(node).__name__} here")

    # Claims

    def holds(self, formula: Formula) -> bool:
        """What a `must` or a `given` says of the run as a whole (21): at instant 0, or at every instant."""
        if isinstance(formula, FUTURE_WORDS):
            return bool(self.at(formula, 0))
        return not self.breaches(formula)

    def shows(self, formula: Formula) -> bool:
        """What a `can` asks of the run."""
        return any(self.at(formula, i) for i in self.positions(formula))

    def breaches(self, formula: Formula) -> list[int]:
        """The positions at which a pattern or a plain formula does not hold."""
        if isinstance(formula, Never):
            return [i for i in self.positions(formula.operand) if self.at(formula.operand, i)]
        if isinstance(formula, OnlyWhen):
            formula = Apply(operator=Operator.IMPLIES, operands=(formula.left, formula.right))
        if isinstance(formula, LeadsTo):
            leads = formula
            return [i for i in self._all_from_start(leads) if self.at(leads.left, i) and not self._answered(leads, i)]
        return [i for i in self.positions(formula) if not self.at(formula, i)]

    def _all_from_start(self, leads: LeadsTo) -> range:
        return self._from(0, *leads.children)

    def _answered(self, leads: LeadsTo, i: int) -> bool:
        deadline = self._deadline(leads, i)
        waited = self._from(i, leads.right) if deadline is None else range(i, deadline + 1)
        return any(self.at(leads.right, j) for j in waited) or (leads.bound is not None and deadline is None)

    def _deadline(self, leads: LeadsTo, i: int) -> int | None:
        """The last position at which an answer to a trigger at `i` counts; None when it never comes."""
        bound = leads.bound
        if bound is None:
            return None
        amount = _amount(bound)
        if bound.of is None or amount == 0:
            return i + amount
        word = StepWord.RISES if bound.unit is Unit.RISES else StepWord.FALLS
        edge = Step(word=word, operand=bound.of)
        horizon = max(i, self._table(edge)[0]) + 1 + amount * self.period
        edges = [j for j in range(i + 1, horizon + 1) if self.at(edge, j)]
        return edges[amount - 1] if len(edges) >= amount else None


def _amount(bound: Bound) -> int:
    if bound.unit is Unit.NANOSECONDS or not isinstance(bound.amount, int):
        raise TypeError(f"no meaning for {bound} here")
    return bound.amount
