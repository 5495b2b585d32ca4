"""Claims about the endless future, as monitors that guess: a symbolic tableau with past.

E. M. Clarke, O. Grumberg, K. Hamaguchi, "Another look at LTL model checking", Formal Methods in System Design 10,
1997. Every future word gets a free bit, its promise for the next instant. The promise is remembered and must come
true; and what is promised for some time must not be put off for ever, which is said by a fairness bit. On an endless
run that keeps all promises and is fair, the value of every word at every instant is its meaning (`grammar/README.md`,
section 20). So past and future words may be mixed freely.
"""

from __future__ import annotations

from typing import Protocol

from verifier.claims.formula import (
    FUTURE_WORDS,
    AgainAndAgain,
    Always,
    Eventually,
    Formula,
    LeadsTo,
    Next,
    Until,
    walk,
)
from verifier.claims.monitors import Monitor
from verifier.claims.words import Bit, BitAlgebra


class EndlessAlgebra(BitAlgebra, Protocol):
    """What a tableau needs besides."""

    def guess(self, name: str) -> Bit:
        """A new bit that is free at every instant."""

    def require(self, bit: Bit) -> None:
        """Only runs on which the bit is 1 at every instant count."""

    def again_and_again(self, bit: Bit) -> None:
        """Only endless runs on which the bit is 1 at infinitely many instants count."""


class Tableau(Monitor):
    """A monitor that knows the future words too."""

    def __init__(self, algebra: EndlessAlgebra) -> None:
        super().__init__(algebra)
        self._endless = algebra

    def _memory_word(self, node: Formula) -> Bit:
        algebra = self._endless
        match node:
            case Next():
                promise, kept = self._promise()
                self._keep(kept, self._bit(node.operand))
                return promise
            case Eventually():
                return self._until(algebra.high, self._bit(node.operand))
            case Until():
                return self._until(self._bit(node.left), self._bit(node.right))
            case Always():
                return algebra.negation(self._until(algebra.high, algebra.negation(self._bit(node.operand))))
            case AgainAndAgain():
                eventually = self._until(algebra.high, self._bit(node.operand))
                return algebra.negation(self._until(algebra.high, algebra.negation(eventually)))
            case LeadsTo(bound=None):
                fulfilled = self._until(algebra.high, self._bit(node.right))
                return algebra.disjunction(algebra.negation(self._bit(node.left)), fulfilled)
            case _:
                return super()._memory_word(node)

    def _until(self, left: Bit, right: Bit) -> Bit:
        """`right`, or `left` now and the same again at the next instant; not put off for ever."""
        algebra = self._endless
        promise, kept = self._promise()
        value = algebra.disjunction(right, algebra.conjunction(left, promise))
        self._keep(kept, value)
        algebra.again_and_again(algebra.disjunction(algebra.negation(value), right))
        return value

    def _promise(self) -> tuple[Bit, Bit]:
        """What is guessed of the next instant, and what was guessed of this one."""
        promise, kept = self._endless.guess("promise"), self._endless.memory("promise")
        self._endless.remember(kept, promise)
        return promise, kept

    def _keep(self, kept: Bit, value: Bit) -> None:
        """The promise made at the instant before comes true; none was made before the first."""
        algebra = self._endless
        broken = algebra.exclusive_or(kept, value)
        algebra.require(algebra.disjunction(algebra.first, algebra.negation(broken)))


def is_about_the_future(formula: Formula) -> bool:
    """True when an endless run is needed to judge it; a bounded `leads to` of past formulas is judged at its
    deadline."""
    return any(
        isinstance(node, FUTURE_WORDS) or (isinstance(node, LeadsTo) and node.bound is None) for node in walk(formula)
    )
