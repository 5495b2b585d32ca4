"""The sparse cover is exact and irredundant, and the same as that of the truth table where both can be had."""

import time
from random import Random

import pytest

from verifier.engines.cover import CoverTooLong, irredundant_cover
from verifier.engines.sparse_cover import cover_of_others


def contains(cube, state):
    return all(bool(state >> place & 1) == value for place, value in cube)


def as_rows(states):
    return [(state, state) for state in states]


@pytest.mark.parametrize("seed", range(150))
def test_the_cubes_are_those_of_the_truth_table(seed):
    random = Random(seed)
    count = random.randint(1, 9)
    states = {random.randrange(1 << count) for _ in range(random.randint(0, 1 << count))}
    table = sum(1 << state for state in range(1 << count) if state not in states)
    assert sorted(cover_of_others(as_rows(states), count)) == sorted(irredundant_cover(table, count))


@pytest.mark.parametrize("seed", range(30))
def test_rows_that_follow_one_another_are_the_same_as_each_by_itself(seed):
    random = Random(seed)
    states = {random.randrange(256) for _ in range(random.randint(0, 200))}
    rows, following = [], sorted(states)
    while following:
        first = last = following.pop(0)
        while following and following[0] == last + 1:
            last = following.pop(0)
        rows.append((first, last))
    assert cover_of_others(rows, 8) == cover_of_others(as_rows(states), 8)


def test_few_states_of_many_bits_are_covered_exactly():
    random = Random(7)
    states = {1 << place for place in range(100)}
    cubes = cover_of_others(as_rows(states), 100)
    for state in states:
        assert not any(contains(cube, state) for cube in cubes)
    for _ in range(500):
        other = random.getrandbits(100)
        assert any(contains(cube, other) for cube in cubes) == (other not in states)
        near = (1 << random.randrange(100)) ^ (1 << random.randrange(100))
        assert any(contains(cube, near) for cube in cubes) == (near not in states)


def test_a_deadline_that_has_passed_ends_it():
    random = Random(3)
    states = {random.getrandbits(40) for _ in range(2000)}
    with pytest.raises(CoverTooLong):
        cover_of_others(as_rows(states), 40, time.monotonic() - 1)
