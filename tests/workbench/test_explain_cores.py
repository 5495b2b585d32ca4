"""Smallest sets, against trying all of them."""

from __future__ import annotations

from itertools import combinations
from random import Random

import pytest

from verifier.evidence.explanation import Smallness
from verifier.logic.session import Answer, NoAnswerError
from verifier.workbench.cores import Demands, irreducible, smallest_core, smallest_hitting_set

FAR_OFF = float("inf")


def random_conflicts(random: Random, count: int) -> list[frozenset[int]]:
    """Sets of demands that cannot be met together; whatever contains one of them cannot either."""
    return [frozenset(random.sample(range(count), random.randrange(1, 5))) for _ in range(random.randrange(1, 5))]


def asked(conflicts: list[frozenset[int]], demands: Demands) -> Answer:
    clash = any(conflict <= set(demands) for conflict in conflicts)
    return Answer.UNSATISFIABLE if clash else Answer.SATISFIABLE


def test_the_core_is_as_small_as_the_smallest_conflict() -> None:
    for seed in range(200):
        random = Random(seed)
        conflicts = random_conflicts(random, 9)
        core = smallest_core(9, lambda demands, c=conflicts: asked(c, demands), FAR_OFF)  # type: ignore[misc]
        assert core.smallness is Smallness.SMALLEST
        assert asked(conflicts, core.demands) is Answer.UNSATISFIABLE
        assert len(core.demands) == min(map(len, conflicts)), seed


def test_of_an_irreducible_set_nothing_can_be_left_out() -> None:
    for seed in range(100):
        conflicts = random_conflicts(Random(seed), 9)
        kept, finished = irreducible(range(9), lambda demands, c=conflicts: asked(c, demands))  # type: ignore[misc]
        assert finished
        assert asked(conflicts, kept) is Answer.UNSATISFIABLE
        for left_out in kept:
            assert asked(conflicts, tuple(d for d in kept if d != left_out)) is Answer.SATISFIABLE


def test_no_demand_is_needed_where_nothing_can_be_met_anyway() -> None:
    core = smallest_core(4, lambda demands: Answer.UNSATISFIABLE, FAR_OFF)
    assert core.demands == ()
    assert core.smallness is Smallness.SMALLEST


def test_what_was_found_when_the_time_runs_out_still_suffices_and_is_called_loose() -> None:
    asks = 0

    def possible(demands: Demands) -> Answer:
        nonlocal asks
        asks += 1
        if asks > 3:
            raise NoAnswerError("the time ran out")
        return asked([frozenset({4, 5})], demands)

    core = smallest_core(6, possible, FAR_OFF)
    assert core.smallness is Smallness.LOOSE
    assert core.demands == (3, 4, 5)


def test_without_time_for_hitting_sets_the_core_is_called_irreducible() -> None:
    conflicts = [frozenset({0, 1}), frozenset({3, 4, 5})]
    # Neither conflict is needed anyway, as the other one remains, so only hitting sets could tell.
    core = smallest_core(6, lambda demands: asked(conflicts, demands), 0.0)
    assert core.smallness is Smallness.IRREDUCIBLE
    assert core.demands == (3, 4, 5)


def test_hitting_sets_are_as_small_as_the_smallest_that_hits_all() -> None:
    for seed in range(200):
        random = Random(seed)
        sets = [frozenset(random.sample(range(8), random.randrange(1, 4))) for _ in range(random.randrange(0, 7))]
        found = smallest_hitting_set(sets, FAR_OFF)
        assert found is not None
        assert all(one & set(found) for one in sets)
        assert len(found) == _fewest(sets), seed


def _fewest(sets: list[frozenset[int]]) -> int:
    for size in range(9):
        for chosen in combinations(range(8), size):
            if all(one & set(chosen) for one in sets):
                return size
    pytest.fail("all members hit all sets")
