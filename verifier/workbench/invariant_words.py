"""An invariant in words of the circuit's own nets: each clause as a sentence, in the language of claims if it can be.

In every frame but the first the registers of a transition system hold the instant before: nets that are inputs, storage
or gates of loops, and what the claim's monitor remembers of its past words. So a clause is a sentence about one
instant. Sentences that say little apart are told as one: `a == b`, `at most one of a, b, c`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from verifier.circuit.netlist import Netlist
from verifier.claims import formula as tree
from verifier.claims.claim import Claim
from verifier.claims.formula import Apply, Comparison, Formula, Operator, Signal
from verifier.logic.bit_graph import Literal
from verifier.logic.transition_system import Clause, Invariant, TransitionSystem
from verifier.report.pieces import listing
from verifier.report.wording import worded, worded_as_one
from verifier.views.settled import SettledModel


@dataclass(frozen=True)
class Words:
    sentences: tuple[str, ...]
    as_claims: bool
    """Each sentence could stand in a wiring file as a `must`."""
    hidden: int
    """How many clauses are about the proof's own bookkeeping, and told in no sentence."""


def invariant_in_words(model: SettledModel, system: TransitionSystem, invariant: Invariant, claim: Claim) -> Words:
    """Left out are clauses that say nothing about instants (what holds before the first one), and those about what a
    run owes to the future."""
    telling = _Telling(model, system, claim)
    clauses = [clause for clause in map(telling.about_instants, invariant.clauses) if clause is not None]
    clauses = [clause for clause in clauses if telling.can_tell(clause)]
    hidden = len(invariant.clauses) - len(clauses)
    told: list[tuple[str, bool]] = []
    for part in (telling.at_most_one, telling.pairs, telling.each):
        sentences, clauses = part(clauses)
        told += sentences
    return Words(tuple(dict.fromkeys(text for text, _ in told)), all(is_claim for _, is_claim in told), hidden)


def invariant_formulas(model: SettledModel, system: TransitionSystem, invariant: Invariant) -> tuple[Formula, ...]:
    """The clauses that are formulas of the language, one each: true at every instant."""
    telling = _Telling(model, system, None)
    clauses = [clause for clause in map(telling.about_instants, invariant.clauses) if clause is not None]
    return tuple(telling.formula(clause) for clause in clauses if telling.is_formula(clause))


Sentences = list[tuple[str, bool]]
"""Each with whether it is in the language of claims."""
Told = tuple[Sentences, list[Clause]]
"""Sentences, and the clauses that they do not tell."""


