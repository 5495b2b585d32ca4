"""Words of bits over an abstract algebra: the operators, comparisons and sums that claims are made of.

The algebra is brought by the caller, so nothing here knows a bit graph or a solver.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from verifier.circuit.netlist import NetId
from verifier.claims.formula import Comparison, Operator

Bit = int
Bits = tuple[Bit, ...]
"""Lowest bit first."""


class BitAlgebra(Protocol):
    """What a monitor needs of the world. Bits are opaque."""

    low: Bit
    high: Bit
    first: Bit
    """1 at instant 0 only."""
    raced: Bit
    oscillated: Bit

    def negation(self, bit: Bit) -> Bit: ...
    def conjunction(self, left: Bit, right: Bit) -> Bit: ...
    def disjunction(self, left: Bit, right: Bit) -> Bit: ...
    def exclusive_or(self, left: Bit, right: Bit) -> Bit: ...
    def select(self, condition: Bit, when_high: Bit, when_low: Bit) -> Bit: ...
    def now(self, net: NetId) -> Bit: ...
    def before(self, net: NetId) -> Bit:
        """The net's value at the instant before; at instant 0 its value then."""

    def may_glitch(self, net: NetId) -> Bit: ...
    def memory(self, name: str) -> Bit:
        """A new bit that is 0 at instant 0; `remember` says what it is at the next instant."""

    def remember(self, memory: Bit, value: Bit) -> None: ...


class Words:
    """Arithmetic on words; lowest bit first."""

    def __init__(self, algebra: BitAlgebra) -> None:
        self._algebra = algebra

    def apply(self, operator: Operator, operands: Sequence[Bits]) -> Bits:
        return tuple(self._apply_bit(operator, column) for column in zip(*operands, strict=True))

    def _apply_bit(self, operator: Operator, bits: tuple[Bit, ...]) -> Bit:
        algebra = self._algebra
        match operator:
            case Operator.NOT:
                return algebra.negation(bits[0])
            case Operator.AND:
                return self.every(bits)
            case Operator.OR:
                return self.some(bits)
            case Operator.XOR:
                return self.parity(bits)
            case Operator.NAND:
                return algebra.negation(self.every(bits))
            case Operator.NOR:
                return algebra.negation(self.some(bits))
            case Operator.XNOR:
                return algebra.negation(self.parity(bits))
            case Operator.MAJORITY:
                return at_least(algebra, len(bits) // 2 + 1, bits)
            case Operator.IMPLIES:
                return algebra.disjunction(algebra.negation(bits[0]), bits[1])

    def every(self, bits: Sequence[Bit]) -> Bit:
        result = self._algebra.high
        for bit in bits:
            result = self._algebra.conjunction(result, bit)
        return result

    def some(self, bits: Sequence[Bit]) -> Bit:
        result = self._algebra.low
        for bit in bits:
            result = self._algebra.disjunction(result, bit)
        return result

    def parity(self, bits: Sequence[Bit]) -> Bit:
        result = self._algebra.low
        for bit in bits:
            result = self._algebra.exclusive_or(result, bit)
        return result

    def inverted(self, bits: Bits) -> Bits:
        return tuple(self._algebra.negation(bit) for bit in bits)

    def sum(self, left: Bits, right: Bits, carry: Bit) -> tuple[Bits, Bit]:
        """`left + right + carry` at their width, and the carry out."""
        algebra = self._algebra
        total: list[Bit] = []
        for a, b in zip(left, right, strict=True):
            half = algebra.exclusive_or(a, b)
            total.append(algebra.exclusive_or(half, carry))
            carry = algebra.disjunction(algebra.conjunction(a, b), algebra.conjunction(half, carry))
        return tuple(total), carry

    def compare(self, comparison: Comparison, left: Bits, right: Bits) -> Bit:
        algebra = self._algebra
        match comparison:
            case Comparison.EQUAL:
                return algebra.negation(self.differ(left, right))
            case Comparison.DIFFERENT:
                return self.differ(left, right)
            case Comparison.GREATER_OR_EQUAL:
                return self.sum(left, self.inverted(right), algebra.high)[1]
            case Comparison.LESS_OR_EQUAL:
                return self.sum(right, self.inverted(left), algebra.high)[1]
            case Comparison.LESS:
                return algebra.negation(self.sum(left, self.inverted(right), algebra.high)[1])
            case Comparison.GREATER:
                return algebra.negation(self.sum(right, self.inverted(left), algebra.high)[1])

    def differ(self, left: Bits, right: Bits) -> Bit:
        return self.some([self._algebra.exclusive_or(a, b) for a, b in zip(left, right, strict=True)])

    def number(self, value: int, width: int) -> Bits:
        return tuple(self._algebra.high if value >> i & 1 else self._algebra.low for i in range(width))

    def one_less(self, counter: Bits) -> Bits:
        return self.sum(counter, self.number((1 << len(counter)) - 1, len(counter)), self._algebra.low)[0]

    def choose(self, condition: Bit, when_high: Bits, when_low: Bits) -> Bits:
        pairs = zip(when_high, when_low, strict=True)
        return tuple(self._algebra.select(condition, high, low) for high, low in pairs)


def at_least(algebra: BitAlgebra, threshold: int, bits: Sequence[Bit]) -> Bit:
    """At least `threshold` of the bits are 1; a ladder of `len(bits) * threshold` nodes."""
    counts = [algebra.high] + [algebra.low] * threshold
    for bit in bits:
        for reached in range(threshold, 0, -1):
            counts[reached] = algebra.disjunction(counts[reached], algebra.conjunction(bit, counts[reached - 1]))
    return counts[threshold]
