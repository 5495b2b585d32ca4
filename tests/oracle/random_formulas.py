"""Random claims and givens about a netlist, of every kind the settled view judges on finite runs."""

from __future__ import annotations

from dataclasses import fields
from enum import Enum
from random import Random

from oracle.wiring import can, must, signal
from verifier.circuit.netlist import Gate, Netlist
from verifier.claims.claim import Claim, Given
from verifier.claims.formula import (
    Add,
    AgainAndAgain,
    Always,
    Apply,
    AtTheLast,
    Before,
    Bound,
    Compare,
    Comparison,
    Eventually,
    Formula,
    Join,
    LeadsTo,
    Literal,
    Never,
    NeverGlitches,
    Next,
    Node,
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

BINARY = (Operator.AND, Operator.OR, Operator.XOR, Operator.NAND, Operator.NOR, Operator.XNOR)


class FormulaMaker:
    """Draws formulas over the signals of one netlist, all choices from one source of randomness."""

    def __init__(self, random: Random, netlist: Netlist) -> None:
        self.random = random
        bits = [name for name, nets in netlist.signals.items() if len(nets) == 1]
        self.bits = [signal(netlist, name) for name in bits]
        stored = {net for net, element in netlist.drivers.items() if not isinstance(element, Gate)}
        self.stored = [bit for bit in self.bits if bit.nets[0] in stored]
        self.buses = [signal(netlist, name) for name, nets in netlist.signals.items() if len(nets) > 1]

    # One bit

    def bit(self) -> Signal:
        return self.random.choice(self.stored if self.stored and self.random.random() < 0.3 else self.bits)

    def formula(self, depth: int) -> Formula:
        if depth <= 0 or self.random.random() < 0.15:
            return self.bit()
        makers = (
            (self._step, 6),
            (self._not, 3),
            (self._connected, 6),
            (self._compared, 2),
            (self._past, 5),
            (self._selected, 1),
            (self._slice, 1),
        )
        maker = self.random.choices([maker for maker, _ in makers], [weight for _, weight in makers])[0]
        return maker(depth - 1)

    def _step(self, depth: int) -> Formula:
        word = self.random.choice(list(StepWord))
        if word in (StepWord.CHANGES, StepWord.STEADY) and self.random.random() < 0.15:
            return Step(word=word, operand=self.wide(depth))
        operand = self.bit() if self.random.random() < 0.7 else self.formula(depth)
        return Step(word=word, operand=operand)

    def _not(self, depth: int) -> Formula:
        return Apply(operator=Operator.NOT, operands=(self.formula(depth),))

    def _connected(self, depth: int) -> Formula:
        if self.random.random() < 0.1:
            operands = tuple(self.formula(depth - 1) for _ in range(3))
            return Apply(operator=self.random.choice((Operator.MAJORITY, *BINARY)), operands=operands)
        operator = self.random.choice((Operator.AND, Operator.OR, Operator.IMPLIES, *BINARY))
        return Apply(operator=operator, operands=(self.formula(depth), self.formula(depth)))

    def _compared(self, depth: int) -> Formula:
        comparison = self.random.choice(list(Comparison))
        left = self.wide(depth)
        right = Literal(width=left.width, value=self.random.randrange(1 << left.width))
        return Compare(
            comparison=comparison, left=left, right=right if self.random.random() < 0.5 else self.wide(depth)
        )

    def _past(self, depth: int) -> Formula:
        kind = self.random.randrange(5)
        if kind == 0:
            return Before(operand=self.formula(depth))
        if kind == 1:
            return Once(operand=self.formula(depth))
        if kind == 2:
            return Since(left=self.formula(depth), right=self.formula(depth))
        if kind == 3:
            return AtTheLast(operand=self.formula(depth), trigger=self.formula(depth))
        return WithinTheLast(operand=self.formula(depth), bound=Bound(self.random.randrange(4), Unit.STEPS))

    def _selected(self, depth: int) -> Formula:
        return Select(condition=self.bit(), when_high=self.formula(depth), when_low=self.formula(depth))

    def _slice(self, depth: int) -> Formula:
        position = self.random.randrange(2)
        return Slice(operand=self.wide(depth), high=position, low=position)

    # Two bits

    def wide(self, depth: int) -> Formula:
        """An expression of two bits."""
        if depth <= 0 or self.random.random() < 0.5:
            if self.buses and self.random.random() < 0.6:
                return self.random.choice(self.buses)
            return Join(width=2, parts=(self.bit(), self.bit()))
        kind = self.random.randrange(7)
        left = self.wide(depth - 1)
        if kind == 0:
            return Before(width=2, operand=left)
        if kind == 1:
            return AtTheLast(width=2, operand=left, trigger=self.formula(depth - 1))
        if kind == 2:
            return Apply(width=2, operator=Operator.NOT, operands=(left,))
        if kind == 3:
            return Select(width=2, condition=self.bit(), when_high=left, when_low=self.wide(depth - 1))
        right = self.wide(depth - 1)
        if kind == 4:
            return Apply(width=2, operator=self.random.choice(BINARY), operands=(left, right))
        return Add(width=2, left=left, right=right) if kind == 5 else Subtract(width=2, left=left, right=right)

    # Claims

    def claim(self, name: str) -> Claim:
        makers = (
            (self._plain, 2),
            (self._only_when, 4),
            (self._never, 3),
            (self._leads_to, 3),
            (self._implies, 2),
            (self._never_glitches, 3),
        )
        if self.random.random() < 0.2:
            formula = self._rare() if self.random.random() < 0.6 else self.formula(3)
            return can(name, formula, text_of(formula))
        maker = self.random.choices([maker for maker, _ in makers], [weight for _, weight in makers])[0]
        formula = maker()
        return must(name, formula, text_of(formula))

    def far_away(self, name: str) -> Claim:
        """A claim about one state of all storage, which a counter takes a long run to reach."""
        corner = self._corner()
        if self.random.random() < 0.4:
            return can(name, corner, text_of(corner))
        return must(name, Never(operand=corner), text_of(Never(operand=corner)))

    def given(self, name: str) -> Given:
        kind = self.random.random()
        if kind < 0.4:
            formula: Formula = Never(operand=self._conjunction())
        elif kind < 0.7:
            formula = self._only_when()
        else:
            formula = self.formula(2)
        return Given(name=name, formula=formula, text=text_of(formula))

    def _conjunction(self) -> Formula:
        """Hard to meet: several things at once, so that a run that meets it is long or there is none."""
        operands = tuple(self.formula(2) for _ in range(self.random.randrange(2, 4)))
        return Apply(operator=Operator.AND, operands=operands)

    def _corner(self) -> Formula:
        """All storage in one of its states, and a step word: a counter takes a long run to get there."""
        state = [
            bit if self.random.random() < 0.7 else Apply(operator=Operator.NOT, operands=(bit,)) for bit in self.stored
        ]
        step = Step(word=self.random.choice(list(StepWord)), operand=self.bit())
        return Apply(operator=Operator.AND, operands=(*state, step))

    def _rare(self) -> Formula:
        return self._corner() if len(self.stored) > 1 and self.random.random() < 0.6 else self._conjunction()

    def _disjunction(self) -> Formula:
        """Easy to meet."""
        operands = tuple(self.formula(2) for _ in range(self.random.randrange(2, 4)))
        return Apply(operator=Operator.OR, operands=operands)

    def _plain(self) -> Formula:
        return self._disjunction() if self.random.random() < 0.7 else self.formula(3)

    def _trigger(self) -> Formula:
        return self._rare() if self.random.random() < 0.25 else self.formula(2)

    def _reply(self) -> Formula:
        return self._disjunction() if self.random.random() < 0.5 else self.formula(2)

    def _only_when(self) -> Formula:
        if self.random.random() < 0.3:
            left: Formula = Step(word=StepWord.CHANGES, operand=self.bit())
            changing = tuple(Step(word=StepWord.CHANGES, operand=self.bit()) for _ in range(2))
            return OnlyWhen(left=left, right=Apply(operator=Operator.OR, operands=changing))
        return OnlyWhen(left=self._trigger(), right=self._reply())

    def _never(self) -> Formula:
        return Never(operand=self._rare())

    def _implies(self) -> Formula:
        return Apply(operator=Operator.IMPLIES, operands=(self._trigger(), self._reply()))

    def _leads_to(self) -> Formula:
        unit = self.random.choice((Unit.STEPS, Unit.STEPS, Unit.RISES, Unit.FALLS))
        counted = None if unit is Unit.STEPS else self.bit()
        bound = Bound(self.random.randrange(4), unit, counted)
        return LeadsTo(left=self._trigger(), right=self._reply(), bound=bound)

    def _never_glitches(self) -> Formula:
        chosen = self.random.choice(self.buses) if self.buses and self.random.random() < 0.2 else self.bit()
        return NeverGlitches(signal=chosen)


def text_of(formula: Formula) -> str:
    """The formula in words, with a bracket around everything: for reading, and for the claim's own text."""
    if isinstance(formula, Signal):
        return formula.name
    if isinstance(formula, Literal):
        return str(formula.value)
    inner = [text_of(child) for child in formula.children]
    if isinstance(formula, Apply):
        word = formula.operator.value
        return f"({word} {inner[0]})" if len(inner) == 1 else f"({f' {word} '.join(inner)})"
    if isinstance(formula, Compare):
        return f"({inner[0]} {formula.comparison.value} {inner[1]})"
    if isinstance(formula, Step):
        return f"({inner[0]} {formula.word.value})"
    if isinstance(formula, Slice):
        return f"{inner[0]}[{formula.high}..{formula.low}]"
    if isinstance(formula, LeadsTo) and formula.bound is not None:
        ending = "" if formula.bound.of is None else f" of {inner[2]}"
        return f"({inner[0]} leads to {inner[1]} within {formula.bound.amount} {formula.bound.unit.value}{ending})"
    if isinstance(formula, WithinTheLast):
        return f"({inner[0]} within the last {formula.bound.amount} steps)"
    if isinstance(formula, NeverGlitches):
        return f"{inner[0]} never glitches"
    words: dict[type[Node], str] = {
        Before: "(before {})",
        Once: "(once {})",
        Since: "({} since {})",
        AtTheLast: "({} at the last {})",
        Select: "(if {} then {} else {})",
        Join: "join({}, {})",
        Add: "({} + {})",
        Subtract: "({} - {})",
        OnlyWhen: "({} only when {})",
        Never: "never {}",
        LeadsTo: "({} leads to {})",
        Next: "(next {})",
        Always: "(always {})",
        Eventually: "(eventually {})",
        Until: "({} until {})",
        AgainAndAgain: "({} again and again)",
    }
    return words[type(formula)].format(*inner)


def as_source(value: object) -> str:
    """A formula, claim or given as Python that makes it again."""
    if isinstance(value, Enum):
        return str(value)
    if isinstance(value, tuple):
        return "(" + "".join(f"{as_source(item)}, " for item in value).rstrip() + ")"
    if isinstance(value, (Node, Bound, Claim, Given)):
        parts = [
            f"{field.name}={as_source(getattr(value, field.name))}"
            for field in fields(value)
            if field.name != "span" and getattr(value, field.name) != field.default
        ]
        return f"{type(value).__name__}({', '.join(parts)})"
    return repr(value)