class _Telling:
    def __init__(self, model: SettledModel, system: TransitionSystem, claim: Claim | None) -> None:
        self._claim = claim
        names = {register.variable: system.graph.names[register.variable >> 1] for register in system.registers}
        nets = {net.name: net_id for net_id, net in enumerate(model.design.netlist.nets)}
        self._started = {variable for variable, name in names.items() if name == "started"}
        self._netlist = model.design.netlist
        self._bits = {net.name for net in model.design.netlist.nets if not net.anonymous}
        """Names of nets, those of one bit of a bus among them."""
        self._formulas: dict[Literal, Formula] = {}
        for variable, (formula, place) in model.remembered.items():
            bit = formula if formula.width == 1 else tree.Slice(operand=formula, high=place, low=place)
            self._formulas[variable] = bit
        for variable, name in names.items():
            if name in nets:
                self._formulas[variable] = signal_of(self._netlist, name)
        self._counters = model.counters

    def can_tell(self, clause: Clause) -> bool:
        return all(literal & ~1 in self._formulas or literal & ~1 in self._counters for literal in clause)

    def about_instants(self, clause: Clause) -> Clause | None:
        """The clause where the run has started; None when it is true there anyway."""
        if any(literal in self._started for literal in clause):
            return None
        return tuple(literal for literal in clause if literal ^ 1 not in self._started)

    def is_formula(self, clause: Clause) -> bool:
        return all(literal & ~1 in self._formulas for literal in clause)

    def formula(self, clause: Clause) -> Formula:
        """Pre: `is_formula`."""
        high = [self._formulas[literal] for literal in clause if not literal & 1]
        low = [self._formulas[literal & ~1] for literal in clause if literal & 1]
        return _formula(high, low)

    def at_most_one(self, clauses: list[Clause]) -> Told:
        """Three or more bits of which no two are high together."""
        left = set(clauses)
        apart = {frozenset(literal ^ 1 for literal in c) for c in clauses if len(c) == 2 and all(x & 1 for x in c)}
        apart = {pair for pair in apart if all(literal in self._formulas for literal in pair)}
        sentences: Sentences = []
        for group in _groups(apart):
            pairs = {frozenset(pair) for pair in combinations(group, 2)}
            names = ", ".join(worded(self._formulas[literal]) for literal in group)
            some = next((c for c in left if set(c) == set(group)), None)
            left = {c for c in left if frozenset(literal ^ 1 for literal in c) not in pairs and c != some}
            how_many = "at most one" if some is None else "exactly one"
            sentences.append((f"{how_many} of {names} is high", False))
        return sentences, [clause for clause in clauses if clause in left]

    def pairs(self, clauses: list[Clause]) -> Told:
        """Two clauses that together say that two bits are the same, or opposite."""
        left, sentences = list(clauses), Sentences()
        known = {frozenset(clause) for clause in clauses if len(clause) == 2}
        for clause in clauses:
            other = frozenset(literal ^ 1 for literal in clause)
            if len(clause) != 2 or other not in known or clause not in left:
                continue
            first, second = sorted(clause, key=lambda literal: literal >> 1)
            if not {first & ~1, second & ~1} <= self._formulas.keys():
                continue
            left = [c for c in left if frozenset(c) not in (frozenset(clause), other)]
            same = (first ^ second) & 1
            comparison = Comparison.EQUAL if same else Comparison.DIFFERENT
            pair = [self._formulas[literal & ~1] for literal in (first, second)]
            equality = tree.Compare(comparison=comparison, left=pair[0], right=pair[1])
            sentences.append((worded(equality), self._is_in_the_language(equality)))
        return sentences, left

    def each(self, clauses: list[Clause]) -> Told:
        formulas = [self.formula(clause) for clause in clauses if self.is_formula(clause)]
        sentences = [(worded(formula), self._is_in_the_language(formula)) for formula in formulas]
        counted = self._counted_together([clause for clause in clauses if not self.is_formula(clause)])
        return [*sentences, *((text, False) for text in counted)], []

    def _counted_together(self, clauses: Sequence[Clause]) -> Iterable[str]:
        """Clauses with bits of counters. Those that differ in the numbers of one counter alone are told as one."""
        numbers: dict[tuple[frozenset[Literal], Formula], set[int]] = {}
        others: list[str] = []
        for clause in clauses:
            plain = frozenset(literal for literal in clause if literal & ~1 in self._formulas)
            counters = self._counter_numbers(clause)
            if len(counters) == 1:
                ((formula, found),) = counters.items()
                numbers.setdefault((plain, formula), set()).update(found)
            else:
                counts = [_counted(formula, sorted(found), self._claim) for formula, found in counters.items()]
                others.append(_never_at_once([*self._plain_conditions(plain), *counts]))
        for (plain, formula), spoken_of in numbers.items():
            known = [n for (less, same), n in numbers.items() if less < plain and same == formula]
            left = sorted(spoken_of.difference(*known))
            if left:
                yield _never_at_once([*self._plain_conditions(plain), _counted(formula, left, self._claim)])
        yield from others

    def _plain_conditions(self, literals: Iterable[Literal]) -> Iterable[str]:
        for literal in sorted(literals):
            formula = self._formulas[literal & ~1]
            yield worded(formula if literal & 1 else _not(formula))

    def _counter_numbers(self, clause: Clause) -> dict[Formula, list[int]]:
        """For each counter of which bits are in the clause: the numbers that it speaks of."""
        bits: dict[Formula, dict[int, bool]] = {}
        for literal in clause:
            if literal & ~1 in self._counters and literal & ~1 not in self._formulas:
                formula, place = self._counters[literal & ~1]
                bits.setdefault(formula, {})[place] = bool(literal & 1)
        return {
            formula: [
                number
                for number in range(1 << _amount(formula).bit_length())
                if all(bool(number >> place & 1) is value for place, value in fixed.items())
            ]
            for formula, fixed in bits.items()
        }

    def _is_in_the_language(self, *formulas: Formula) -> bool:
        """Nameless gates have no name there, and `Initially` is no word of it."""
        nodes = [node for formula in formulas for node in tree.walk(formula)]
        names = {node.name for node in nodes if isinstance(node, Signal)}
        return names <= self._netlist.signals.keys() | self._bits and not any(
            isinstance(node, tree.Initially) for node in nodes
        )


