"""What a claim says (grammar/README.md, part III) of a run that is told instant by instant.

A formula's memory is a plain tuple with an entry for every node that looks back, in the order in which the nodes are
worked out. No future words.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from verifier.circuit.netlist import NetId
from verifier.claims.formula import (
    Add,
    Apply,
    AtTheLast,
    Before,
    Bound,
    Compare,
    Comparison,
    Formula,
    Join,
    LeadsTo,
    Literal,
    Never,
    NeverGlitches,
    Once,
    OnlyWhen,
    Operator,
    Select,
    Settles,
    Signal,
    Since,
    Slice,
    Step,
    StepWord,
    Subtract,
    Unit,
    WithinTheLast,
)
from verifier.claims.run import Instant

Entry = int | tuple[int, ...] | frozenset[int]
Memory = tuple[Entry, ...]


@dataclass(frozen=True)
class Events:
    """What happened on the way to an instant."""

    raced: bool
    oscillated: bool
    may_glitch: frozenset[NetId]


@dataclass(frozen=True)
class Judgement:
    """A claim at one instant. For `can`, `holds` means: here it is shown."""

    holds: bool
    trigger: bool | None
    memory: Memory


class Worker:
    """Works one instant out: reads the memory of the instant before (None at the first), writes a new one."""

    def __init__(self, instant: Instant, memory: Memory | None) -> None:
        self.instant = instant
        self.old: Iterator[Entry] | None = None if memory is None else iter(memory)
        self.new: list[Entry] = []

    def remember(self, entry: Entry, at_first: Entry) -> Entry:
        """Keep this entry; give back the one kept an instant ago."""
        self.new.append(entry)
        return at_first if self.old is None else next(self.old)

    def previous(self, at_first: Entry) -> Entry:
        """What the entry about to be kept was an instant ago. Every node asks every time, so that the order holds."""
        return at_first if self.old is None else next(self.old)

    def value(self, node: Formula) -> int:
        result = self._value(node)
        return result & ((1 << node.width) - 1)

    def _value(self, node: Formula) -> int:
        if isinstance(node, Literal):
            return node.value
        if isinstance(node, Signal):
            return sum(self.instant[net] << position for position, net in enumerate(node.nets))
        if isinstance(node, Apply):
            return apply(node.operator, [self.value(operand) for operand in node.operands], node.width)
        if isinstance(node, Select):
            condition, high, low = (self.value(part) for part in (node.condition, node.when_high, node.when_low))
            return high if condition else low
        if isinstance(node, Compare):
            return compare(node.comparison, self.value(node.left), self.value(node.right))
        if isinstance(node, Add):
            return self.value(node.left) + self.value(node.right)
        if isinstance(node, Subtract):
            return self.value(node.left) - self.value(node.right)
        if isinstance(node, Slice):
            return (self.value(node.operand) >> node.low) % (1 << (node.high - node.low + 1))
        if isinstance(node, Join):
            return self._joined(node)
        return self._past(node)

    def _joined(self, node: Join) -> int:
        digits = ""
        for part in node.parts:
            digits += format(self.value(part), f"0{part.width}b")
        return int(digits, 2)

    def _past(self, node: Formula) -> int:
        if isinstance(node, Before):
            now = self.value(node.operand)
            return self._number(self.remember(now, now))
        if isinstance(node, Step):
            now = self.value(node.operand)
            before = self._number(self.remember(now, now))
            words = {
                StepWord.CHANGES: now != before,
                StepWord.STEADY: now == before,
                StepWord.RISES: now > before,
                StepWord.FALLS: now < before,
            }
            return int(words[node.word])
        if isinstance(node, Once):
            now, before = self.value(node.operand), self._number(self.previous(0))
            self.new.append(now | before)
            return now | before
        if isinstance(node, Since):
            left, right = self.value(node.left), self.value(node.right)
            before = self._number(self.previous(0))
            held = right | (left & before)
            self.new.append(held)
            return held
        if isinstance(node, AtTheLast):
            operand, trigger = self.value(node.operand), self.value(node.trigger)
            kept = self._number(self.previous(0))
            kept = operand if trigger else kept
            self.new.append(kept)
            return kept
        if isinstance(node, WithinTheLast):
            return self._recently(node)
        raise TypeError(f"no meaning for {type(node).__name__} here")

    def _recently(self, node: WithinTheLast) -> int:
        if node.bound.unit is not Unit.STEPS or not isinstance(node.bound.amount, int):
            raise TypeError("only a number of steps has a meaning here")
        now = self.value(node.operand)
        before = self.previous(())
        if not isinstance(before, tuple):
            raise TypeError(f"the memory of a window is {before!r}")
        window = (*before, now)[-(node.bound.amount + 1) :]
        self.new.append(window)
        return int(any(window))

    def _number(self, entry: Entry) -> int:
        if not isinstance(entry, int):
            raise TypeError(f"the memory of a value is {entry!r}")
        return entry

    def judge(self, formula: Formula, events: Events) -> tuple[bool, bool | None]:
        """Whether nothing is broken at this instant, and the trigger if there is one."""
        if isinstance(formula, Settles):
            return not (events.raced or events.oscillated), None
        if isinstance(formula, NeverGlitches):
            return not (events.may_glitch & set(formula.signal.nets)), None
        if isinstance(formula, Never):
            return not self.value(formula.operand), None
        if isinstance(formula, LeadsTo):
            return self._in_time(formula)
        if isinstance(formula, OnlyWhen):
            left, right = self.value(formula.left), self.value(formula.right)
            return not left or bool(right), bool(left)
        if isinstance(formula, Apply) and formula.operator is Operator.IMPLIES:
            left, right = (self.value(operand) for operand in formula.operands)
            return not left or bool(right), bool(left)
        return bool(self.value(formula)), None

    def _in_time(self, formula: LeadsTo) -> tuple[bool, bool]:
        """Every open obligation is kept with the steps or edges it has waited for."""
        bound = formula.bound
        if bound is None or not isinstance(bound.amount, int):
            raise TypeError("only a bounded `leads to` has a meaning here")
        left, right = self.value(formula.left), self.value(formula.right)
        waited = self._edges(bound)
        ages = self.previous(frozenset())
        if not isinstance(ages, frozenset):
            raise TypeError(f"the memory of obligations is {ages!r}")
        open_ages = {age + waited for age in ages}
        if left:
            open_ages.add(0)
        if right:
            open_ages = set()
        self.new.append(frozenset(open_ages))
        return all(age < bound.amount for age in open_ages), bool(left)

    def _edges(self, bound: Bound) -> int:
        if bound.unit is Unit.STEPS:
            return 1
        if bound.of is None or bound.unit is Unit.NANOSECONDS:
            raise TypeError(f"no meaning for {bound} here")
        now = self.value(bound.of)
        before = self._number(self.remember(now, now))
        return int(now > before if bound.unit is Unit.RISES else now < before)


def apply(operator: Operator, operands: list[int], width: int) -> int:
    """Bit by bit, each bit by counting ones."""
    result = 0
    for position in range(width):
        bits = [operand >> position & 1 for operand in operands]
        result |= int(bit_of(operator, bits)) << position
    return result


def bit_of(operator: Operator, bits: list[int]) -> bool:
    high = sum(bits)
    table = {
        Operator.NOT: high == 0,
        Operator.AND: high == len(bits),
        Operator.NAND: high < len(bits),
        Operator.OR: high > 0,
        Operator.NOR: high == 0,
        Operator.XOR: high % 2 == 1,
        Operator.XNOR: high % 2 == 0,
        Operator.MAJORITY: 2 * high > len(bits),
        Operator.IMPLIES: bits[0] <= bits[-1],
    }
    return table[operator]


def compare(comparison: Comparison, left: int, right: int) -> bool:
    table = {
        Comparison.EQUAL: left == right,
        Comparison.DIFFERENT: left != right,
        Comparison.LESS: left < right,
        Comparison.LESS_OR_EQUAL: left <= right,
        Comparison.GREATER: left > right,
        Comparison.GREATER_OR_EQUAL: left >= right,
    }
    return table[comparison]


def judge(formula: Formula, instant: Instant, events: Events, memory: Memory | None) -> Judgement:
    """The formula at this instant, `memory` being that of the instant before (None at the first)."""
    worker = Worker(instant, memory)
    holds, trigger = worker.judge(formula, events)
    return Judgement(holds, trigger, tuple(worker.new))
