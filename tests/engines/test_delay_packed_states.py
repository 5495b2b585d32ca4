"""Packing states, the set of them, and the first ones."""

from __future__ import annotations

import time
from itertools import pairwise, product
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from engines.random_delay_systems import random_delay_system
from verifier.engines import first_states, packed_states
from verifier.engines.column_logic import ColumnFunction, transcribed
from verifier.engines.first_states import TooManyFirstStates, solutions
from verifier.engines.packed_states import StateSet
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.logic.delay_system import Bit, Delay, DelayedElement, DelaySystem, Timer
from verifier.logic.reached_states import NOT_EXCITED, ReachedStates, StateColumns, layout_of


def as_words(rows: list[tuple[int, ...]], width: int) -> list[NDArray[np.uint64]]:
    return [np.array([row[place] for row in rows], np.uint64) for place in range(width)]


@pytest.mark.parametrize("width", [1, 2, 3])
@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_a_set_of_states_is_a_set(width: int, data: st.DataObject) -> None:
    small = st.integers(0, 20) | st.integers(0, (1 << 63) - 1)
    batches = data.draw(st.lists(st.lists(st.tuples(*[small] * width), max_size=40), max_size=8))
    states, expected = StateSet(width), set()
    for batch in batches:
        before = len(expected)
        expected |= set(batch)
        assert states.add(as_words(batch, width)) == len(expected) - before
        assert states.count == len(expected)
        states.check_invariants()
    assert set(zip(*(word.tolist() for word in states.words()), strict=True)) == expected


