"""Words of the future, told instant by instant: the truth of each is guessed, and held against what comes.

A guess at one instant leaves few guesses for the next; what no single step can find out (a promise that is put off for
ever) is left to whoever looks at whole loops: see `broken_on_a_loop`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from oracle.formulas import Memory, Worker
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
from verifier.claims.run import Instant

Values = tuple[bool, ...]
"""The operands of a word of the future, at one instant."""
EITHER = frozenset({False, True})


class GuessingWorker(Worker):
    """A worker that takes the truth of every word of the future from a guess, and notes its operands."""

    def __init__(self, instant: Instant, memory: Memory | None, guesses: Mapping[Formula, bool]) -> None:
        super().__init__(instant, memory)
        self.guesses = guesses
        self.operands: dict[Formula, Values] = {}

    def _value(self, node: Formula) -> int:
        if isinstance(node, FUTURE_WORDS):
            self.operands[node] = tuple(bool(self.value(child)) for child in node.children)
            return int(self.guesses[node])
        return super()._value(node)

    def _in_time(self, formula: LeadsTo) -> tuple[bool, bool]:
        """An obligation that was missed is told once, and forgotten: an endless run would count for ever."""
        holds, trigger = super()._in_time(formula)
        ages = self.new[-1]
        if formula.bound is None or not isinstance(ages, frozenset):
            raise TypeError(f"the memory of obligations is {ages!r}")
        self.new[-1] = frozenset(
            age for age in ages if isinstance(formula.bound.amount, int) and age < formula.bound.amount
        )
        return holds, trigger


def future_words(formulas: Iterable[Formula]) -> tuple[Formula, ...]:
    """Each different one once."""
    return tuple(
        dict.fromkeys(node for formula in formulas for node in walk(formula) if isinstance(node, FUTURE_WORDS))
    )


def needs_endless_run(formula: Formula) -> bool:
    """grammar/README.md, 22."""
    return any(
        isinstance(node, FUTURE_WORDS) or (isinstance(node, LeadsTo) and node.bound is None) for node in walk(formula)
    )


def next_guesses(word: Formula, guess: bool, operands: Values) -> frozenset[bool]:
    """What the guess may be an instant later; empty when the present one contradicts the present."""
    if isinstance(word, Next):
        return EITHER
    if isinstance(word, AgainAndAgain):
        return frozenset({guess})
    if isinstance(word, Eventually):
        decided = operands[0] or None
    elif isinstance(word, Always):
        decided = None if operands[0] else False
    elif isinstance(word, Until):
        left, right = operands
        decided = True if right else None if left else False
    else:
        raise TypeError(f"no word of the future: {type(word).__name__}")
    if decided is None:
        return frozenset({guess})
    return EITHER if guess == decided else frozenset()


def broken_on_a_loop(word: Formula, seen: Iterable[tuple[bool, Values]]) -> bool:
    """Whether a loop that meets exactly these (guess, operands) again and again is none that the guesses tell of.

    Every step of the loop is known to agree with `next_guesses`. What may still be wrong: an end that is awaited and
    never comes.
    """
    met = set(seen)
    if isinstance(word, Eventually):
        return any(guess for guess, _ in met) and not any(operands[0] for _, operands in met)
    if isinstance(word, Always):
        return any(not guess for guess, _ in met) and all(operands[0] for _, operands in met)
    if isinstance(word, Until):
        return any(guess for guess, _ in met) and not any(operands[1] for _, operands in met)
    if isinstance(word, AgainAndAgain):
        return {guess for guess, _ in met} != {any(operands[0] for _, operands in met)}
    return False
