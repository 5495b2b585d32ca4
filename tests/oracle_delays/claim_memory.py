"""What a claim of a delay view needs to remember from instant to instant (grammar/README.md, 20, 32, 33).

Phrases that count ns are judged for all numbers at once: each instant says which number it asks for, a pulse as wide as
it was, a deadline as far as it was waited for. Words without ns are judged by `oracle.formulas`.
"""

from __future__ import annotations

from dataclasses import dataclass

from oracle.formulas import Events, Memory, Worker

from oracle_delays.timed_steps import Step
from verifier.claims.formula import (
    Formula,
    KeepsTiming,
    LeadsTo,
    NeverGlitches,
    Node,
    OnlyWhen,
    Pulses,
    PulsesLast,
    Tightest,
    Unit,
    WithinTheLast,
)
from verifier.claims.run import Instant

NOTHING_HAPPENED = Events(raced=False, oscillated=False, may_glitch=frozenset())


@dataclass(frozen=True)
class Told:
    """A claim at one instant."""

    holds: bool
    trigger: bool | None = None
    number: int | None = None
    """With a `?`: the width of a pulse that ends here, or how long was waited for what must come."""


class DelayWorker(Worker):
    """One instant of a delay view. Counters stop at `longest` where a `?` stands, else one past the number."""

    def __init__(
        self,
        instant: Instant,
        memory: Memory | None,
        step: Step,
        before: Instant | None,
        longest: int,
    ) -> None:
        super().__init__(instant, memory)
        self.step = step
        self.before = instant if before is None else before
        self.longest = longest
        self.asked: int | None = None

    def tell(self, formula: Formula) -> Told:
        if isinstance(formula, PulsesLast):
            return self._pulses(formula)
        if isinstance(formula, NeverGlitches):
            return self._glitches(formula)
        if isinstance(formula, KeepsTiming):
            return Told((formula.rule, formula.storage) not in self.step.breaches)
        if isinstance(formula, LeadsTo) and formula.bound is not None and formula.bound.unit is Unit.NANOSECONDS:
            return self._deadline(formula)
        holds, trigger = self.judge(formula, NOTHING_HAPPENED)
        if self.asked is not None:
            return Told(True, trigger, self.asked if trigger else None)
        return Told(holds, trigger)

    def _limit(self, amount: int | Tightest) -> int:
        return amount + 1 if isinstance(amount, int) else self.longest

    def _recently(self, node: WithinTheLast) -> int:
        if node.bound.unit is not Unit.NANOSECONDS:
            return super()._recently(node)
        limit = self._limit(node.bound.amount)
        now = self.value(node.operand)
        age = self._number(self.previous(limit))
        age = 0 if now else min(age + self.step.elapsed, limit)
        self.new.append(age)
        if isinstance(node.bound.amount, int):
            return int(age <= node.bound.amount)
        self.asked = age
        return 1

    def _deadline(self, formula: LeadsTo) -> Told:
        bound = formula.bound
        assert bound is not None
        limit = self._limit(bound.amount)
        left, right = self.value(formula.left), self.value(formula.right)
        age = self._number(self.previous(-1))
        waited = None
        if age >= 0:
            age = min(age + self.step.elapsed, limit)
            waited = age
        holds = not isinstance(bound.amount, int) or waited is None or waited <= bound.amount
        if right:
            age = -1
        elif left and age < 0:
            age = 0
        self.new.append(age)
        return Told(holds, bool(left), None if isinstance(bound.amount, int) else waited)

    def _pulses(self, formula: PulsesLast) -> Told:
        limit = self._limit(formula.at_least.amount)
        widths: list[int] = []
        for net in formula.signal.nets:
            age = min(self._number(self.previous(limit)) + self.step.elapsed, limit)
            if self.instant[net] != self.before[net]:
                counts = {Pulses.BOTH: True, Pulses.HIGH: self.before[net], Pulses.LOW: self.instant[net]}
                if counts[formula.pulses] and age < limit:
                    widths.append(age)
                age = 0
            self.new.append(age)
        narrowest = min(widths, default=None)
        if isinstance(formula.at_least.amount, int):
            return Told(narrowest is None or narrowest >= formula.at_least.amount)
        return Told(True, number=narrowest)

    def _glitches(self, formula: NeverGlitches) -> Told:
        holds = True
        for net in formula.signal.nets:
            count = self._number(self.previous(0))
            if self.step.inputs_moved:
                count = 0
            elif self.instant[net] != self.before[net]:
                count += 1
            holds = holds and count <= 1
            self.new.append(min(count, 2))
        return Told(holds)


def asks(formula: Formula) -> bool:
    """A `?` stands in it."""
    bounds = [getattr(formula, name, None) for name in ("bound", "at_least")]
    asked = any(bound is not None and bound.amount is Tightest.ASKED for bound in bounds)
    if asked and isinstance(formula, WithinTheLast):
        return True
    return asked or any(asks(child) for child in formula.children)


def refuse_where_asked(formula: Formula) -> None:
    """Raises TypeError for a `?` in a place that has no meaning here: only to the right of `only when`."""
    inner = [node for node in _all(formula) if isinstance(node, WithinTheLast) and asks(node)]
    allowed = [formula.right] if isinstance(formula, OnlyWhen) else []
    if any(node not in allowed for node in inner):
        raise TypeError("`within the last ? ns` has a meaning only as the whole right side of `only when`")


def _all(node: Node) -> list[Node]:
    return [node, *(found for child in node.children for found in _all(child))]
