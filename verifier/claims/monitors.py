"""Claims over the past as small machines with memory, written against an algebra of bits that the caller brings.

A monitor watches a run instant by instant and knows at each whether a formula holds there (`grammar/README.md`, section
20). This module knows neither solver nor bit graph: a view hands in a `BitAlgebra`. Unbounded future words are not its
business.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from verifier.circuit.netlist import NetId
from verifier.claims.formula import (
    Add,
    Apply,
    AtTheLast,
    Before,
    Bound,
    Compare,
    Formula,
    Initially,
    Join,
    LeadsTo,
    Literal,
    Never,
    NeverGlitches,
    Once,
    OnlyWhen,
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
from verifier.claims.words import Bit, BitAlgebra, Bits, Words


class UnsupportedFormula(ValueError):
    """A node that needs another view or the endless future."""


_COMBINATIONAL = (Literal, Signal, Apply, Select, Compare, Add, Subtract, Slice, Join)


class Monitor:
    """Compiles formulas over one algebra; equal nodes share their memory."""

    def __init__(self, algebra: BitAlgebra) -> None:
        self._algebra = algebra
        self._words = Words(algebra)
        self._now: dict[Formula, Bits] = {}
        self._before: dict[Formula, Bits] = {}
        self.counters: dict[Bit, tuple[Formula, int]] = {}
        """Each bit of a counter to the formula that counts with it, and its place."""

    @property
    def values(self) -> Mapping[Formula, Bits]:
        """Every formula that was compiled, and its parts, to their values at the present instant."""
        return self._now

    def value(self, formula: Formula) -> Bits:
        """The formula's value at the present instant; for a bounded `leads to`, 0 exactly at a missed deadline."""
        self._visit(formula)
        return self._now[formula]

    def _visit(self, formula: Formula) -> None:
        pending = [formula]
        while pending:
            node = pending[-1]
            missing = [child for child in node.children if child not in self._now]
            if missing:
                pending.extend(missing)
                continue
            pending.pop()
            if node not in self._now:
                self._now[node] = self._of(node, self._now.__getitem__, self._algebra.now)

    def _previous(self, formula: Formula) -> Bits:
        """Value of a formula, visited already, at the instant before (at instant 0: its value there)."""
        pending = [formula]
        while pending:
            node = pending[-1]
            if node in self._before:
                pending.pop()
            elif not isinstance(node, _COMBINATIONAL):
                self._before[node] = tuple(self._remembered(bit, "before") for bit in self._now[node])
            else:
                missing = [child for child in node.children if child not in self._before]
                pending.extend(missing)
                if not missing:
                    self._before[node] = self._of(node, self._before.__getitem__, self._algebra.before)
        return self._before[formula]

    def _remembered(self, bit: Bit, name: str) -> Bit:
        algebra = self._algebra
        if bit in (algebra.low, algebra.high):
            return bit
        memory = algebra.memory(name)
        algebra.remember(memory, bit)
        return algebra.select(algebra.first, bit, memory)

    def _of(self, node: Formula, of: Callable[[Formula], Bits], signal: Callable[[NetId], Bit]) -> Bits:
        algebra = self._algebra
        match node:
            case Literal():
                return tuple(algebra.high if node.value >> i & 1 else algebra.low for i in range(node.width))
            case Signal():
                return tuple(signal(net) for net in node.nets)
            case Apply():
                return self._words.apply(node.operator, [of(operand) for operand in node.operands])
            case Select():
                (condition,) = of(node.condition)
                pairs = zip(of(node.when_high), of(node.when_low), strict=True)
                return tuple(algebra.select(condition, high, low) for high, low in pairs)
            case Compare():
                return (self._words.compare(node.comparison, of(node.left), of(node.right)),)
            case Add():
                return self._words.sum(of(node.left), of(node.right), algebra.low)[0]
            case Subtract():
                return self._words.sum(of(node.left), self._words.inverted(of(node.right)), algebra.high)[0]
            case Slice():
                return of(node.operand)[node.low : node.high + 1]
            case Join():
                return tuple(bit for part in reversed(node.parts) for bit in of(part))
            case _:
                return (self._memory_word(node),) if node.width == 1 else self._wide_word(node)

    def _memory_word(self, node: Formula) -> Bit:
        """The words that look at other instants, and the patterns; all of one bit."""
        algebra = self._algebra
        match node:
            case Step():
                return self._step(node.word, self._now[node.operand], self._previous(node.operand))
            case Once():
                return self._latched(lambda seen: algebra.disjunction(self._bit(node.operand), seen))
            case Since():
                left, right = self._bit(node.left), self._bit(node.right)
                return self._latched(lambda held: algebra.disjunction(right, algebra.conjunction(left, held)))
            case Initially():
                now = self._bit(node.operand)
                return self._latched(lambda kept: algebra.select(algebra.first, now, kept))
            case WithinTheLast():
                return self._within_the_last(node, _steps(node.bound))
            case OnlyWhen():
                return algebra.disjunction(algebra.negation(self._bit(node.left)), self._bit(node.right))
            case Never():
                return algebra.negation(self._bit(node.operand))
            case LeadsTo(bound=Bound()):
                return self._leads_to(node)
            case NeverGlitches():
                return algebra.negation(self._words.some([algebra.may_glitch(net) for net in node.signal.nets]))
            case Settles():
                return algebra.negation(algebra.disjunction(algebra.raced, algebra.oscillated))
            case Before() | AtTheLast():
                return self._wide_word(node)[0]
            case _:
                raise UnsupportedFormula(f"no monitor for {type(node).__name__}")

    def _wide_word(self, node: Formula) -> Bits:
        match node:
            case Before():
                return self._previous(node.operand)
            case AtTheLast():
                trigger = self._bit(node.trigger)
                return tuple(
                    self._latched(lambda kept, bit=bit: self._algebra.select(trigger, bit, kept))  # type: ignore[misc]
                    for bit in self._now[node.operand]
                )
            case _:
                raise UnsupportedFormula(f"no monitor for {type(node).__name__}")

    def _bit(self, formula: Formula) -> Bit:
        (bit,) = self._now[formula]
        return bit

    def _latched(self, rule: Callable[[Bit], Bit]) -> Bit:
        """A memory that takes, at every instant, the value `rule(memory)`; the value is that of the present instant."""
        memory = self._algebra.memory("past")
        value = rule(memory)
        self._algebra.remember(memory, value)
        return value

    def _step(self, word: StepWord, now: Bits, before: Bits) -> Bit:
        algebra = self._algebra
        match word:
            case StepWord.CHANGES:
                return self._words.differ(now, before)
            case StepWord.STEADY:
                return algebra.negation(self._words.differ(now, before))
            case StepWord.RISES:
                return algebra.conjunction(now[0], algebra.negation(before[0]))
            case StepWord.FALLS:
                return algebra.conjunction(algebra.negation(now[0]), before[0])

    def _counter(self, node: Formula, largest: int) -> Bits:
        bits = tuple(self._algebra.memory("count") for _ in range(largest.bit_length()))
        self.counters.update({bit: (node, place) for place, bit in enumerate(bits)})
        return bits

    def _remember_all(self, memories: Bits, values: Bits) -> None:
        for memory, value in zip(memories, values, strict=True):
            self._algebra.remember(memory, value)

    def _within_the_last(self, node: WithinTheLast, steps: int) -> Bit:
        """A counter of the steps for which the last time it held still counts; 0 when it no longer does."""
        holds = self._bit(node.operand)
        counter = self._counter(node, steps)
        still_counts = self._words.some(counter)
        fewer = self._words.choose(still_counts, self._words.one_less(counter), counter)
        self._remember_all(counter, self._words.choose(holds, self._words.number(steps, len(counter)), fewer))
        return self._algebra.disjunction(holds, still_counts)

    def _leads_to(self, node: LeadsTo) -> Bit:
        """A counter of the ticks left to the oldest open deadline; 0 when none is open.

        The goal discharges every open obligation at once, so the oldest one is all that needs to be known.
        """
        algebra = self._algebra
        if node.bound is None or not isinstance(node.bound.amount, int):
            raise UnsupportedFormula("no monitor for `leads to` without a fixed bound")
        amount = node.bound.amount
        trigger, goal, tick = self._bit(node.left), self._bit(node.right), self._tick(node.bound)
        missed = algebra.negation(goal)
        if amount == 0:
            return algebra.negation(algebra.conjunction(trigger, missed))
        left = self._counter(node, amount)
        is_open = self._words.some(left)
        is_last = algebra.negation(self._words.differ(left, self._words.number(1, len(left))))
        nothing = self._words.number(0, len(left))
        waiting = self._words.choose(tick, self._words.one_less(left), left)
        opened = self._words.choose(trigger, self._words.number(amount, len(left)), nothing)
        self._remember_all(left, self._words.choose(goal, nothing, self._words.choose(is_open, waiting, opened)))
        return algebra.negation(self._words.every([is_last, tick, missed]))

    def _tick(self, bound: Bound) -> Bit:
        if bound.unit is Unit.STEPS:
            return self._algebra.high
        if bound.of is None or bound.unit is Unit.NANOSECONDS:
            raise UnsupportedFormula(f"no monitor for a bound in {bound.unit.value}")
        word = StepWord.RISES if bound.unit is Unit.RISES else StepWord.FALLS
        return self._step(word, self._now[bound.of], self._previous(bound.of))


def _steps(bound: Bound) -> int:
    if bound.unit is not Unit.STEPS or not isinstance(bound.amount, int):
        raise UnsupportedFormula(f"no monitor for a bound in {bound.unit.value}")
    return bound.amount
