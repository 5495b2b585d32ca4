"""The textbook meaning of a formula on an endless run that ends in a loop (grammar/README.md, section 20).

Direct and slow on purpose, as in `meaning.py`, whose reading of past words it takes over. The loop is unrolled so often
that every part of the formula repeats itself from the last round on; after that the past words read a finite list, and
the future words quantify over the instants that are still to come. It is the second opinion on what engines find about
endless runs and shares nothing with the automata they use. It judges no circuit, and no claim of the timed view.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import chain

from verifier.claims.formula import (
    FUTURE_WORDS,
    AgainAndAgain,
    Always,
    AtTheLast,
    Before,
    Bound,
    Eventually,
    Formula,
    LeadsTo,
    Next,
    Once,
    Since,
    Step,
    Unit,
    Until,
    WithinTheLast,
)
from verifier.claims.meaning import (
    Values,
    ValuesOf,
    amount_of,
    children_first,
    evaluate_bottom_up,
    values_on_finite_run,
)
from verifier.claims.run import Run
from verifier.errors import InternalDisagreement


@dataclass(frozen=True)
class EndlessValues:
    """The value at each instant of an endless run; those from `loop_from` on are repeated for ever."""

    values: Values
    """At least as many as the run has instants: a past word may differ from round to round before it repeats."""
    loop_from: int

    def at(self, instant: int) -> int:
        """The value at any instant, however late."""
        beyond = instant - self.loop_from
        round_length = len(self.values) - self.loop_from
        return self.values[instant if beyond < 0 else self.loop_from + beyond % round_length]


def evaluate_lasso(formula: Formula, run: Run) -> EndlessValues:
    """The value of the formula at every instant of an endless run.

    A pattern is 0 at the instants that break it; for `leads to`, with or without a bound, these are the instants whose
    trigger is not answered (in time), not the deadlines.

    Raises:
        ValueError: the run is finite, a word needs nanoseconds, or a pattern does not stand outermost.
        InternalDisagreement: some part of the formula does not repeat itself when it must.
    """
    if run.loop_from is None:
        raise ValueError("a finite run is not endless")
    round_length = len(run) - run.loop_from
    # One round more than needed, to see that the last two are the same.
    unrolled = unroll(run, _rounds_before_repetition(formula, round_length) + 2)
    course = _Course(len(unrolled), len(unrolled) - round_length)

    def values(node: Formula, of: ValuesOf) -> Values:
        found = _values(node, of, unrolled, course)
        _check_repetition(node, found, round_length)
        return found

    return EndlessValues(evaluate_bottom_up(formula, values), course.loop_from)


def holds_on(formula: Formula, run: Run) -> bool:
    """The endless run satisfies a `must` or `given` of this formula."""
    return first_failure(formula, run) is None


def first_failure(formula: Formula, run: Run) -> int | None:
    """The first instant at which the endless run fails a `must` or `given` of this formula; None if it does not.

    A formula with a future word outermost is meant at instant 0, any other at every instant. An instant past the end of
    the run is one of a later round.
    """
    values = evaluate_lasso(formula, run).values
    judged = values[:1] if isinstance(formula, FUTURE_WORDS) else values
    return next((instant for instant, value in enumerate(judged) if not value), None)


def shown_on(formula: Formula, run: Run) -> bool:
    """A `can` of this formula is shown: it holds at some instant. An outermost `eventually` changes nothing."""
    return any(evaluate_lasso(formula, run).values)


def unroll(run: Run, rounds: int) -> Run:
    """The same endless run with its loop written down this often (at least once); the last round is the loop."""
    if run.loop_from is None or rounds < 1:
        raise ValueError(f"no {rounds} rounds of a run with the loop from {run.loop_from}")
    start = run.loop_from
    return Run(
        run.instants[:start] + run.instants[start:] * rounds,
        run.events[:start] + run.events[start:] * rounds,
        loop_from=len(run) + (rounds - 2) * (len(run) - start) if rounds > 1 else start,
    )


@dataclass(frozen=True)
class _Course:
    """The order in which the positions of an unrolled run come: 0, 1, ..., length - 1, loop_from, ..., for ever."""

    length: int
    loop_from: int

    def after(self, position: int) -> int:
        return position + 1 if position + 1 < self.length else self.loop_from

    def onward(self, position: int) -> Iterator[int]:
        """Every position from this one on, in the order in which it first comes, this one included."""
        return chain(range(position, self.length), range(self.loop_from, position))


def _rounds_before_repetition(formula: Formula, round_length: int) -> int:
    """From this round on (the first is round 0) every part of the formula has the same values in every round.

    By induction, for a node whose children repeat from round k on:

    - `before` and the step words look one instant back: from round k + 1 on.
    - `once`, `since` and `at the last` carry one value from instant to instant. A round of the children either passes
      that value through or replaces it by one that does not depend on it: no word of this language counts rounds or
      alternates. Either way it is the same at the end of round k as at the end of every later one: k + 1.
    - `within the last N steps` looks N instants back. It is here that two equal rounds do not yet mean that all later
      ones are equal (an instant before the loop may leave the window many rounds later), so it is the count of rounds
      that decides, not a comparison.
    - A future word or a `leads to` at instant i hangs on the children from i on, any other word on them at i: k.
    """
    known: dict[int, int] = {}
    for node in children_first(formula):
        children = max((known[id(child)] for child in node.children), default=0)
        known[id(node)] = children + _rounds_back(node, round_length)
    return known[id(formula)]


def _rounds_back(node: Formula, round_length: int) -> int:
    if isinstance(node, WithinTheLast):
        return -(-amount_of(node.bound) // round_length)
    return int(isinstance(node, Before | Step | Once | Since | AtTheLast))


def _check_repetition(node: Formula, values: Values, round_length: int) -> None:
    last, last_but_one = values[-round_length:], values[-2 * round_length : -round_length]
    if last != last_but_one:
        raise InternalDisagreement(f"{type(node).__name__} does not repeat itself on a loop: {last_but_one}, {last}")


def _values(node: Formula, of: ValuesOf, unrolled: Run, course: _Course) -> Values:
    match node:
        case Next():
            operand = of(node.operand)
            return _everywhere(course, lambda i: operand[course.after(i)])
        case Always():
            held = of(node.operand)
            return _everywhere(course, lambda i: all(held[j] for j in course.onward(i)))
        case Eventually():
            held = of(node.operand)
            return _everywhere(course, lambda i: any(held[j] for j in course.onward(i)))
        case AgainAndAgain():
            # At every later instant, F then or later: what comes once in the loop comes again.
            held = of(node.operand)
            return _everywhere(course, lambda i: any(held[course.loop_from :]))
        case Until():
            left, right = of(node.left), of(node.right)
            return _everywhere(course, lambda i: _until(left, right, course.onward(i)))
        case LeadsTo():
            return _leads_to(node, of, course)
        case _:
            return values_on_finite_run(node, of, unrolled)


def _everywhere(course: _Course, value: Callable[[int], int]) -> Values:
    return tuple(int(value(i)) for i in range(course.length))


def _until(left: Values, right: Values, onward: Iterator[int]) -> bool:
    """`right` at some position and `left` at all before it; the first such position decides for all of them."""
    for j in onward:
        if right[j]:
            return True
        if not left[j]:
            return False
    return False


def _leads_to(node: LeadsTo, of: ValuesOf, course: _Course) -> Values:
    trigger, goal = of(node.left), of(node.right)
    if node.bound is None:
        return _everywhere(course, lambda i: not trigger[i] or any(goal[j] for j in course.onward(i)))
    amount, counts = amount_of(node.bound), _counting(node.bound, of)
    return _everywhere(course, lambda i: not trigger[i] or _comes_in_time(i, goal, amount, counts, course))


def _counting(bound: Bound, of: ValuesOf) -> Callable[[int, int], bool]:
    """Whether the step from one position to the next is one of those the bound counts."""
    if bound.unit is Unit.STEPS:
        return lambda old, new: True
    if bound.of is None or bound.unit not in (Unit.RISES, Unit.FALLS):
        raise ValueError(f"a run of the settled view does not count {bound.unit.value}")
    counted, wanted = of(bound.of), (0, 1) if bound.unit is Unit.RISES else (1, 0)
    return lambda old, new: (counted[old], counted[new]) == wanted


def _comes_in_time(i: int, goal: Values, amount: int, counts: Callable[[int, int], bool], course: _Course) -> bool:
    """The goal comes no later than the deadline, or the deadline never comes."""
    met, position = 0, i
    # So many steps go once through everything and then `amount` times round: no counted step by then, none ever.
    for _ in range(course.length + amount * (course.length - course.loop_from) + 1):
        if goal[position]:
            return True
        if met == amount:
            return False
        following = course.after(position)
        met += counts(position, following)
        position = following
    return True
