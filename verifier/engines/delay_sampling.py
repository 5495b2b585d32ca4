"""A run of a `DelaySystem` to a bad step, looked for among samples of its states.

Where there are far too many states to look at all of them, so many of each layer are kept by chance and the others
forgotten; the next attempt keeps twice as many and goes further. Everything found is a run; not finding one says
nothing. States are taken ns by ns as in `delay_reachability.py`, so what is found first is early in time, though
seldom the earliest.

(S1) Every state of a layer knows the state that it came from and what turned over on the way.
(S2) Within a ns no state is kept twice, and no more than MOST_MOVES_IN_A_NS moves follow one another.

It ends: every attempt looks at a bounded number of ns, and attempts are made until the time is over.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verifier.engines.delay_logic import Steps, TooManySteps
from verifier.engines.delay_reachability import DelayedReached, Going
from verifier.engines.delay_steps import DelaySteps
from verifier.engines.first_states import TooManyFirstStates, first_columns
from verifier.engines.packed_states import hashed
from verifier.logic.delay_system import DelayedInstant, DelaySystem
from verifier.logic.reached_states import ReachedStates, StateLayout, Words, layout_of

ENGINE = "search of samples of the states in time"
FIRST_WIDTH = 256
"""States of a layer that the first attempt keeps."""
MOST_MOVES_IN_A_NS = 12
LONGEST_HORIZON = 1 << 14
_MERGED = -2
"""Stands for the number of the layer before, where the parents are in several: a parent is then the number of its layer
times _PLACES, plus its place there."""
_PLACES = 1 << 32


class Samples:
    """Attempt after attempt, each with twice as many samples as the one before."""

    def __init__(self, system: DelaySystem, *, horizon: int, depth: int | None = None, seed: int = 0) -> None:
        """The system is timed. The first attempt goes `horizon` ns far, no attempt more than `depth`. The same seed
        finds the same run."""
        self._system = system
        self._random = np.random.default_rng(seed)
        self._horizon, self._depth = horizon, depth
        self._deadline = 0.0
        self._going = self._attempts()
        self._found: DelayedReached | None = None

    def go_on(self, limit_seconds: float) -> DelayedReached | None:
        """A run that is bad at its last instant, if it takes no longer; an attempt under way is gone on with."""
        self._deadline = time.monotonic() + limit_seconds
        while self._found is None:
            try:
                next(self._going)
            except StopIteration as ended:
                self._found = ended.value
                return self._found
            except (TooManyFirstStates, TooManySteps):
                return None
            if time.monotonic() > self._deadline:
                return None
        return self._found

    def _attempts(self) -> Going[DelayedReached | None]:
        yield
        sampling = _Sampling(self._system, self._deadline, self._random)
        width, horizon = FIRST_WIDTH, self._horizon
        while True:
            reach = horizon if self._depth is None else min(horizon, self._depth)
            found = yield from sampling.attempt(width, reach)
            if found is not None:
                return DelayedReached(instants=found, engine=ENGINE)
            if sampling.is_empty:
                return None
            width, horizon = 2 * width, min(2 * horizon, LONGEST_HORIZON)


@dataclass(frozen=True, kw_only=True)
class _Layer:
    """States that were kept, and for each where it came from (S1)."""

    at: int
    words: Words
    before: int
    """Number of the layer that the parents are in, -1: none."""
    parents: NDArray[np.int64]
    flips: Words
    """What turned over; no words after a tick, and at first."""

    @property
    def count(self) -> int:
        return len(self.words[0])


class _Sampling:
    def __init__(self, system: DelaySystem, deadline: float, random: np.random.Generator) -> None:
        """`deadline` is for finding the first states."""
        self._system = system
        self._random = random
        self._layout: StateLayout = layout_of(system)
        self._steps = DelaySteps(system, self._layout)
        rows, columns = first_columns(system, deadline)
        self._first, self._first_is_bad = self._steps.first(columns, rows)
        self._layers: list[_Layer] = []

    @property
    def is_empty(self) -> bool:
        """There is no first state."""
        return not len(self._first[0])

    def attempt(self, width: int, horizon: int) -> Going[tuple[DelayedInstant, ...] | None]:
        """A run of at most so many ns, or None."""
        self._layers = []
        bad = np.flatnonzero(self._first_is_bad)
        if len(bad):
            self._keep(0, self._first, -1, np.full(len(self._first[0]), -1), (), bad[:1])
            return self._run_to(0, 0)
        count = len(self._first[0])
        if not count:
            return None
        self._keep(0, self._first, -1, np.full(count, -1), (), self._some(count, width))
        for at in range(horizon):
            begin = len(self._layers) - 1
            found = yield from self._moves_within(at, width)
            found = found or (yield from self._tick(at + 1, begin, width))
            if found is not None:
                return found
            if self._layers[-1].at == at:
                break  # time cannot go on from any of the samples
        return None

    def _moves_within(self, at: int, width: int) -> Going[tuple[DelayedInstant, ...] | None]:
        seen = hashed(self._layers[-1].words)
        for _ in range(MOST_MOVES_IN_A_NS):
            number = len(self._layers) - 1
            gathered = _Gathered()
            for origin, steps in self._steps.moves(self._layers[number].words):
                yield
                place = _bad_place(steps)
                if place is not None:
                    return self._finished(at, number, steps, place, origin)
                gathered.add(steps, origin)
            words, parents, flips = gathered.together()
            if not len(parents):
                return None
            hashes, places = np.unique(hashed(words), return_index=True)
            new = places[~np.isin(hashes, seen)]
            if not len(new):
                return None
            kept = new[self._some(len(new), width)]
            self._keep(at, words, number, parents, flips, kept)
            seen = np.concatenate((seen, hashed(self._layers[-1].words)))
        return None

    def _tick(self, at: int, begin: int, width: int) -> Going[tuple[DelayedInstant, ...] | None]:
        """From all layers of the ns that ends, each with its share of what is kept."""
        share = max(1, width // (len(self._layers) - begin))
        ticked: list[tuple[int, Steps]] = []
        for number in range(begin, len(self._layers)):
            yield
            steps = self._steps.ticks(self._layers[number].words)
            if steps is None:
                continue
            place = _bad_place(steps)
            if place is not None:
                return self._finished(at, number, steps, place, 0)
            ticked.append((number, steps))
        for number, steps in ticked:
            count = len(steps.parents)
            if count:
                kept = self._some(count, share)
                self._keep(at, steps.targets, number, steps.parents, (), kept)
        self._merge(at, len(ticked))
        return None

    def _merge(self, at: int, most: int) -> None:
        """One layer of what the last ticks led to, so that the moves of the next ns start from all of it."""
        last = [
            number for number in range(len(self._layers) - most, len(self._layers)) if self._layers[number].at == at
        ]
        if len(last) < 2:
            return
        layers = [self._layers[number] for number in last]
        words = tuple(np.concatenate(columns) for columns in zip(*(layer.words for layer in layers), strict=True))
        numbers = np.concatenate([np.full(layer.count, number) for number, layer in zip(last, layers, strict=True)])
        places = np.concatenate([np.arange(layer.count) for layer in layers])
        self._layers.append(_Layer(at=at, words=words, before=_MERGED, parents=numbers * _PLACES + places, flips=()))

    def _some(self, count: int, width: int) -> NDArray[np.int64]:
        """Places of at most so many, by chance."""
        return np.arange(count) if count <= width else self._random.permutation(count)[:width]

    def _keep(
        self, at: int, words: Words, before: int, parents: NDArray[np.int64], flips: Words, places: NDArray[np.int64]
    ) -> None:
        self._layers.append(
            _Layer(
                at=at,
                words=tuple(word[places] for word in words),
                before=before,
                parents=parents[places],
                flips=tuple(word[places] for word in flips),
            )
        )

    def _finished(self, at: int, before: int, steps: Steps, place: int, origin: int) -> tuple[DelayedInstant, ...]:
        self._keep(at, steps.targets, before, steps.parents + origin, steps.flips, np.array([place]))
        return self._run_to(len(self._layers) - 1, 0)

    def _run_to(self, number: int, place: int) -> tuple[DelayedInstant, ...]:
        return tuple(reversed([*self._backwards(number, place)]))

    def _backwards(self, number: int, place: int) -> Iterator[DelayedInstant]:
        while number >= 0:
            layer = self._layers[number]
            if layer.before == _MERGED:
                number, place = divmod(int(layer.parents[place]), _PLACES)
                continue
            state = ReachedStates(self._layout, tuple(word[place : place + 1] for word in layer.words))
            values = tuple(bool(column[0]) for column in state.columns(0, 1).values)
            turned = sum(int(word[place]) << 64 * index for index, word in enumerate(layer.flips))
            fired = tuple(index for index in range(len(self._system.elements)) if turned >> index & 1)
            yield DelayedInstant(layer.at, values, fired)
            number, place = layer.before, int(layer.parents[place])


class _Gathered:
    """Steps of one layer, part after part."""

    def __init__(self) -> None:
        self._parts: list[tuple[Words, NDArray[np.int64], Words]] = []

    def add(self, steps: Steps, origin: int) -> None:
        self._parts.append((steps.targets, steps.parents + origin, steps.flips))

    def together(self) -> tuple[Words, NDArray[np.int64], Words]:
        if not self._parts:
            return (), np.zeros(0, np.int64), ()
        targets, parents, flips = zip(*self._parts, strict=True)
        return _joined(targets), np.concatenate(parents), _joined(flips)


def _joined(parts: tuple[Words, ...]) -> Words:
    return tuple(np.concatenate(columns) for columns in zip(*parts, strict=True))


def _bad_place(steps: Steps) -> int | None:
    bad: NDArray[np.bool_] = steps.is_bad
    return int(bad.argmax()) if len(bad) and bad.any() else None
