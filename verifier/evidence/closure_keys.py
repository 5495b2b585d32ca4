"""States as numbers that sort: fields packed into 64-bit words, and a set of them that can be asked what it lacks.

Nothing is hashed. A state of several words is looked up word by word, each beginning being known by its place among
all beginnings of the set:

    word 0 -> place among all first words
    (place, word 1) -> place among all pairs of the set, and so on
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

KeyWord = NDArray[np.uint64]
"""One entry a state."""


@dataclass(frozen=True)
class Place:
    """Where a number stands: in bits `shift .. shift + width - 1` of a word."""

    word: int
    shift: int
    width: int

    @property
    def mask(self) -> int:
        return ((1 << self.width) - 1) << self.shift

    def read(self, words: Sequence[KeyWord]) -> NDArray[Any]:
        """The numbers, in a type as narrow as they are."""
        numbers = words[self.word] >> self.shift if self.shift else words[self.word]
        if self.width <= 8:
            return numbers.astype(np.uint8) & ((1 << self.width) - 1)
        return numbers & ((1 << self.width) - 1)

    def read_bit(self, words: Sequence[KeyWord]) -> NDArray[np.bool_]:
        truths: NDArray[np.bool_] = words[self.word] & self.mask != 0
        return truths


def places_for(widths: Sequence[int]) -> tuple[Place, ...]:
    """From the high end on, so that words sort as their fields do; no field lies across two words."""
    places = []
    word, free = 0, 64
    for width in widths:
        if not 0 < width <= 64:
            raise ValueError(f"a field of {width} bits")
        if width > free:
            word, free = word + 1, 64
        free -= width
        places.append(Place(word, free, width))
    return tuple(places)


def packed(places: Sequence[Place], columns: Sequence[NDArray[Any]], rows: int) -> list[KeyWord]:
    """Pre: each number fits its field."""
    words = [np.zeros(rows, np.uint64) for _ in range(1 + max((place.word for place in places), default=0))]
    for place, column in zip(places, columns, strict=True):
        words[place.word] |= column.astype(np.uint64) << place.shift
    return words


class SortedKeys:
    """A set of states, sorted, each once."""

    def __init__(self, words: Sequence[KeyWord]) -> None:
        self._alphabets: list[KeyWord] = []
        """For each word after the first, all that it is in the set."""
        self._beginnings = [_sorted_once(words[0])]
        """For each word: all beginnings that end with it; the first word itself, then pairs of places."""
        if len(words) == 1:
            self.words: tuple[KeyWord, ...] = (self._beginnings[0],)
            return
        places = np.searchsorted(self._beginnings[0], words[0]).astype(np.uint64)
        for word in words[1:]:
            alphabet = _sorted_once(word)
            pairs = places * np.uint64(len(alphabet)) + np.searchsorted(alphabet, word).astype(np.uint64)
            self._alphabets.append(alphabet)
            self._beginnings.append(_sorted_once(pairs))
            places = np.searchsorted(self._beginnings[-1], pairs).astype(np.uint64)
        chosen = np.zeros(self.count, np.intp)
        chosen[places.astype(np.intp)] = np.arange(len(places))
        self.words = tuple(word[chosen] for word in words)

    @property
    def count(self) -> int:
        return len(self._beginnings[-1])

    def first_absent(self, words: Sequence[KeyWord]) -> int | None:
        """The first row that is not in the set."""
        if len(words) == 1 and self._has_all(words[0]):
            return None
        places, there = _places_in(self._beginnings[0], words[0])
        for word, alphabet, pairs in zip(words[1:], self._alphabets, self._beginnings[1:], strict=True):
            letters, letter_is_there = _places_in(alphabet, word)
            places, pair_is_there = _places_in(pairs, places * np.uint64(len(alphabet)) + letters)
            there &= letter_is_there & pair_is_there
        absent = int(np.argmin(there)) if len(there) else 0
        return None if len(there) == 0 or there[absent] else absent

    def _has_all(self, word: KeyWord) -> bool:
        """For states of one word. Sorting first halves the time: many are the same, and neighbours lie close."""
        _, there = _places_in(self._beginnings[0], _sorted_once(word))
        return bool(there.all())


def _sorted_once(word: KeyWord) -> KeyWord:
    ordered = np.sort(word)
    is_new = np.ones(len(ordered), np.bool_)
    is_new[1:] = ordered[1:] != ordered[:-1]
    once: KeyWord = ordered[is_new]
    return once


def _places_in(ordered: KeyWord, wanted: KeyWord) -> tuple[KeyWord, NDArray[np.bool_]]:
    """Places in the list, and whether it is there at all; where it is not, the place means nothing."""
    if not len(ordered):
        return np.zeros(len(wanted), np.uint64), np.zeros(len(wanted), np.bool_)
    places = np.minimum(np.searchsorted(ordered, wanted), len(ordered) - 1)
    return places.view(np.uint64), ordered[places] == wanted
