"""Covers: exactly the function, nothing too much in them; and how many clauses an invariant has."""

from __future__ import annotations

import random

import pytest

from verifier.engines.cover import Cube, TruthTable, irredundant_cover


def table_of(cube: Cube, count: int) -> TruthTable:
    """Row by row: 1 where every named variable has the value."""
    rows = (row for row in range(2**count) if all(bool(row >> place & 1) == value for place, value in cube))
    return sum(1 << row for row in rows)


def check(function: TruthTable, count: int) -> None:
    cubes = irredundant_cover(function, count)
    tables = [table_of(cube, count) for cube in cubes]
    before, union = [0], 0
    for table in tables:
        union |= table
        before.append(union)
    assert union == function
    after = 0
    for index in range(len(tables) - 1, -1, -1):
        assert before[index] | after != function, f"cube {cubes[index]} could be left out"
        after |= tables[index]
    for cube in cubes:
        places = [place for place, _ in cube]
        assert len(set(places)) == len(places)
        assert all(0 <= place < count for place in places)


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_every_function_of_few_variables_is_covered_exactly_and_irredundantly(count: int) -> None:
    for function in range(2 ** (2**count)):
        check(function, count)


@pytest.mark.parametrize("count", range(4, 11))
def test_random_functions_of_more_variables_are_covered_exactly_and_irredundantly(count: int) -> None:
    source = random.Random(count)
    for density in (0.02, 0.3, 0.5, 0.97):
        rows = (row for row in range(2**count) if source.random() < density)
        check(sum(1 << row for row in rows), count)


@pytest.mark.parametrize("count", range(4, 11))
def test_a_random_union_of_large_cubes_is_covered_exactly_and_irredundantly(count: int) -> None:
    source = random.Random(count)
    union = 0
    for _ in range(5):
        places = source.sample(range(count), min(count, 3))
        union |= table_of(tuple((place, source.random() < 0.5) for place in places), count)
    check(union, count)


def test_a_single_cube_and_a_single_hole_take_as_few_cubes_as_there_can_be() -> None:
    cube = ((1, True), (4, False), (7, True))
    assert [set(found) for found in irredundant_cover(table_of(cube, 9), 9)] == [set(cube)]
    assert len(irredundant_cover(2 ** (2**9) - 1 - 1, 9)) == 9  # all rows but one: some variable differs


def test_the_constants_take_no_cube_and_the_one_without_variables() -> None:
    assert irredundant_cover(0, 6) == []
    assert irredundant_cover(2 ** (2**6) - 1, 6) == [()]
