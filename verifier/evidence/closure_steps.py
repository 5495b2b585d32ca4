"""Every step from the states of some situations, and where it leads.

The steps are taken kind by kind, each for all situations at once in which it may happen:

    firings        for each number of ready elements, each non-empty choice among them (by their rank)
    source moves   one after the other
    the tick
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verifier.evidence.closure_keys import KeyWord, Place
from verifier.evidence.closure_outcomes import Outcome, StepFormulas, Whole
from verifier.evidence.closure_situations import KeyPlaces, Situations, rows_of
from verifier.evidence.delay_columns import (
    BitColumn,
    Formulas,
    Possible,
    Truths,
    constant,
    difference,
    known,
    packed_bits,
    unknown,
    unpacked_bits,
    words_for,
)
from verifier.logic.delay_system import DelaySystem

STEPS_AT_ONCE = 1 << 18
"""More only when a single choice among the ready elements is open to more states."""


@dataclass(frozen=True, kw_only=True)
class Steps:
    """Some steps of one kind, and what comes of them."""

    sources: tuple[KeyWord, ...]
    """Keys of the states before."""
    targets: tuple[KeyWord, ...]
    """Keys of the states afterwards."""
    bad_row: int | None
    """The first row whose step is bad."""
    describe: Callable[[int], str]
    """Of a row: what happens in the step."""


class StepsOf:
    """Takes the steps of one system."""

    def __init__(self, system: DelaySystem, places: KeyPlaces, check_clock: Callable[[], None]) -> None:
        self._system = system
        self._places = places
        self._elements_from = len(system.sources)
        self._followers_from = len(system.sources) + len(system.elements)
        self._bits = (*system.sources, *(e.bit for e in system.elements), *(f.bit for f in system.followers))
        self._formulas = StepFormulas(system, check_clock)
        self._before = Formulas(
            system.graph,
            [system.holds_time, *(e.optional for e in system.elements), *(move.enabled for move in system.moves)],
        )

    def steps(self, situations: Situations) -> Iterator[Steps]:
        holds_time, optionals, enabled = self._before_any_step(situations)
        yield from self._firings(situations)
        for move, may_happen in zip(self._system.moves, enabled, strict=True):
            flips = {self._bits.index(bit) for bit in move.bits}
            text = "turning over " + " and ".join(bit.name for bit in move.bits)
            yield from self._simple_steps(situations, np.flatnonzero(may_happen), flips, False, text)
        if self._system.timed:
            due = np.zeros(situations.count, np.bool_)
            for at_longest, optional in zip(situations.at_longest, optionals, strict=True):
                due |= at_longest & ~optional
            yield from self._simple_steps(
                situations, np.flatnonzero(~due & ~holds_time), set(), True, "a tick of one ns"
            )

    def _before_any_step(self, situations: Situations) -> tuple[Truths, list[Truths], list[Truths]]:
        """Whether time is held, which elements are optional, which moves may happen.

        Where a formula hangs on a choice, which it should not, both are taken to be possible.
        """
        rows = situations.count
        given = _readings(self._system, situations.readings)
        for bit, values in zip(self._bits, situations.values, strict=True):
            given[bit.now >> 1] = known(packed_bits(values))
        for node in self._before.variables:
            given.setdefault(node, unknown(words_for(rows)))
        (holds, *rest), _ = self._before.values(given, words_for(rows))
        optionals, moves = rest[: len(self._system.elements)], rest[len(self._system.elements) :]
        return (
            ~unpacked_bits(holds[1], rows),
            [unpacked_bits(one, rows) for one, _ in optionals],
            [unpacked_bits(one, rows) for one, _ in moves],
        )

    def _firings(self, situations: Situations) -> Iterator[Steps]:
        if not situations.ready:
            return
        ready = np.stack(situations.ready, axis=1)
        how_many = ready.sum(axis=1)
        for number in range(1, ready.shape[1] + 1):
            members = np.flatnonzero(how_many == number)
            if len(members):
                ranked = np.nonzero(ready[members])[1].reshape(-1, number)
                yield from self._firings_of_so_many(situations, members, ranked)

    def _firings_of_so_many(self, situations: Situations, members: Whole, ranked: Whole) -> Iterator[Steps]:
        """`ranked` has the ready elements, a row for each member. Choices among them are taken many at a time."""
        states, number = int(situations.counts[members].sum()), ranked.shape[1]
        at_a_time = max(1, STEPS_AT_ONCE // states)
        of_rank = [ranked[:, rank] == np.arange(len(self._system.elements))[:, None] for rank in range(number)]
        for first in range(1, 1 << number, at_a_time):
            choices = range(first, min(first + at_a_time, 1 << number))
            fired = np.zeros((len(self._system.elements), len(choices), len(members)), np.bool_)
            for place, choice in enumerate(choices):
                for rank in range(number):
                    if choice >> rank & 1:
                        fired[:, place] |= of_rank[rank]
            of_element = fired.reshape(len(fired), -1)
            changed = {self._elements_from + i: packed_bits(row) for i, row in enumerate(of_element) if row.any()}
            group = _Group(self._system, situations, members, times=len(choices))
            yield from self._taken(group, changed, False, _Firing(self._system, of_element))

    def _simple_steps(
        self, situations: Situations, members: Whole, flips: set[int], is_tick: bool, text: str
    ) -> Iterator[Steps]:
        if not len(members):
            return
        group = _Group(self._system, situations, members)
        every = np.full(words_for(len(members)), ~np.uint64(0))
        yield from self._taken(group, dict.fromkeys(flips, every), is_tick, lambda _: text)

    def _taken(
        self, group: _Group, changed: Mapping[int, BitColumn], is_tick: bool, describe: Callable[[int], str]
    ) -> Iterator[Steps]:
        """The steps of a group in which these bits turn over, a column for each place among sources and elements."""
        words = words_for(group.count)
        given = dict(group.readings)
        for place, bit in enumerate(self._bits):
            given[bit.before >> 1] = group.values[place]
            if place < self._followers_from:
                turned = changed.get(place)
                given[bit.now >> 1] = (
                    group.values[place] if turned is None else difference(group.values[place], known(turned))
                )
        if self._system.tick is not None:
            given[self._system.tick >> 1] = constant(is_tick, words)
        for outcome in self._formulas.outcomes(given, group.count):
            yield from self._applied(group, outcome, changed, is_tick, describe)

    def _applied(
        self,
        group: _Group,
        outcome: Outcome,
        changed: Mapping[int, BitColumn],
        is_tick: bool,
        describe: Callable[[int], str],
    ) -> Iterator[Steps]:
        """As operations on keys. Only what is not the same for all is done row by row."""
        members = np.arange(group.count) if outcome.rows is None else outcome.rows
        decided = np.flatnonzero(unpacked_bits(outcome.decided, len(members)))
        if not len(decided):
            return
        here = _Taker(group.count, outcome.rows)
        edit = _Edit(len(members), self._places.word_count)
        for number, column in changed.items():
            edit.turn_over(self._places.values[number], here.taken(column))
        for number, value in enumerate(outcome.followers, self._followers_from):
            edit.turn_over(self._places.values[number], value ^ here.taken(group.values[number][0]))
        for i, place in enumerate(self._places.ages):
            before, after = here.taken(group.excited[i]), outcome.excited[i]
            fired = changed.get(self._elements_from + i)
            goes_on = before & after if fired is None else before & after & ~here.taken(fired)
            edit.clear(place, before & ~goes_on)
            edit.set_to_one(place, after & ~goes_on)
            if is_tick:
                edit.add_one(place, goes_on & ~here.taken(group.at_longest[i]))
        for place, reset, at_most in zip(self._places.timers, outcome.resets, group.at_most, strict=True):
            edit.clear(place, reset)
            if is_tick:
                edit.add_one(place, ~reset & ~here.taken(at_most))
        bad = unpacked_bits(outcome.bad, len(members))
        if len(decided) < len(members):
            members, bad, edit = members[decided], bad[decided], edit.taken(decided)
        yield _steps(group, members, bad, edit, describe)


@dataclass(frozen=True)
class _Firing:
    system: DelaySystem
    fired: NDArray[np.bool_]
    """A row for each element, a column for each member of a group."""

    def __call__(self, member: int) -> str:
        fired = self.fired[:, member]
        return "firing " + " and ".join(
            e.bit.name for e, fires in zip(self.system.elements, fired, strict=True) if fires
        )


class _Group:
    """Some situations, so many times one after the other, in bit columns, with their states."""

    def __init__(self, system: DelaySystem, situations: Situations, members: Whole, times: int = 1) -> None:
        def repeated(truths: Sequence[Truths]) -> list[Truths]:
            return [np.tile(column[members], times) for column in truths]

        def columns(truths: Sequence[Truths]) -> list[BitColumn]:
            return [packed_bits(column) for column in repeated(truths)]

        counts = situations.counts[members]
        rows = rows_of(situations.starts[members], counts)
        self.count = times * len(members)
        self.state_counts = np.tile(counts, times)
        self.starts = np.cumsum(self.state_counts) - self.state_counts
        self.states = tuple(np.tile(word[rows], times) for word in situations.words)
        self.values = [known(column) for column in columns(situations.values)]
        self.excited = columns(situations.excited)
        self.at_longest = columns(situations.at_longest)
        self.at_most = columns(situations.at_most)
        self.readings = _readings(system, [repeated(truths) for truths in situations.readings])


def _readings(system: DelaySystem, readings: Sequence[Sequence[Truths]]) -> dict[int, Possible]:
    """The variables of all timers' readings."""
    return {
        reading.variable >> 1: known(packed_bits(truths))
        for timer, columns in zip(system.timers, readings, strict=True)
        for reading, truths in zip(timer.readings, columns, strict=True)
    }


