"""All reachable states of a `DelaySystem`, packed: what an engine hands over so that someone else can judge it.

A state is a row of bytes, stored as 64-bit words; a field may lie across bytes and words. An age is stored plus one,
and 0 stands for "not excited", so a state says by itself which elements are excited.

    bit    0 ...                                                         64 * word_count - 1
           elements | sources | followers | ages and timers, placed to lie within bytes where they can

Bit 63 of a state of one word is 0. Nothing here knows how states follow one another.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from verifier.logic.delay_system import DelayedElement, DelaySystem

Column = NDArray[Any]
"""One entry a state."""
Words = tuple[NDArray[np.uint64], ...]
"""One column for each 64 bits of a state."""

NOT_EXCITED = -1
"""Stands in a column of ages where the element has none."""


@dataclass(frozen=True)
class Piece:
    """Bits `place ..` of a number are bits `shift ..` of a byte."""

    byte: int
    shift: int
    width: int
    place: int


@dataclass(frozen=True)
class Field:
    """Where a number of `width` bits stands; a width of 0 stands nowhere and means 0."""

    width: int
    pieces: tuple[Piece, ...]

    @property
    def kind(self) -> type[np.uint8] | type[np.uint16] | type[np.uint32]:
        return np.uint8 if self.width <= 8 else np.uint16 if self.width <= 16 else np.uint32

    def read(self, planes: NDArray[np.uint8]) -> Column:
        """The numbers of all rows. `planes` has a row for each byte of a state, a column for each state."""
        found: Column = np.zeros(0, np.uint8) if self.pieces else np.zeros(planes.shape[1], np.uint8)
        for piece in self.pieces:
            part: Column = planes[piece.byte]
            if piece.shift + piece.width < 8:
                part = part & (((1 << piece.width) - 1) << piece.shift)
            if piece.shift:
                part = part >> piece.shift
            if self.width > 8:
                part = part.astype(self.kind)
            if piece.place:
                part = part << self.kind(piece.place)
            found = found | part if piece.place else part
        return found

    def read_bit(self, planes: NDArray[np.uint8]) -> NDArray[np.bool_]:
        """The same as `read` of a field of one bit, as truth values."""
        (piece,) = self.pieces
        truth: NDArray[np.bool_] = (planes[piece.byte] & (1 << piece.shift)) != 0
        return truth

    def write(self, planes: NDArray[np.uint8], numbers: Column) -> None:
        """Adds the numbers to planes that are 0 there. Pre: they fit the width."""
        if numbers.dtype == np.bool_:
            numbers = numbers.view(np.uint8)
        for piece in self.pieces:
            part = numbers
            if len(self.pieces) > 1:
                part = (numbers >> piece.place) & ((1 << piece.width) - 1)
            if part.dtype != np.uint8:
                part = part.astype(np.uint8)
            planes[piece.byte] |= part << piece.shift if piece.shift else part


@dataclass(frozen=True, kw_only=True)
class StateLayout:
    """Where everything stands in a state of one system."""

    word_count: int
    sources: tuple[Field, ...]
    elements: tuple[Field, ...]
    """Element `i` is bit `i` of the state."""
    followers: tuple[Field, ...]
    ages: tuple[Field, ...]
    """Age plus one; 0: not excited."""
    counts: tuple[Field, ...]

    @property
    def values(self) -> tuple[Field, ...]:
        """Sources, then elements, then followers."""
        return (*self.sources, *self.elements, *self.followers)

    def planes(self, words: Sequence[NDArray[np.uint64]], most: int | None = None) -> NDArray[np.uint8]:
        """States as an array of shape (8 * len(words), states), one row a byte; of the first `most` bytes alone."""
        rows, count = len(words[0]), 8 * len(words) if most is None else most
        planes = np.empty((count, rows), np.uint8)
        for start in range(0, count, 8):
            spelled = words[start // 8].astype("<u8", copy=False).view(np.uint8).reshape(rows, 8)
            planes[start : start + 8] = spelled[:, : count - start].T
        return planes

    def words(self, planes: NDArray[np.uint8]) -> Words:
        """The inverse of `planes`."""
        rows = planes.shape[1]
        found = []
        for place in range(self.word_count):
            spelled = np.empty((rows, 8), np.uint8)
            spelled[...] = planes[8 * place : 8 * place + 8].T
            found.append(spelled.view("<u8").reshape(rows).astype(np.uint64, copy=False))
        return tuple(found)


def layout_of(system: DelaySystem) -> StateLayout:
    bits = _Places()
    elements = tuple(bits.next_bit() for _ in system.elements)
    sources = tuple(bits.next_bit() for _ in system.sources)
    followers = tuple(bits.next_bit() for _ in system.followers)
    most_ages = [longest_delay(element) if system.timed else 0 for element in system.elements]
    widths = [(most + 1).bit_length() for most in most_ages] + [timer.most.bit_length() for timer in system.timers]
    fields = bits.place_all(widths)
    return StateLayout(
        word_count=1 if bits.most < 64 else max(2, -(-bits.most // 64)),
        sources=sources,
        elements=elements,
        followers=followers,
        ages=tuple(fields[: len(system.elements)]),
        counts=tuple(fields[len(system.elements) :]),
    )


def longest_delay(element: DelayedElement) -> int:
    return max(element.rise.high, element.fall.high)


class _Places:
    """Gives out the bits of a state."""

    def __init__(self) -> None:
        self.most = 0
        """One more than the highest bit given out."""

    def next_bit(self) -> Field:
        self.most += 1
        return _field_at(range(self.most - 1, self.most))

    def place_all(self, widths: Sequence[int]) -> list[Field]:
        """The wide ones first, each in the first byte that has room; across bytes only to save a word."""
        total = self.most + sum(widths)
        ends = 63 if total <= 63 else 64 * (-(-total // 64))
        free = [True] * ends
        free[: self.most] = [False] * self.most
        fields = [Field(0, ())] * len(widths)
        for index in sorted(range(len(widths)), key=lambda index: -widths[index]):
            width = widths[index]
            start = _first_fit(free, width)
            places: Sequence[int] = range(start, start + width) if start is not None else _any_free(free, width)
            for place in places:
                free[place] = False
                self.most = max(self.most, place + 1)
            fields[index] = _field_at(places)
        return fields


def _first_fit(free: Sequence[bool], width: int) -> int | None:
    """The first place where the field lies in one byte, or begins one if it is wider."""
    for start in range(0, len(free) - width + 1):
        within = start % 8 + width <= 8 or start % 8 == 0
        if within and all(free[start : start + width]):
            return start
    return None


def _any_free(free: Sequence[bool], width: int) -> list[int]:
    return [place for place, is_free in enumerate(free) if is_free][:width]


def _field_at(places: Sequence[int]) -> Field:
    pieces: list[Piece] = []
    for index, place in enumerate(places):
        last = pieces[-1] if pieces else None
        if last is not None and 8 * last.byte + last.shift + last.width == place and place % 8:
            pieces[-1] = Piece(last.byte, last.shift, last.width + 1, last.place)
        else:
            pieces.append(Piece(place // 8, place % 8, 1, index))
    return Field(len(places), tuple(pieces))


@dataclass(frozen=True)
class StateColumns:
    """Some states, spelled out."""

    values: tuple[NDArray[np.bool_], ...]
    """Sources, elements, followers."""
    ages: tuple[NDArray[np.int64], ...]
    """For each element, in ns; NOT_EXCITED where it is not excited. Without delays 0 where it is."""
    counts: tuple[NDArray[np.int64], ...]
    """For each timer, in ns."""


@dataclass(frozen=True)
class ReachedStates:
    """A set of states, without repetition."""

    layout: StateLayout
    words: Words
    """One column a word, `count` entries each."""

    @property
    def count(self) -> int:
        return len(self.words[0])

    def columns(self, start: int, stop: int) -> StateColumns:
        """States `start .. stop - 1` of the set."""
        layout = self.layout
        planes = layout.planes([word[start:stop] for word in self.words])
        return StateColumns(
            values=tuple(field.read_bit(planes) for field in layout.values),
            ages=tuple(field.read(planes).astype(np.int64) - 1 for field in layout.ages),
            counts=tuple(field.read(planes).astype(np.int64) for field in layout.counts),
        )

    def chunks(self, most: int = 1 << 16) -> Iterator[StateColumns]:
        """All states, at most so many at a time, in one order."""
        for start in range(0, self.count, most):
            yield self.columns(start, min(start + most, self.count))

    def packed(self, columns: StateColumns) -> Words:
        """The words that these states have here: the inverse of `columns`. Pre: every number fits its field."""
        layout = self.layout
        rows = len((*columns.values, *columns.ages, *columns.counts)[0])
        planes = np.zeros((8 * layout.word_count, rows), np.uint8)
        for field, values in zip(layout.values, columns.values, strict=True):
            field.write(planes, values)
        for field, ages in zip(layout.ages, columns.ages, strict=True):
            field.write(planes, (ages + 1).astype(field.kind))
        for field, counts in zip(layout.counts, columns.counts, strict=True):
            field.write(planes, counts.astype(field.kind))
        return layout.words(planes)
