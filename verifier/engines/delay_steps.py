"""The steps of a `DelaySystem`, taken by many packed states at once.

A *candidate* is a state and what turns over in it: a source move, or a non-empty set of ready elements. No set is tried
in vain: the subsets of every set of up to MOST_OF_A_GROUP members are listed once, and a state is repeated as many
times as the set of its own ready elements has subsets; further elements are taken in the same way, by groups. What
follows from turning the bits over is worked out for all candidates together, in `delay_logic.py`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray

from verifier.engines.column_logic import ColumnFunction, Truth
from verifier.engines.delay_logic import StateLogic, StepLogic, Steps, TooManySteps, as_column, excitation
from verifier.engines.packed_states import Word
from verifier.logic.delay_system import DelaySystem
from verifier.logic.reached_states import StateLayout, Words

MOST_CANDIDATES = 1 << 17
"""Worked out together, when there is more than one state to divide them by."""
MOST_OF_ONE_STATE = 1 << 20
MOST_OF_A_GROUP = 10
"""Elements whose subsets are listed in advance: 3 ** 10 of them."""


class DelaySteps:
    def __init__(self, system: DelaySystem, layout: StateLayout) -> None:
        self._system = system
        self._layout = layout
        self._state = StateLogic(system, layout)
        self._move = StepLogic(system, layout, is_tick=False)
        self._tick = StepLogic(system, layout, is_tick=True) if system.timed else None
        flipped = len(system.elements) + len(system.sources)
        self._flip_words = max(1, -(-flipped // 64))

    def first(self, columns: Sequence[Truth], rows: int) -> tuple[Words, Truth]:
        """First states with these values of sources, elements, followers; which of them are bad."""
        system, layout = self._system, self._layout
        bits = [*system.sources, *(e.bit for e in system.elements), *(f.bit for f in system.followers)]
        known = {bit.now: column for bit, column in zip(bits, columns, strict=True)}
        function = ColumnFunction(
            system.graph,
            [
                *(excitation(system.graph, e) for e in system.elements),
                *(timer.reset_at_first for timer in system.timers),
                system.bad_at_first,
            ],
        )
        *found, bad = (as_column(value, rows) for value in function([known[v] for v in function.inputs], rows))
        excited, resets = found[: len(system.elements)], found[len(system.elements) :]
        planes = np.zeros((8 * layout.word_count, rows), np.uint8)
        for field, column in zip(layout.values, columns, strict=True):
            field.write(planes, column)
        for field, column in zip(layout.ages, excited, strict=True):
            field.write(planes, column)
        for field, timer, reset in zip(layout.counts, system.timers, resets, strict=True):
            field.write(planes, np.where(reset, 0, timer.start).astype(field.kind))
        return layout.words(planes), bad

    def moves(self, states: Sequence[Word]) -> Iterator[tuple[int, Steps]]:
        """All permitted moves of the states, some at a time, and the place of the state that parents count from."""
        planes = self._layout.planes(states)
        enabled, ready = self._state.enabled(planes), self._state.ready(planes)
        rows = len(states[0])
        count = _candidate_count(enabled, ready, rows)
        if count > MOST_CANDIDATES and rows > 1:
            yield from self.moves([word[: rows // 2] for word in states])
            for place, steps in self.moves([word[rows // 2 :] for word in states]):
                yield rows // 2 + place, steps
        elif count > MOST_OF_ONE_STATE:
            raise TooManySteps(f"in one state so many elements may fire that there are {count:.0f} moves")
        elif count:
            parents, flips = self._candidates(enabled, ready)
            yield 0, self._move.taken(states, parents, flips)

    def ticks(self, states: Sequence[Word]) -> Steps | None:
        """The permitted ticks of the states; None when there are none."""
        if self._tick is None:
            return None
        parents = np.flatnonzero(self._state.may_tick(self._layout.planes(states)))
        return self._tick.taken(states, parents, []) if len(parents) else None

    def _candidates(self, enabled: Sequence[Truth], ready: Sequence[Truth]) -> tuple[NDArray[np.int64], list[Word]]:
        """Parents, and the words to turn over in them."""
        elements = len(self._system.elements)
        place = {bit.now: elements + index for index, bit in enumerate(self._system.sources)}
        all_parents, all_flips = [], []
        for move, column in zip(self._system.moves, enabled, strict=True):
            parents = np.flatnonzero(column)
            mask = sum(1 << place[bit.now] for bit in move.bits)
            all_parents.append(parents)
            all_flips.append([np.full(len(parents), word, np.uint64) for word in self._words_of(mask)])
        parents, flips = self._firings(ready)
        all_parents.append(parents)
        all_flips.append(flips)
        return np.concatenate(all_parents), [np.concatenate(words) for words in zip(*all_flips, strict=True)]

    def _firings(self, ready: Sequence[Truth]) -> tuple[NDArray[np.int64], list[Word]]:
        """For each state all non-empty sets of its ready elements."""
        places = [place for place, column in enumerate(ready) if column.any()]
        parents = np.arange(len(ready[0]) if ready else 0)
        flips = [np.zeros(len(parents), np.uint64) for _ in range(self._flip_words)]
        for start in range(0, len(places), MOST_OF_A_GROUP):
            group = places[start : start + MOST_OF_A_GROUP]
            spelled = np.zeros(len(ready[0]), np.uint16)
            for bit, place in enumerate(group):
                spelled |= ready[place].astype(np.uint16) << bit
            copied, chosen = _all_subsets(spelled[parents], len(group))
            parents = parents[copied]
            flips = [word[copied] for word in flips]
            for word, table in zip(flips, self._spread(group), strict=True):
                word |= table[chosen]
        fires = np.zeros(len(parents), np.bool_)
        for word in flips:
            fires |= word != 0
        fire = np.flatnonzero(fires)
        return parents[fire], [word[fire] for word in flips]

    def _spread(self, group: Sequence[int]) -> list[Word]:
        """For each set of elements of a group, spelled by its places there, the words to turn over."""
        chosen = np.arange(1 << len(group), dtype=np.uint64)
        words = [np.zeros(len(chosen), np.uint64) for _ in range(self._flip_words)]
        for bit, place in enumerate(group):
            words[place // 64] |= (chosen >> np.uint64(bit) & np.uint64(1)) << np.uint64(place % 64)
        return words

    def _words_of(self, mask: int) -> list[np.uint64]:
        return [np.uint64(mask >> 64 * place & 0xFFFFFFFFFFFFFFFF) for place in range(self._flip_words)]


def _all_subsets(sets: NDArray[np.uint16], size: int) -> tuple[NDArray[np.int64], NDArray[np.uint16]]:
    """All subsets of every set, the empty one included: the place of the set, and the subset. Bit `i` of a number says
    whether `i`, below `size`, is a member."""
    first, count, subsets = _subset_table(size)
    counts = count[sets]
    copied = np.repeat(np.arange(len(sets)), counts)
    starts = np.cumsum(counts)
    places = np.arange(len(copied)) + (first[sets] - starts + counts)[copied]
    return copied, subsets[places]


@cache
def _subset_table(size: int) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.uint16]]:
    """For every set of members below `size`, where its subsets begin in a list of them, and how many there are."""
    listed: list[NDArray[np.uint16]] = [np.zeros(1, np.uint16)]
    for place in range(size):
        listed += [np.concatenate((subsets, subsets | np.uint16(1 << place))) for subsets in listed]
    counts = np.array([len(subsets) for subsets in listed])
    return np.cumsum(counts) - counts, counts, np.concatenate(listed)


def _candidate_count(enabled: Sequence[Truth], ready: Sequence[Truth], rows: int) -> float:
    count = float(sum(np.count_nonzero(column) for column in enabled))
    if ready:
        powers = np.zeros(rows, np.uint16)
        for column in ready:
            powers += column.view(np.uint8)
        for power, states in enumerate(np.bincount(powers).tolist()):
            count += states * (2.0**power - 1)
    return count
