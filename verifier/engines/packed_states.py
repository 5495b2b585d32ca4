"""A growing set of packed states that remembers the order in which they came.

States are columns of 64-bit words. A hash table of open addresses finds them again: a slot is 0, or the upper half of
the state's hash and, in the lower half, one more than the state's number. So most comparisons need no look at the
states, and the width of a state does not matter to the table.

A batch goes in at once. All its states are appended for the time being and given numbers; those that see an empty slot
write into it, and whoever reads its own number back has won it. The others look again: at the winner, if it is the same
state, at the next slot if not. In the end those that won a slot move together.

(P1) States `0 .. count - 1` differ from one another. (P2) Each has exactly one slot, on the way from where its hash
points, with no empty slot before it. (P3) At least half of the slots are empty between two calls.

Memory: a word takes 8 bytes a state and at most half as much again in reserve; slots take 16 to 32 bytes a state.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from verifier.logic.reached_states import Words

Word = NDArray[np.uint64]

_MULTIPLIERS = (np.uint64(0x9E3779B97F4A7C15), np.uint64(0xC2B2AE3D27D4EB4F))
_HALF = np.uint64(32)
_UPPER = np.uint64(0xFFFFFFFF00000000)
_LOWER = np.uint64(0xFFFFFFFF)
FIRST_CAPACITY = 1 << 12
MOST_STATES = (1 << 32) - 2


class StateSet:
    def __init__(self, word_count: int) -> None:
        self.count = 0
        self._words = [np.empty(FIRST_CAPACITY, np.uint64) for _ in range(word_count)]
        self._slots = np.zeros(2 * FIRST_CAPACITY, np.uint64)

    def words(self, start: int = 0, stop: int | None = None) -> Words:
        """States by their numbers. They do not change when more are added."""
        stop = self.count if stop is None else stop
        return tuple(word[start:stop] for word in self._words)

    @property
    def memory_bytes(self) -> int:
        return self._slots.nbytes + sum(word.nbytes for word in self._words)

    def bytes_after(self, more: int) -> int:
        """The most memory that adding so many states takes, what is there included."""
        count = self.count + more
        slots = len(self._slots)
        while slots < 2 * count:
            slots *= 2
        held = len(self._words[0])
        if count <= held:
            return 8 * slots + 8 * held * len(self._words)
        grown = 8 * (count + self.count // 2)
        return max(8 * slots, self._slots.nbytes + 8 * held) + grown * len(self._words)

    def add(self, batch: Sequence[Word]) -> int:
        """Adds those states of the batch that are new, in the order of the batch or nearly so; returns how many."""
        size = len(batch[0])
        if size == 0:
            return 0
        if self.count + size > MOST_STATES:
            raise OverflowError("more states than 32-bit numbers")
        self._make_room(size)
        for word, more in zip(self._words, batch, strict=True):
            word[self.count : self.count + size] = more
        hashes = _hashes(batch)
        won = self._find_places(hashes, np.arange(self.count, self.count + size, dtype=np.uint64))
        winners = np.flatnonzero(won >= 0)
        self._slots[won[winners]] = (hashes[winners] & _UPPER) | np.arange(
            self.count + 1, self.count + 1 + len(winners), dtype=np.uint64
        )
        if len(winners) < size:
            for word, more in zip(self._words, batch, strict=True):
                word[self.count : self.count + len(winners)] = more[winners]
        self.count += len(winners)
        return len(winners)

    def _find_places(self, hashes: Word, numbers: Word) -> NDArray[np.int64]:
        """The slot that each of the states has won; -1 for a state that is there already."""
        slots, mask = self._slots, np.int64(len(self._slots) - 1)
        won = np.full(len(hashes), -1, np.int64)
        waiting = np.arange(len(hashes))
        entries = (hashes & _UPPER) | (numbers + np.uint64(1))
        places = hashes.view(np.int64) & mask
        while len(waiting):
            seen = slots[places]
            empty = np.flatnonzero(seen == 0)
            if len(empty):
                mine, here = entries[empty], places[empty]
                slots[here] = mine
                now = slots[here]
                seen[empty] = now
                took = empty[now == mine]
                won[waiting[took]] = places[took]
            differs = self._differ(seen, entries)
            going = np.flatnonzero(differs)
            waiting, entries, places = waiting[going], entries[going], (places[going] + 1) & mask
        return won

    def _differ(self, seen: Word, entries: Word) -> NDArray[np.bool_]:
        """Whether two entries stand for different states."""
        differs = ((seen ^ entries) & _UPPER) != 0
        alike = np.flatnonzero(~differs)
        first = ((seen[alike] & _LOWER) - np.uint64(1)).view(np.int64)
        second = ((entries[alike] & _LOWER) - np.uint64(1)).view(np.int64)
        unequal = np.zeros(len(alike), np.bool_)
        for word in self._words:
            unequal |= word[first] != word[second]
        differs[alike] = unequal
        return differs

    def _make_room(self, more: int) -> None:
        needed = self.count + more
        if needed > len(self._words[0]):
            for index, word in enumerate(self._words):
                grown = np.empty(needed + self.count // 2, np.uint64)
                grown[: self.count] = word[: self.count]
                self._words[index] = grown
        if 2 * needed > len(self._slots):
            size = len(self._slots)
            while size < 2 * needed:
                size *= 2
            self._slots = np.zeros(0, np.uint64)
            self._slots = np.zeros(size, np.uint64)
            self._enter_again()

    def _enter_again(self) -> None:
        """Into empty slots. The states differ, so places are all that is looked for."""
        step = 1 << 17
        for start in range(0, self.count, step):
            stop = min(start + step, self.count)
            hashes = _hashes([word[start:stop] for word in self._words])
            self._find_places(hashes, np.arange(start, stop, dtype=np.uint64))

    def check_invariants(self) -> None:
        """Raises ValueError when (P1), (P2) or (P3) is broken."""
        used = np.flatnonzero(self._slots)
        numbers = np.sort((self._slots[used] & _LOWER).astype(np.int64) - 1)
        if not np.array_equal(numbers, np.arange(self.count)):
            raise ValueError(f"{len(used)} slots are in use, which are not those of {self.count} states")
        if 2 * self.count > len(self._slots):
            raise ValueError(f"{self.count} states in {len(self._slots)} slots")
        rows = {tuple(row) for row in np.stack(self.words()).T.tolist()}
        if len(rows) != self.count:
            raise ValueError(f"{self.count} states, {len(rows)} different ones")
        hashes = _hashes(self.words())
        for slot in used.tolist():
            start = int(hashes[int(self._slots[slot] & _LOWER) - 1] & np.uint64(len(self._slots) - 1))
            while start != slot:
                if self._slots[start] == 0:
                    raise ValueError(f"an empty slot {start} on the way to slot {slot}")
                start = (start + 1) % len(self._slots)


def _hashes(words: Sequence[Word]) -> Word:
    """Mixed so that low and high half both depend on every bit."""
    mixed: Word = words[0] * _MULTIPLIERS[0]
    mixed ^= mixed >> _HALF
    for word in words[1:]:
        mixed += word
        mixed *= _MULTIPLIERS[0]
        mixed ^= mixed >> _HALF
    mixed *= _MULTIPLIERS[1]
    mixed ^= mixed >> np.uint64(29)
    return mixed