def signal_of(netlist: Netlist, name: str) -> Signal:
    """The net as claims name it."""
    net = next(place for place, described in enumerate(netlist.nets) if described.name == name)
    return Signal(name=name, nets=(net,))


def _groups(apart: set[frozenset[Literal]]) -> list[tuple[Literal, ...]]:
    """Disjoint sets of three or more, any two of which are a pair; greedily, in the order of the literals."""
    left, groups = set(apart), []
    for literal in sorted({literal for pair in apart for literal in pair}):
        group = [literal]
        for other in sorted({other for pair in left if literal in pair for other in pair} - {literal}):
            if all(frozenset((other, member)) in left for member in group):
                group.append(other)
        if len(group) > 2:
            groups.append(tuple(group))
            left -= {frozenset(pair) for pair in combinations(group, 2)}
    return groups


def _not(formula: Formula) -> Formula:
    if isinstance(formula, Apply) and formula.operator is Operator.NOT:
        return formula.operands[0]
    return Apply(operator=Operator.NOT, operands=(formula,))


def _formula(high: Sequence[Formula], low: Sequence[Formula]) -> Formula:
    """At least one of the first is high or one of the second is low, in the way that reads best."""
    if not low:
        return high[0] if len(high) == 1 else Apply(operator=Operator.OR, operands=tuple(high))
    together = low[0] if len(low) == 1 else Apply(operator=Operator.AND, operands=tuple(low))
    if not high:
        return tree.Never(operand=together)
    some = high[0] if len(high) == 1 else Apply(operator=Operator.OR, operands=tuple(high))
    return tree.OnlyWhen(left=together, right=some)


def _never_at_once(conditions: Sequence[str]) -> str:
    if len(conditions) == 1:
        return f"never: {conditions[0]}"
    parts = [f"({one})" if " or " in one or " and " in one else one for one in conditions]
    return f"never at once: {listing(parts)}"


def _amount(formula: Formula) -> int:
    """The largest number that the formula's counter comes to."""
    bound = getattr(formula, "bound", None)
    return bound.amount if isinstance(bound, tree.Bound) and isinstance(bound.amount, int) else 0


def _counted(formula: Formula, numbers: Sequence[int], claim: Claim | None) -> str:
    """What it means for the formula's counter to be at one of these numbers."""
    amount = _amount(formula)
    counted = [number for number in numbers if 0 < number <= amount]
    told: list[str] = []
    if isinstance(formula, tree.WithinTheLast):
        what = worded_as_one(formula.operand)
        if counted:
            ago = sorted(amount - number for number in counted)
            told.append(f"{what} last held {_some_of(ago)} {'step' if ago == [1] else 'steps'} before")
        if 0 in numbers:
            told.append(f"{what} last held longer ago, or never")
        return " or ".join(told) or f"the counter of {what} is beyond {amount}"
    if isinstance(formula, tree.LeadsTo) and formula.bound is not None:
        goal = "the answer" if claim is not None and formula == claim.formula else worded_as_one(formula.right)
        if len(counted) == amount:
            told.append(f"{goal} is due")
        elif counted:
            told.append(f"{goal} is due within {_some_of(counted)} {_units(formula.bound, counted)}")
        if 0 in numbers:
            told.append(f"{goal} is not due")
        return " or ".join(told) or f"the count of {_units(formula.bound, numbers)} is beyond {amount}"
    return f"the counter of {worded_as_one(formula)} is at {_some_of(numbers)}"


def _units(bound: tree.Bound, numbers: Sequence[int]) -> str:
    unit = bound.unit.value.removesuffix("s") if list(numbers) == [1] else bound.unit.value
    return unit + (f" of {worded_as_one(bound.of)}" if bound.of is not None else "")


def _some_of(numbers: Sequence[int]) -> str:
    if len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"{numbers[0]} to {numbers[-1]}"
    return " or ".join(map(str, numbers))
