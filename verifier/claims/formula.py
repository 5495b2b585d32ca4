"""The tree of a claim. Data only; what each node means stands in `grammar/README.md`, part III, and in `meaning.py`.

Every node has a width in bits; a formula is a node of width 1. The language front end has checked widths before a node
is made.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum

from verifier.circuit.netlist import NetId
from verifier.errors import Span


@dataclass(frozen=True, kw_only=True)
class Node:
    """Base of every node."""

    width: int = 1
    span: Span | None = field(default=None, compare=False, repr=False)

    @property
    def children(self) -> tuple[Formula, ...]:
        found: list[Formula] = []
        for name in self.__dataclass_fields__:
            value = getattr(self, name)
            if isinstance(value, Node):
                found.append(value)
            elif isinstance(value, tuple):
                found.extend(item for item in value if isinstance(item, Node))
            elif isinstance(value, Bound) and value.of is not None:
                found.append(value.of)
        return tuple(found)


Formula = Node


class Operator(Enum):
    """Operators that work bit by bit on operands of the node's width."""

    NOT = "not"
    AND = "and"
    OR = "or"
    XOR = "xor"
    NAND = "nand"
    NOR = "nor"
    XNOR = "xnor"
    MAJORITY = "majority"
    IMPLIES = "implies"


class Comparison(Enum):
    EQUAL = "=="
    DIFFERENT = "!="
    LESS = "<"
    LESS_OR_EQUAL = "<="
    GREATER = ">"
    GREATER_OR_EQUAL = ">="


class StepWord(Enum):
    CHANGES = "changes"
    RISES = "rises"
    FALLS = "falls"
    STEADY = "steady"


class Unit(Enum):
    STEPS = "steps"
    NANOSECONDS = "ns"
    RISES = "rises"
    FALLS = "falls"


class Pulses(Enum):
    BOTH = "pulses"
    HIGH = "high pulses"
    LOW = "low pulses"


class Tightest(Enum):
    """The `?` in place of a number."""

    ASKED = "?"


@dataclass(frozen=True)
class Bound:
    """`within amount unit`, with `of` the signal whose rises or falls are counted."""

    amount: int | Tightest
    unit: Unit
    of: Formula | None = None


@dataclass(frozen=True, kw_only=True)
class Literal(Node):
    value: int


@dataclass(frozen=True, kw_only=True)
class Signal(Node):
    name: str
    nets: tuple[NetId, ...]
    """Lowest bit first; `len(nets) == width`."""


@dataclass(frozen=True, kw_only=True)
class Apply(Node):
    """An operator on operands of equal width. NOT has one operand, IMPLIES two."""

    operator: Operator
    operands: tuple[Formula, ...]


@dataclass(frozen=True, kw_only=True)
class Select(Node):
    condition: Formula
    when_high: Formula
    when_low: Formula


@dataclass(frozen=True, kw_only=True)
class Compare(Node):
    comparison: Comparison
    left: Formula
    right: Formula


@dataclass(frozen=True, kw_only=True)
class Add(Node):
    left: Formula
    right: Formula


@dataclass(frozen=True, kw_only=True)
class Subtract(Node):
    left: Formula
    right: Formula


@dataclass(frozen=True, kw_only=True)
class Slice(Node):
    """Bits `low` up to and including `high` of the operand; bit 0 is the lowest."""

    operand: Formula
    high: int
    low: int


@dataclass(frozen=True, kw_only=True)
class Join(Node):
    """Parts written from the highest to the lowest."""

    parts: tuple[Formula, ...]


@dataclass(frozen=True, kw_only=True)
class Before(Node):
    operand: Formula


@dataclass(frozen=True, kw_only=True)
class Step(Node):
    word: StepWord
    operand: Formula


@dataclass(frozen=True, kw_only=True)
class Once(Node):
    operand: Formula


@dataclass(frozen=True, kw_only=True)
class Since(Node):
    left: Formula
    right: Formula


@dataclass(frozen=True, kw_only=True)
class AtTheLast(Node):
    """The value `operand` had when `trigger` last held; 0 before that. As wide as the operand."""

    operand: Formula
    trigger: Formula


@dataclass(frozen=True, kw_only=True)
class Initially(Node):
    """The value `operand` had at instant 0, at every instant. No word of the language: `equal` needs it."""

    operand: Formula


@dataclass(frozen=True, kw_only=True)
class WithinTheLast(Node):
    operand: Formula
    bound: Bound


@dataclass(frozen=True, kw_only=True)
class Next(Node):
    operand: Formula


@dataclass(frozen=True, kw_only=True)
class Always(Node):
    """`always F` and `F for good`."""

    operand: Formula


@dataclass(frozen=True, kw_only=True)
class Eventually(Node):
    operand: Formula


@dataclass(frozen=True, kw_only=True)
class Until(Node):
    left: Formula
    right: Formula


@dataclass(frozen=True, kw_only=True)
class AgainAndAgain(Node):
    operand: Formula


@dataclass(frozen=True, kw_only=True)
class OnlyWhen(Node):
    left: Formula
    right: Formula


@dataclass(frozen=True, kw_only=True)
class Never(Node):
    operand: Formula


@dataclass(frozen=True, kw_only=True)
class LeadsTo(Node):
    left: Formula
    right: Formula
    bound: Bound | None = None


@dataclass(frozen=True, kw_only=True)
class NeverGlitches(Node):
    signal: Signal


@dataclass(frozen=True, kw_only=True)
class PulsesLast(Node):
    signal: Signal
    pulses: Pulses
    at_least: Bound


@dataclass(frozen=True, kw_only=True)
class Settles(Node):
    """The claim that is always there: no race and no oscillation."""


class TimingRule(Enum):
    """What a storage part asks of its pins (grammar/README.md, 33)."""

    SET_UP = "set_up"
    HOLD = "hold"
    CLOCK_WIDTH = "clock_width"
    CLEAR_WIDTH = "clear_width"


@dataclass(frozen=True, kw_only=True)
class KeepsTiming(Node):
    """The claim that is always there for a figure of the family: 0 at the instants that breach it."""

    rule: TimingRule
    storage: NetId
    """Output of the flip-flop or latch."""


PATTERNS = (OnlyWhen, Never, LeadsTo, NeverGlitches, PulsesLast, Settles, KeepsTiming)
FUTURE_WORDS = (Next, Always, Eventually, Until, AgainAndAgain)


def walk(formula: Formula) -> Iterator[Formula]:
    """Every node of the tree, each parent before its children, without recursion."""
    pending = [formula]
    while pending:
        node = pending.pop()
        yield node
        pending.extend(reversed(node.children))
