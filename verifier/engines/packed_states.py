"""A growing set of packed states that remembers the order in which they came.

States are columns of 64-bit words; a hash table of open addresses finds them again. A batch goes in at once: sorted by
hash, which brings equal states together, and, as the upper bits of the hash say where a state belongs, leads through
the table from one end to the other. Memory is much faster that way than in random order.

A state of one word is mixed into a hash that can be unmixed again: the hash is the state, the table holds nothing else,
and the new states of a batch are read off their hashes. With more words a second column of the table has the numbers of
the states, and whoever meets its own hash compares words.

All states of a batch that see an empty slot write into it; whoever reads its own entry back has won it. The others look
again, at the slot or at the next.

(P1) States `0 .. count - 1` differ from one another. (P2) Each has exactly one slot, on the way from where its hash
points, with no empty slot before it. (P3) At least half of the slots are empty.

Memory: a word takes 8 bytes a state and at most half as much again in reserve; slots take 16 to 32 bytes a state of one
word, 24 to 48 of more, and half as much again while the table grows.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from verifier.logic.reached_states import Words

Word = NDArray[np.uint64]

FIRST_CAPACITY = 1 << 12
MOST_STATES = (1 << 32) - 2
MOST_ADDED = 1 << 20
"""A larger batch goes in by parts: the place in a batch is sorted along with the hash."""

PART_OF_TABLE = 1 << 16
"""Slots that are sorted together when the table grows."""

_EMPTY = np.uint64(0)
_FIRST_FACTOR = np.uint64(0x9E3779B97F4A7C15)
_SECOND_FACTOR = np.uint64(0xC2B2AE3D27D4EB4F)
_FIRST_INVERSE = np.uint64(pow(0x9E3779B97F4A7C15, -1, 1 << 64))
_SECOND_INVERSE = np.uint64(pow(0xC2B2AE3D27D4EB4F, -1, 1 << 64))
_OFFSET = np.uint64(1 << 63)
"""Bit 63 of a one-word state is 0 (see `StateLayout`), so no mixed state is 0."""
_HALF = np.uint64(32)
_PLACE = np.uint64(MOST_ADDED - 1)


class StateSet:
    def __init__(self, word_count: int) -> None:
        self.count = 0
        self._words = [np.empty(FIRST_CAPACITY, np.uint64) for _ in range(word_count)]
        self._slots = np.zeros(2 * FIRST_CAPACITY, np.uint64)
        """Hashes; 0 for none."""
        self._owners = np.zeros(len(self._slots) if word_count > 1 else 0, np.uint32)
        """Numbers of states, for states of several words."""

    def words(self, start: int = 0, stop: int | None = None) -> Words:
        """States by their numbers. They do not change when more are added."""
        stop = self.count if stop is None else stop
        return tuple(word[start:stop] for word in self._words)

    def bytes_after(self, more: int) -> int:
        """The most memory that adding so many states takes, what is there included."""
        needed, held = self.count + more, len(self._words[0])
        slots = self._slots_for(needed) * (8 if len(self._words) == 1 else 12)
        columns = 8 * len(self._words)
        if needed <= held:
            return slots + columns * held
        grown = columns * (needed + self.count // 2)
        old = self._slots.nbytes + self._owners.nbytes
        return old + grown + max(8 * held, slots if slots > old else 0)

    def add(self, batch: Sequence[Word]) -> int:
        """Adds those states of the batch that are new, in no particular order; returns how many.

        Pre: bit 63 of a state of one word is 0.
        """
        before, size = self.count, len(batch[0])
        for start in range(0, size, MOST_ADDED):
            part = [word[start : start + MOST_ADDED] for word in batch]
            if self.count + len(part[0]) > MOST_STATES:
                raise OverflowError("more states than 32-bit numbers")
            if len(part) == 1:
                self._add_hashes(_mixed(part[0]))
            else:
                self._add_words(part)
        return self.count - before

    def _add_hashes(self, hashes: Word) -> None:
        """States of one word."""
        hashes.sort()
        differs = np.empty(len(hashes), np.bool_)
        differs[0] = True
        np.not_equal(hashes[1:], hashes[:-1], out=differs[1:])
        hashes = hashes[differs]
        self._make_room(len(hashes))
        won, _ = self._enter(hashes)
        self._append([_unmixed(hashes[won])])

    def _add_words(self, batch: Sequence[Word]) -> None:
        """States of several words. They stand behind the others while it is found out which of them are new."""
        hashes, batch = _without_neighbours(batch)
        self._make_room(len(hashes))
        for column, word in zip(self._words, batch, strict=True):
            column[self.count : self.count + len(hashes)] = word
        won, slots = self._enter(hashes, np.arange(self.count, self.count + len(hashes), dtype=np.uint32))
        self._owners[slots] = np.arange(self.count, self.count + len(won), dtype=np.uint32)
        self._append([word[won] for word in batch])

    def _append(self, words: Sequence[Word]) -> None:
        more = len(words[0])
        for column, word in zip(self._words, words, strict=True):
            column[self.count : self.count + more] = word
        self.count += more

    def _enter(
        self, hashes: Word, numbers: NDArray[np.uint32] | None = None
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Enters what is not there yet: the places of that in `hashes`, and the slots it took.

        `numbers` are where the words stand, for states of several words; else all hashes differ from one another.
        """
        slots, last = self._slots, len(self._slots) - 1
        here = self._first_slots(hashes)
        waiting: NDArray[np.int64] | None = None
        won: list[NDArray[np.int64]] = []
        taken: list[NDArray[np.int64]] = []
        while len(hashes):
            seen = slots[here]
            empty = np.flatnonzero(seen == _EMPTY)
            if len(empty):
                free, mine = here[empty], hashes[empty]
                slots[free] = mine
                has_won = slots[free] == mine
                if numbers is not None:
                    self._owners[free] = numbers[empty]
                    has_won = self._owners[free] == numbers[empty]
                    slots[free[has_won]] = mine[has_won]
                seen[empty] = slots[free]
                taken.append(free[has_won])
                won.append(empty[has_won] if waiting is None else waiting[empty[has_won]])
            differs = seen != hashes
            if numbers is not None:
                self._compare_words(differs, here, numbers)
            going = np.flatnonzero(differs)
            waiting = going if waiting is None else waiting[going]
            hashes, here = hashes[going], (here[going] + 1) & last
            numbers = None if numbers is None else numbers[going]
        if not won:
            return np.zeros(0, np.int64), np.zeros(0, np.int64)
        return np.concatenate(won), np.concatenate(taken)

    def _compare_words(self, differs: NDArray[np.bool_], here: NDArray[np.int64], numbers: NDArray[np.uint32]) -> None:
        """Marks those that differ although their hashes do not."""
        alike = np.flatnonzero(~differs)
        owners, mine = self._owners[here[alike]], numbers[alike]
        for word in self._words:
            differs[alike] |= word[owners] != word[mine]

    def _first_slots(self, hashes: Word) -> NDArray[np.int64]:
        shift = np.uint64(65 - len(self._slots).bit_length())
        return (hashes >> shift).view(np.int64)

    def _make_room(self, more: int) -> None:
        needed = self.count + more
        if needed > len(self._words[0]):
            for index, word in enumerate(self._words):
                grown = np.empty(needed + self.count // 2, np.uint64)
                grown[: self.count] = word[: self.count]
                self._words[index] = grown
        size = self._slots_for(needed)
        if size > len(self._slots):
            slots, owners = self._slots, self._owners
            self._slots = np.zeros(size, np.uint64)
            if len(self._words) > 1:
                self._owners = np.zeros(size, np.uint32)
            self._enter_again(slots, owners)

    def _slots_for(self, count: int) -> int:
        size = len(self._slots)
        while size < 2 * count:
            size *= 2
        return size

    def _enter_again(self, slots: Word, owners: NDArray[np.uint32]) -> None:
        """Everything from a smaller table into this empty one.

        In the order of their hashes, every state takes the slot where it belongs, or the next one after its
        predecessor's if that is later: its slot is known without a look at the table. The old table is in that order
        from one empty slot to the next, but for what stands between two of them; so it is sorted part by part, and
        parts begin at empty slots. They do not get in each other's way: with `i - j` states between them, state `i`
        stood at the greatest of `first(j) + i - j`, which was below the part's end, and all of that at most doubles
        (quadruples, ...), like the end.
        """
        if self.count == 0:
            return
        begin = start = int((slots == _EMPTY).argmax())
        while start < len(slots):
            stop = min(start + PART_OF_TABLE, len(slots))
            while stop < len(slots) and slots[stop] != _EMPTY:
                stop += 1
            used = start + np.flatnonzero(slots[start:stop])
            self._enter_in_order(slots[used], owners[used] if len(owners) else None)
            start = stop
        used = np.flatnonzero(slots[:begin])
        self._enter(slots[used], owners[used] if len(owners) else None)

    def _enter_in_order(self, hashes: Word, owners: NDArray[np.uint32] | None) -> None:
        if owners is None:
            hashes.sort()
        else:
            order = np.argsort(hashes)
            hashes, owners = hashes[order], owners[order]
        places, count = self._first_slots(hashes), np.arange(len(hashes))
        places -= count
        np.maximum.accumulate(places, out=places)
        places += count
        fitting = int(np.searchsorted(places, len(self._slots)))
        self._slots[places[:fitting]] = hashes[:fitting]
        if owners is not None:
            self._owners[places[:fitting]] = owners[:fitting]
        self._enter(hashes[fitting:], None if owners is None else owners[fitting:])

    def check_invariants(self) -> None:
        """Raises ValueError when (P1), (P2) or (P3) is broken."""
        words = self.words()
        if len({tuple(row) for row in np.stack(words).T.tolist()}) != self.count:
            raise ValueError(f"some of {self.count} states are the same")
        used = np.flatnonzero(self._slots)
        if len(used) != self.count or 2 * self.count > len(self._slots):
            raise ValueError(f"{self.count} states use {len(used)} of {len(self._slots)} slots")
        hashes = hashed(words)
        if len(words) > 1 and not np.array_equal(np.sort(self._owners[used]), np.arange(self.count)):
            raise ValueError("the slots do not belong to one state each")
        owned = np.sort(hashes) if len(words) == 1 else hashes[self._owners[used]]
        if not np.array_equal(
            np.sort(self._slots)[-self.count or len(self._slots) :] if len(words) == 1 else self._slots[used], owned
        ):
            raise ValueError("a slot has not the hash of its state")
        for slot, first in zip(used.tolist(), self._first_slots(self._slots[used]).tolist(), strict=True):
            way = range(first, slot if first <= slot else slot + len(self._slots))
            if any(self._slots[passed % len(self._slots)] == _EMPTY for passed in way):
                raise ValueError(f"an empty slot on the way from {first} to {slot}")


def _mixed(word: Word) -> Word:
    """One to one, and 0 for no state of one word."""
    mixed = word ^ _OFFSET
    mixed *= _FIRST_FACTOR
    mixed ^= mixed >> _HALF
    mixed *= _SECOND_FACTOR
    return mixed


def _unmixed(mixed: Word) -> Word:
    """The inverse of `_mixed`."""
    word = mixed * _SECOND_INVERSE
    word ^= word >> _HALF
    word *= _FIRST_INVERSE
    word ^= _OFFSET
    return word


def _chained(words: Sequence[Word]) -> Word:
    """A hash of several words, never 0."""
    hashes = _mixed(words[0])
    for word in words[1:]:
        hashes ^= hashes >> _HALF
        hashes = _mixed(hashes ^ word)
    hashes[hashes == _EMPTY] = np.uint64(1)
    return hashes


def hashed(words: Sequence[Word]) -> Word:
    """A number for each state; states of one word have different ones, of several nearly always."""
    return _mixed(words[0]) if len(words) == 1 else _chained(words)


def _without_neighbours(batch: Sequence[Word]) -> tuple[Word, list[Word]]:
    """Hashes and words of a batch in the order of the hashes, where the same state does not stand twice in a row."""
    hashes = _chained(batch)
    keys = (hashes & ~_PLACE) | np.arange(len(hashes), dtype=np.uint64)
    keys.sort()
    order = (keys & _PLACE).view(np.int64)
    words = [word[order] for word in batch]
    differs = np.zeros(len(order), np.bool_)
    differs[0] = True
    for word in words:
        differs[1:] |= word[1:] != word[:-1]
    return hashes[order[differs]], [word[differs] for word in words]
