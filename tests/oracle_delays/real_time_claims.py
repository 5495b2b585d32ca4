"""What a claim says of a run in real time, word by word from the tables of grammar/README.md, 20 and 33.

Every word looks over the whole run; nothing is remembered between instants, so it shares no idea with `claim_memory`.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from oracle.formulas import apply, compare

from oracle_delays.rational_runs import Moment
from verifier.claims.formula import (
    Apply,
    AtTheLast,
    Before,
    Bound,
    Compare,
    Formula,
    KeepsTiming,
    LeadsTo,
    Literal,
    Never,
    NeverGlitches,
    Once,
    OnlyWhen,
    Operator,
    Pulses,
    PulsesLast,
    Signal,
    Step,
    StepWord,
    Tightest,
    Unit,
    WithinTheLast,
)


class Reading:
    """One run, and the values of formulas on it."""

    def __init__(self, moments: list[Moment]) -> None:
        self.moments = moments
        self._known: dict[tuple[int, int], int] = {}
        self._kept: list[Formula] = []

    def value(self, node: Formula, i: int) -> int:
        key = (id(node), i)
        if key not in self._known:
            self._kept.append(node)
            self._known[key] = self._value(node, i)
        return self._known[key]

    def _value(self, node: Formula, i: int) -> int:
        match node:
            case Literal():
                return node.value
            case Signal():
                return sum(self.moments[i].instant[net] << place for place, net in enumerate(node.nets))
            case Apply():
                return apply(node.operator, [self.value(operand, i) for operand in node.operands], node.width)
            case Compare():
                return int(compare(node.comparison, self.value(node.left, i), self.value(node.right, i)))
            case Before():
                return self.value(node.operand, max(i - 1, 0))
            case Step():
                now, old = self.value(node.operand, i), self.value(node.operand, max(i - 1, 0))
                words = {
                    StepWord.CHANGES: now != old,
                    StepWord.STEADY: now == old,
                    StepWord.RISES: now > old,
                    StepWord.FALLS: now < old,
                }
                return int(words[node.word])
            case Once():
                return int(any(self.value(node.operand, j) for j in range(i + 1)))
            case AtTheLast():
                held = [j for j in range(i + 1) if self.value(node.trigger, j)]
                return self.value(node.operand, held[-1]) if held else 0
            case WithinTheLast(bound=Bound(amount=int(amount), unit=Unit.NANOSECONDS)):
                last = self.waited(node.operand, i)
                return int(last is not None and last <= amount)
        raise TypeError(f"no meaning for {node} in real time")

    def waited(self, formula: Formula, i: int) -> Fraction | None:
        """How long ago the formula held last; None: never."""
        held = [self.moments[i].at - self.moments[j].at for j in range(i + 1) if self.value(formula, j)]
        return min(held, default=None)

    # Claims

    def breaks(self, formula: Formula) -> bool:
        """Whether this run is against the claim, which has no `?`."""
        match formula:
            case NeverGlitches():
                return self._glitches(formula)
            case PulsesLast(at_least=Bound(amount=int(amount))):
                return any(width < amount for width in self.widths(formula))
            case KeepsTiming():
                return any((formula.rule, formula.storage) in moment.breaches for moment in self.moments)
            case LeadsTo(bound=Bound(amount=int(amount), unit=Unit.NANOSECONDS)):
                return any(waited > amount for waited in self.delays(formula))
            case Never():
                return self._somewhere(formula.operand)
            case OnlyWhen():
                places = range(len(self.moments))
                return any(self.value(formula.left, i) and not self.value(formula.right, i) for i in places)
            case Apply(operator=Operator.IMPLIES):
                return any(not self.value(formula, i) for i in range(len(self.moments)))
        raise TypeError(f"no meaning for {formula} in real time")

    def shows(self, formula: Formula) -> bool:
        return self._somewhere(formula)

    def _somewhere(self, formula: Formula) -> bool:
        return any(self.value(formula, i) for i in range(len(self.moments)))

    def _glitches(self, formula: NeverGlitches) -> bool:
        for net in formula.signal.nets:
            changes = 0
            for old, new in zip(self.moments, self.moments[1:], strict=False):
                changed = old.instant[net] != new.instant[net]
                changes = 0 if new.inputs_moved else changes + int(changed)
                if changes > 1:
                    return True
        return False

    def widths(self, formula: PulsesLast) -> Iterator[Fraction]:
        """Of every pulse that begins and ends in the run and that the claim speaks of."""
        for net in formula.signal.nets:
            last: Fraction | None = None
            for old, new in zip(self.moments, self.moments[1:], strict=False):
                if old.instant[net] == new.instant[net]:
                    continue
                level = Pulses.HIGH if old.instant[net] else Pulses.LOW
                if last is not None and formula.pulses in (Pulses.BOTH, level):
                    yield new.at - last
                last = new.at

    def delays(self, formula: LeadsTo) -> Iterator[Fraction]:
        """How long each trigger waited for what it leads to, or for the end of the run."""
        ends = [i for i in range(len(self.moments)) if self.value(formula.right, i)]
        for i in range(len(self.moments)):
            if self.value(formula.left, i):
                end = next((j for j in ends if j >= i), len(self.moments) - 1)
                yield self.moments[end].at - self.moments[i].at

    def is_beaten(self, formula: Formula, number: int) -> bool:
        """Whether this run is against the claim with this number in place of its `?`."""
        match formula:
            case PulsesLast(at_least=Bound(amount=Tightest())):
                return any(width < number for width in self.widths(formula))
            case LeadsTo(bound=Bound(amount=Tightest(), unit=Unit.NANOSECONDS)):
                return any(waited > number for waited in self.delays(formula))
            case OnlyWhen(right=WithinTheLast(bound=Bound(amount=Tightest(), unit=Unit.NANOSECONDS)) as right):
                for i in range(len(self.moments)):
                    if self.value(formula.left, i):
                        waited = self.waited(right.operand, i)
                        if waited is None or waited > number:
                            return True
                return False
        raise TypeError(f"no number is asked for in {formula}")