@pytest.mark.parametrize("width", [1, 2])
def test_a_set_grows_over_many_sizes(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(packed_states, "FIRST_CAPACITY", 1)
    monkeypatch.setattr(packed_states, "PART_OF_TABLE", 8)
    random = np.random.default_rng(7)
    states, expected = StateSet(width), set()
    for _ in range(40):
        batch = [random.integers(0, 60, 100, dtype=np.uint64) << np.uint64(40) for _ in range(width)]
        states.add(batch)
        expected |= set(zip(*(word.tolist() for word in batch), strict=True))
        states.check_invariants()
    assert set(zip(*(word.tolist() for word in states.words()), strict=True)) == expected


def test_states_whose_hashes_are_the_same_are_told_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(packed_states, "_chained", lambda words: (words[0] & np.uint64(3)) + np.uint64(1))
    random = np.random.default_rng(3)
    states, expected = StateSet(2), set()
    for _ in range(10):
        batch = [random.integers(0, 12, 50, dtype=np.uint64) for _ in range(2)]
        states.add(batch)
        expected |= set(zip(*(word.tolist() for word in batch), strict=True))
        states.check_invariants()
        assert set(zip(*(word.tolist() for word in states.words()), strict=True)) == expected


def test_the_order_of_states_stays_when_more_come() -> None:
    states = StateSet(1)
    states.add([np.arange(5000, dtype=np.uint64)])
    before = states.words()[0].copy()
    states.add([np.arange(50_000, dtype=np.uint64)])
    assert np.array_equal(states.words(0, 5000)[0], before)


@pytest.mark.parametrize("spoil", ["slot", "state", "owner"])
def test_a_spoilt_set_is_noticed(spoil: str) -> None:
    states = StateSet(2)
    states.add([np.arange(100, dtype=np.uint64), np.arange(100, dtype=np.uint64)])
    states.check_invariants()
    if spoil == "slot":
        states._slots[np.flatnonzero(states._slots)[3]] = 0
    elif spoil == "state":
        states._words[0][5], states._words[1][5] = 6, 6
    else:
        states._owners[np.flatnonzero(states._slots)[3]] += 1
    with pytest.raises(ValueError, match=r"state|slot"):
        states.check_invariants()


def system_of(random: Random) -> DelaySystem:
    """Bits, delays and timers of all sizes; it does nothing."""
    graph = BitGraph()

    def bits(count: int) -> list[Bit]:
        return [Bit("bell", graph.variable("before"), graph.variable("now")) for _ in range(count)]

    return DelaySystem(
        graph=graph,
        timed=random.random() < 0.8,
        sources=tuple(bits(random.randint(0, 9))),
        elements=tuple(
            DelayedElement(
                bit=bit, target=FALSE, rise=Delay(0, random.choice((1, 5, 254, 255, 70_000))), fall=Delay(0, 3)
            )
            for bit in bits(random.randint(1, 40))
        ),
        followers=(),
        timers=tuple(
            Timer(name="hand", most=random.choice((0, 1, 100, 255, 256, 1 << 20)), reset=FALSE, start=0, readings=())
            for _ in range(random.randint(0, 5))
        ),
        moves=(),
        first=TRUE,
        bad_at_first=FALSE,
        bad=FALSE,
    )


@pytest.mark.parametrize("seed", range(60))
def test_what_is_packed_comes_out_again(seed: int) -> None:
    random = Random(seed)
    system, rows = system_of(random), 17
    layout = layout_of(system)

    def numbers(least: int, most: int) -> NDArray[np.int64]:
        return np.array([random.choice((least, most, random.randint(least, most))) for _ in range(rows)])

    columns = StateColumns(
        values=tuple(numbers(0, 1).astype(np.bool_) for _ in layout.values),
        ages=tuple(numbers(NOT_EXCITED, max(e.rise.high, e.fall.high) if system.timed else 0) for e in system.elements),
        counts=tuple(numbers(0, timer.most) for timer in system.timers),
    )
    empty = tuple(np.zeros(0, np.uint64) for _ in range(layout.word_count))
    words = ReachedStates(layout, empty).packed(columns)
    again = ReachedStates(layout, words).columns(0, rows)
    for kind in ("values", "ages", "counts"):
        for before, after in zip(getattr(columns, kind), getattr(again, kind), strict=True):
            assert np.array_equal(before, after)
    if layout.word_count == 1:
        assert int(words[0].max()) < 1 << 63
    needed = len(layout.values) + sum(field.width for field in (*layout.ages, *layout.counts))
    assert layout.word_count == max(1, -(-needed // 64), 2 * (needed == 64))


@pytest.mark.parametrize("seed", range(80))
def test_columns_are_what_the_graph_says_row_by_row(seed: int) -> None:
    random = Random(seed)
    system = random_delay_system(random)
    graph = system.graph
    roots = [random.randrange(2 * len(graph)) for _ in range(6)] + [TRUE, FALSE]
    target = BitGraph()
    variables = [2 * node for node in graph.cone(roots) if node and graph.is_variable(2 * node)]
    images = {variable: target.variable("image") for variable in variables}
    copied = transcribed(graph, roots, images, target)
    function = ColumnFunction(target, copied)
    rows = list(product((False, True), repeat=min(len(variables), 8)))
    table = {variable: [row[place % 8] for row in rows] for place, variable in enumerate(variables)}
    column_of = {images[variable]: np.array(table[variable]) for variable in variables}
    found = function([column_of[variable] for variable in function.inputs], len(rows))
    for place in range(len(rows)):
        expected = graph.evaluate(roots, {variable: table[variable][place] for variable in variables})
        assert [value if isinstance(value, bool) else bool(value[place]) for value in found] == expected


def test_a_variable_that_may_not_be_read_is_an_error() -> None:
    graph = BitGraph()
    lever = graph.variable("lever")
    with pytest.raises(ValueError, match="lever"):
        transcribed(graph, [lever], {}, BitGraph())


def brute_force(graph: BitGraph, literal: Literal, variables: list[Literal]) -> set[tuple[bool, ...]]:
    return {
        values
        for values in product((False, True), repeat=len(variables))
        if graph.evaluate([literal], dict(zip(variables, values, strict=True)))[0]
    }


@pytest.mark.parametrize("most_rows", [1 << 20, 2])
@pytest.mark.parametrize("seed", range(60))
def test_first_states_are_those_that_trying_everything_finds(
    seed: int, most_rows: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With room for two rows the solver has to find them."""
    random = Random(seed)
    graph = BitGraph()
    variables = [graph.variable("bell") for _ in range(random.randint(1, 7))]
    pool = list(variables)
    for _ in range(12):
        make = random.choice((graph.conjunction, graph.exclusive_or))
        pool.append(make(random.choice(pool) ^ random.getrandbits(1), random.choice(pool) ^ random.getrandbits(1)))
    literal = graph.all_of(random.choice(pool) ^ random.getrandbits(1) for _ in range(random.randint(0, 4)))
    expected = brute_force(graph, literal, variables)
    monkeypatch.setattr(first_states, "MOST_SWEPT", most_rows)
    count, columns = solutions(graph, literal, variables, time.monotonic() + 60)
    rows = list(zip(*(column.tolist() for column in columns), strict=True))
    assert count == len(rows) == len(expected)
    assert set(rows) == expected


def test_a_chain_of_forty_gates_has_as_many_first_states_as_its_source() -> None:
    graph = BitGraph()
    bells = [graph.variable("bell") for _ in range(41)]
    literal = graph.all_of(graph.exclusive_or(a, b) for a, b in pairwise(bells))
    count, _ = solutions(graph, literal, list(reversed(bells)), time.monotonic() + 60)
    assert count == 2


def test_too_many_first_states_are_an_answer_of_their_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(first_states, "MOST_SWEPT", 16)
    monkeypatch.setattr(first_states, "MOST_SOLVED", 16)
    graph = BitGraph()
    variables = [graph.variable("bell") for _ in range(12)]
    with pytest.raises(TooManyFirstStates):
        solutions(graph, TRUE, variables, time.monotonic() + 60)