@dataclass(frozen=True)
class _Taker:
    """Restricts columns of a group to some of its rows."""

    count: int
    rows: Whole | None

    def taken(self, column: BitColumn) -> BitColumn:
        if self.rows is None:
            return column
        return packed_bits(unpacked_bits(column, self.count)[self.rows])


class _Edit:
    """For each row: `key -> ((key and keep) xor flip) + more`, word by word."""

    def __init__(self, rows: int, words: int) -> None:
        self._rows = rows
        self.keep = [np.full(rows, ~np.uint64(0)) for _ in range(words)]
        self.flip = [np.zeros(rows, np.uint64) for _ in range(words)]
        self.more = [np.zeros(rows, np.uint64) for _ in range(words)]

    def turn_over(self, place: Place, where: BitColumn) -> None:
        self.flip[place.word][self._chosen(where)] ^= np.uint64(place.mask)

    def clear(self, place: Place, where: BitColumn) -> None:
        self.keep[place.word][self._chosen(where)] &= ~np.uint64(place.mask)

    def set_to_one(self, place: Place, where: BitColumn) -> None:
        """Pre: the field is 0 there, or cleared."""
        self.flip[place.word][self._chosen(where)] |= np.uint64(1 << place.shift)

    def add_one(self, place: Place, where: BitColumn) -> None:
        """Pre: it fits."""
        self.more[place.word][self._chosen(where)] += np.uint64(1 << place.shift)

    def _chosen(self, where: BitColumn) -> Whole:
        return np.flatnonzero(unpacked_bits(where, self._rows)) if where.any() else np.zeros(0, np.intp)

    def taken(self, chosen: Whole) -> _Edit:
        """The edit of some of the rows."""
        found = _Edit(len(chosen), 0)
        for name in ("keep", "flip", "more"):
            setattr(found, name, [column[chosen] for column in getattr(self, name)])
        return found

    def applied(self, number: int, word: KeyWord, counts: Whole) -> KeyWord:
        """Word `number` of states afterwards; the first `counts[0]` states belong to the first row, and so on."""
        result = word & np.repeat(self.keep[number], counts)
        result ^= np.repeat(self.flip[number], counts)
        if self.more[number].any():
            result += np.repeat(self.more[number], counts)
        return result


def _steps(group: _Group, members: Whole, bad: Truths, edit: _Edit, describe: Callable[[int], str]) -> Steps:
    """The steps from all states of these situations. For each row of the edit, `members` has a place in the group."""
    counts, states = group.state_counts[members], group.states
    if len(members) < group.count:
        rows = rows_of(group.starts[members], counts)
        states = tuple(word[rows] for word in states)
    return Steps(
        sources=states,
        targets=tuple(edit.applied(number, word, counts) for number, word in enumerate(states)),
        bad_row=int(counts[: np.argmax(bad)].sum()) if bad.any() else None,
        describe=lambda row: describe(int(members[np.searchsorted(np.cumsum(counts), row, side="right")])),
    )
