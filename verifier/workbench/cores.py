"""Sets of demands, one of which must go: a smallest or an irreducible one that already cannot be met.

The demands are literals of a session. That all of them together cannot be met is the caller's promise.

An irreducible set comes by leaving out one demand after another (Marques-Silva, "Minimal unsatisfiability: models,
algorithms and applications", 2010; from memory). A smallest one by hitting sets: what cannot be met must contain a
demand of every set whose removal makes the rest possible (Reiter, "A theory of diagnosis from first principles", 1987;
Ignatiev, Previti, Liffiton and Marques-Silva, "Smallest MUS extraction with minimal hitting set dualization", 2015;
both from memory).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from verifier.evidence.explanation import Smallness
from verifier.logic.session import Answer, NoAnswerError

MOST_ROUNDS = 300
MOST_BRANCHES = 5_000
"""Of the search for one smallest hitting set."""

Demands = tuple[int, ...]
"""Places in the list of demands."""
Possible = Callable[[Demands], Answer]
"""Whether the demands can be met together. Raises NoAnswerError at its deadline."""


@dataclass(frozen=True)
class Core:
    demands: Demands
    smallness: Smallness


def smallest_core(count: int, possible: Possible, deadline: float) -> Core:
    """Of demands `0 .. count - 1`, which cannot be met together, a set that cannot be met either.

    Where sizes are equal, later demands are kept rather than earlier ones.
    """
    kept, finished = irreducible(range(count), possible)
    if not finished:
        return Core(kept, Smallness.LOOSE)
    if len(kept) < 2:
        return Core(kept, Smallness.SMALLEST)
    smaller = _by_hitting_sets(count, kept, possible, deadline)
    return Core(kept, Smallness.IRREDUCIBLE) if smaller is None else Core(smaller, Smallness.SMALLEST)


def irreducible(demands: Sequence[int], possible: Possible) -> tuple[Demands, bool]:
    """A set of which none can be left out; False when the time ran out before that was known."""
    kept = tuple(demands)
    try:
        for demand in demands:
            fewer = tuple(other for other in kept if other != demand)
            if possible(fewer) is Answer.UNSATISFIABLE:
                kept = fewer
    except NoAnswerError:
        return kept, False
    return kept, True


def _by_hitting_sets(count: int, known: Demands, possible: Possible, deadline: float) -> Demands | None:
    """A smallest set; None when the rounds or the time ran out. `known` is one that does."""
    try:
        corrections = _needed_anyway(count, known, possible)
        for _ in range(MOST_ROUNDS):
            hitting = smallest_hitting_set(corrections, deadline)
            if hitting is None:
                return None
            if len(hitting) >= len(known):
                return known
            if possible(hitting) is Answer.UNSATISFIABLE:
                return hitting
            corrections.append(_correction(count, hitting, possible))
    except NoAnswerError:
        return None
    return None


def _needed_anyway(count: int, known: Demands, possible: Possible) -> list[frozenset[int]]:
    """Those without which all others can be met: they are in every set that cannot, so in the known one."""
    everything = range(count)
    return [
        frozenset({demand})
        for demand in known
        if possible(tuple(other for other in everything if other != demand)) is Answer.SATISFIABLE
    ]


def _correction(count: int, met: Demands, possible: Possible) -> frozenset[int]:
    """What is left out of as large a set with these demands as can be met."""
    grown = met
    left_out: set[int] = set()
    for demand in range(count):
        if demand in grown:
            continue
        if possible((*grown, demand)) is Answer.SATISFIABLE:
            grown = (*grown, demand)
        else:
            left_out.add(demand)
    return frozenset(left_out)


def smallest_hitting_set(sets: Sequence[frozenset[int]], deadline: float) -> Demands | None:
    """As few as possible that have a member in each of the sets; None when there is too much to look at."""
    best: tuple[int, ...] | None = None
    branches = 0
    pending: list[tuple[int, ...]] = [()]
    while pending:
        chosen = pending.pop()
        branches += 1
        if branches > MOST_BRANCHES or time.monotonic() > deadline:
            return None
        missed = [one for one in sets if one.isdisjoint(chosen)]
        if best is not None and len(chosen) + _apart(missed) >= len(best):
            continue
        if not missed:
            best = chosen
            continue
        # The member tried first is the last one pushed: the latest demand.
        pending.extend((*chosen, member) for member in sorted(sorted(missed, key=len)[0]))
    return None if best is None else tuple(sorted(best))


def _apart(sets: Sequence[frozenset[int]]) -> int:
    """How many of the sets have nothing in common with each other, at least: so many members are needed."""
    taken: set[int] = set()
    number = 0
    for one in sorted(sets, key=len):
        if taken.isdisjoint(one):
            taken |= one
            number += 1
    return number
