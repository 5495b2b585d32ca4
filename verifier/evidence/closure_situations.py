"""States that cannot be told apart by what may happen next, gathered.

A *situation* is the values of all bits, and how far each age and timer has come, in the few stretches that matter:

    age      none | too young to fire | ready | at the longest delay
    timer    below the first number that is read | from there to the next | ... | at its most

Whatever may happen in a state is known from its situation, and so are all bits afterwards. Ages and timers stay, start
anew or grow by one. A step is therefore one and the same operation on the keys of all states of a situation: some
fields are cleared, some bits turned over, a constant added.

An age beyond the longest delay for the way its element would go counts as that delay, and a timer beyond its most as
its most; no step tells them apart. What the set says of ages is taken as it stands: whether they go with the values
is what the check of the first states and of every step sees to.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from verifier.evidence.closure_keys import KeyWord, Place, packed, places_for
from verifier.evidence.delay_columns import Truths
from verifier.logic.delay_system import DelayedElement, DelaySystem, Timer
from verifier.logic.reached_states import StateColumns

Whole = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True)
class KeyPlaces:
    """Where everything stands in the key of a state. Values come first, so states of equal values are neighbours."""

    values: tuple[Place, ...]
    """Sources, elements, followers."""
    ages: tuple[Place, ...]
    """The age plus one; 0: not excited."""
    timers: tuple[Place, ...]

    @property
    def word_count(self) -> int:
        return 1 + max((place.word for place in (*self.values, *self.ages, *self.timers)), default=0)


def key_places(system: DelaySystem) -> KeyPlaces:
    values = len(system.sources) + len(system.elements) + len(system.followers)
    widths = [1] * values
    widths += [(longest_delay(system, element) + 1).bit_length() for element in system.elements]
    widths += [max(1, timer.most.bit_length()) for timer in system.timers]
    places = places_for(widths)
    ages_end = values + len(system.elements)
    return KeyPlaces(values=places[:values], ages=places[values:ages_end], timers=places[ages_end:])


def longest_delay(system: DelaySystem, element: DelayedElement) -> int:
    return max(element.rise.high, element.fall.high) if system.timed else 0


def keys_of(system: DelaySystem, places: KeyPlaces, columns: StateColumns) -> list[KeyWord]:
    elements = columns.values[len(system.sources) :]
    fields: list[NDArray[Any]] = [*columns.values]
    for element, value, ages in zip(system.elements, elements, columns.ages, strict=False):
        fields.append(1 + np.minimum(ages, _longest(system, element, value)))
    fields += [np.minimum(numbers, timer.most) for timer, numbers in zip(system.timers, columns.counts, strict=True)]
    rows = len(fields[0]) if fields else 1
    return packed((*places.values, *places.ages, *places.timers), fields, rows)


def _longest(system: DelaySystem, element: DelayedElement, value: Truths) -> int | NDArray[Any]:
    """The longest delay for the way it would go."""
    if not system.timed:
        return 0
    return _for_its_way(value, element.rise.high, element.fall.high)


def _for_its_way(value: Truths, rise: int, fall: int) -> int | NDArray[Any]:
    return rise if rise == fall else np.where(value, fall, rise)


@dataclass(frozen=True, kw_only=True)
class Situations:
    """Some states in the order of their situations, and one entry for each situation."""

    words: tuple[KeyWord, ...]
    """The keys of the states."""
    starts: Whole
    """Where the states of each situation begin."""
    counts: Whole
    values: tuple[Truths, ...]
    excited: tuple[Truths, ...]
    ready: tuple[Truths, ...]
    at_longest: tuple[Truths, ...]
    """Excited, and for as long as an excitation may last."""
    readings: tuple[tuple[Truths, ...], ...]
    """For each timer."""
    at_most: tuple[Truths, ...]
    """For each timer."""

    @property
    def count(self) -> int:
        return len(self.starts)


def rows_of(starts: Whole, counts: Whole) -> Whole:
    """`starts[0], starts[0] + 1, ...` so many as `counts[0]` says, then the same for the next."""
    ends = np.cumsum(counts)
    return np.repeat(starts - ends + counts, counts) + np.arange(ends[-1] if len(ends) else 0)


def situations_in(system: DelaySystem, places: KeyPlaces, words: tuple[KeyWord, ...]) -> Situations:
    """The situations of some states, given by their keys."""
    ages = [_stretches_of_age(system, i, places, words) for i in range(len(system.elements))]
    borders = [_borders(timer) for timer in system.timers]
    timers = [_stretches(place.read(words), limits) for place, limits in zip(places.timers, borders, strict=True)]
    values = [place.read_bit(words) for place in places.values]
    widths = [1] * len(values) + [2 if system.timed else 1] * len(ages) + [len(b).bit_length() for b in borders]
    order, starts = _gathered(packed(places_for(widths), [*values, *ages, *timers], len(words[0])))
    heads = order[starts]
    ages, timers = [column[heads] for column in ages], [column[heads] for column in timers]
    ready_from = 2 if system.timed else 1
    return Situations(
        words=tuple(word[order] for word in words),
        starts=starts,
        counts=np.diff(starts, append=len(order)),
        values=tuple(value[heads] for value in values),
        excited=tuple(stretch > 0 for stretch in ages),
        ready=tuple(stretch >= ready_from for stretch in ages),
        at_longest=tuple(stretch == 3 for stretch in ages),
        readings=tuple(
            tuple(stretch > limits.index(reading.at_least) for reading in timer.readings)
            for timer, limits, stretch in zip(system.timers, borders, timers, strict=True)
        ),
        at_most=tuple(
            stretch > limits.index(timer.most)
            for timer, limits, stretch in zip(system.timers, borders, timers, strict=True)
        ),
    )


def _stretches_of_age(system: DelaySystem, i: int, places: KeyPlaces, words: tuple[KeyWord, ...]) -> NDArray[Any]:
    """0: not excited. With delays 1: too young, 2: ready, 3: at the longest. Without delays 1: ready."""
    ages = places.ages[i].read(words)
    if not system.timed:
        return ages.astype(np.uint8)
    element, value = system.elements[i], places.values[len(system.sources) + i].read_bit(words)
    found = (ages > 0).view(np.uint8) + (ages > _for_its_way(value, element.rise.low, element.fall.low)).view(np.uint8)
    return found + (ages > _for_its_way(value, element.rise.high, element.fall.high)).view(np.uint8)


def _borders(timer: Timer) -> list[int]:
    """The numbers at which something about the timer changes."""
    return sorted({timer.most, *(reading.at_least for reading in timer.readings)})


def _stretches(numbers: NDArray[Any], borders: list[int]) -> NDArray[Any]:
    """How many of the borders the number has reached."""
    found: NDArray[Any] = np.zeros(len(numbers), np.uint8 if len(borders) < 256 else np.uint32)
    for border in borders:
        found += numbers >= border
    return found


def _gathered(words: list[KeyWord]) -> tuple[Whole, Whole]:
    """An order in which equal rows are neighbours, and where each run of them begins."""
    order = np.argsort(words[0], kind="stable") if len(words) == 1 else np.lexsort(words[::-1])
    begins = np.zeros(len(order), np.bool_)
    begins[:1] = True
    for word in words:
        ordered = word[order]
        begins[1:] |= ordered[1:] != ordered[:-1]
    return order, np.flatnonzero(begins)
