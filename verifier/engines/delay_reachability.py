"""Whether a `DelaySystem` can become bad: all its states are reached, many at a time.

Decides `DelayedReached` with a run that is bad at its last instant and nowhere before, and of which no other is bad
earlier in time; among those that are bad after the same number of ns it need not be one of the fewest instants (it is
without delays). `DelayedUnreachable` with the exact set of reachable states. `Undecided` when the time, the memory or
the depth that was asked for ends first, or when one state has more moves than this engine looks at.

States are found ns by ns: all that moves lead to within one ns, move after move, before the first tick.

(D1) `_layers` divides the states, in the order they were found; within a layer all were found by moves from the layer
before, or all by a tick from a state one ns before (or they are first states).
(D2) When a state is found at `at` ns, no run leads to it in fewer.
(D3) No step from a state of a layer whose successor layer exists is bad.

No state keeps its predecessor. For a counterexample the layers are walked backwards: the steps from the layer before
are taken again until one leads to the wanted state (D1). That takes at most as long as the search did.

It ends: there are finitely many states, and each is looked at once.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from verifier.engines.decision import Undecided
from verifier.engines.delay_logic import Steps, TooManySteps
from verifier.engines.delay_steps import DelaySteps
from verifier.engines.first_states import TooManyFirstStates, first_columns
from verifier.engines.packed_states import StateSet
from verifier.logic.delay_system import DelayedInstant, DelaySystem
from verifier.logic.reached_states import ReachedStates, StateLayout, Words, layout_of

Result = TypeVar("Result")

ENGINE = "explicit search of all states in time"

CHUNK = 1 << 15
"""States that are worked out together: a column of truth values fits the nearest cache."""

MOST_WAITING = 1 << 18
"""Targets of steps that are added together."""


@dataclass(frozen=True, kw_only=True)
class DelayedReached:
    """`bad` can happen; nowhere earlier in time."""

    instants: tuple[DelayedInstant, ...]
    engine: str


@dataclass(frozen=True, kw_only=True)
class DelayedUnreachable:
    """`bad` can never happen; these are all states that can be reached."""

    states: ReachedStates
    engine: str


Going = Generator[None, None, Result]
"""Stops now and then on the way to its result."""

DelayedDecision = DelayedReached | DelayedUnreachable | Undecided


def decide_delayed(
    system: DelaySystem,
    *,
    limit_seconds: float,
    memory_bytes: int = 1 << 30,
    depth: int | None = None,
    progress: Callable[[int], None] | None = None,
) -> DelayedDecision:
    """Can `bad` happen?

    `memory_bytes` is for the states; about 100 MB more are needed to work. `depth` is in ns, without delays in moves:
    nothing later is looked at. `progress` is told the number of states found, now and then. `searched_to` of an
    undecided answer counts instants: what was searched through takes in every run of so many.
    A counterexample that was found is written out whatever the limit: that takes no longer than finding it did.
    """
    search = StateSearch(system, memory_bytes=memory_bytes, depth=depth, progress=progress)
    return search.go_on(limit_seconds)


class _Stopped(Exception):
    """The memory or the depth came to its end."""


@dataclass(frozen=True, kw_only=True)
class _Layer:
    start: int
    stop: int
    """One more than the number of its last state."""
    at: int
    """ns since the first instant; without delays the number of moves."""
    by_tick: bool


@dataclass(frozen=True, kw_only=True)
class _BadStep:
    parent: int
    """Number of the state it was taken from."""
    steps: Steps
    place: int
    by_tick: bool


class StateSearch:
    """The search of `decide_delayed`, which can be gone on with."""

    def __init__(
        self,
        system: DelaySystem,
        *,
        memory_bytes: int = 1 << 30,
        depth: int | None = None,
        progress: Callable[[int], None] | None = None,
    ) -> None:
        self._system = system
        self._layout: StateLayout = layout_of(system)
        self._memory_bytes = memory_bytes
        self._depth = depth
        self._progress = progress
        self._states = StateSet(self._layout.word_count)
        self._layers: list[_Layer] = []
        self._at = 0
        self.frames = 0
        """No run of so many instants is bad."""

        self._going = self._decide()
        self._ended: DelayedDecision | None = None
        self._deadline = 0.0

    @property
    def has_ended(self) -> bool:
        """More time would change nothing."""
        return self._ended is not None

    def go_on(self, limit_seconds: float) -> DelayedDecision:
        """The decision, if it takes no longer; what was found so far is kept for the next call."""
        self._deadline = time.monotonic() + limit_seconds
        while self._ended is None:
            try:
                next(self._going)
            except StopIteration as decision:
                self._ended = decision.value
            except (_Stopped, TooManyFirstStates, TooManySteps) as stopped:
                self._ended = self._undecided(str(stopped))
            else:
                if time.monotonic() > self._deadline:
                    return self._undecided(f"the time ran out {self._so_far()}")
        return self._ended

    def _undecided(self, reason: str) -> Undecided:
        return Undecided(reason=reason, searched_to=self.frames, engine=ENGINE)

    def _decide(self) -> Going[DelayedDecision]:
        """Yields wherever the time may be looked at."""
        yield
        self._steps = DelaySteps(self._system, self._layout)
        bad = self._begin()
        if bad is not None:
            return DelayedReached(instants=(bad,), engine=ENGINE)
        found = yield from self._reach_all()
        if found is not None:
            return DelayedReached(instants=self._run_to(found), engine=ENGINE)
        return DelayedUnreachable(states=ReachedStates(self._layout, self._states.words()), engine=ENGINE)

    def _begin(self) -> DelayedInstant | None:
        """Finds the first states; the first instant if one of them is bad."""
        rows, columns = first_columns(self._system, self._deadline)
        words, is_bad = self._steps.first(columns, rows)
        if is_bad.any():
            place = int(is_bad.argmax())
            return DelayedInstant(0, tuple(bool(column[place]) for column in columns), ())
        self._add([words])
        self._layers.append(_Layer(start=0, stop=self._states.count, at=0, by_tick=False))
        return None

    def _reach_all(self) -> Going[_BadStep | None]:
        """Finds everything that can be reached, or a bad step."""
        within = self._pass_time if self._system.timed else self._pass_move
        while self._layers[-1].stop > self._layers[-1].start:
            found = yield from within()
            if found is not None:
                return found
        return None

    def _pass_move(self) -> Going[_BadStep | None]:
        self._begin_at(self._at + 1)
        found = yield from self._take(False, self._layers[-1].start)
        self.frames = self._at
        return found

    def _pass_time(self) -> Going[_BadStep | None]:
        """All moves within the present ns, then the tick."""
        start = self._layers[-1].start
        while self._layers[-1].stop > self._layers[-1].start:
            found = yield from self._take(False, self._layers[-1].start)
            if found is not None:
                return found
        self._layers.pop()
        self.frames = self._at + 1
        self._begin_at(self._at + 1)
        return (yield from self._take(True, start))

    def _begin_at(self, at: int) -> None:
        if self._depth is not None and at > self._depth:
            raise _Stopped(f"nothing was found in the first {self._depth} {self._unit}")
        self._at = at

    def _start_of(self, at: int) -> int:
        return min(layer.start for layer in reversed(self._layers) if layer.at == at)

    def _take(self, by_tick: bool, start: int) -> Going[_BadStep | None]:
        """Takes the steps of all states from `start` on; what is new is the next layer."""
        stop, size = self._states.count, 0
        waiting: list[Words] = []
        for origin, steps in self._steps_from(start, stop, by_tick):
            if steps.is_bad.any():
                place = int(steps.is_bad.argmax())
                return _BadStep(parent=origin + int(steps.parents[place]), steps=steps, place=place, by_tick=by_tick)
            yield
            waiting.append(steps.targets)
            size += len(steps.parents)
            if size >= MOST_WAITING:
                self._add(waiting)
                size = 0
        self._add(waiting)
        self._layers.append(_Layer(start=stop, stop=self._states.count, at=self._at, by_tick=by_tick))
        if self._progress is not None:
            self._progress(self._states.count)
        return None

    def _steps_from(self, start: int, stop: int, by_tick: bool) -> Iterator[tuple[int, Steps]]:
        """Steps, and the number of the state that their parents are counted from."""
        for origin in range(start, stop, CHUNK):
            states = self._states.words(origin, min(origin + CHUNK, stop))
            if by_tick:
                steps = self._steps.ticks(states)
                if steps is not None:
                    yield origin, steps
            else:
                for part, taken in self._steps.moves(states):
                    yield origin + part, taken

    def _add(self, waiting: list[Words]) -> None:
        """Adds what waits, and empties it."""
        if not waiting:
            return
        words = [np.concatenate(columns) for columns in zip(*waiting, strict=True)]
        waiting.clear()
        if self._states.bytes_after(len(words[0])) > self._memory_bytes:
            raise _Stopped(f"the memory for states ({self._memory_bytes >> 20} MB) was full {self._so_far()}")
        self._states.add(words)

    @property
    def _unit(self) -> str:
        return "ns" if self._system.timed else "moves"

    def _so_far(self) -> str:
        return f"after {self._states.count} states, {self._at} {self._unit} from the first instant"

    # The run to a bad step

    def _run_to(self, bad: _BadStep) -> tuple[DelayedInstant, ...]:
        instants = [self._instant(bad.steps, bad.place, self._at if self._system.timed else 0)]
        number = bad.parent
        while True:
            index = next(index for index, layer in enumerate(self._layers) if layer.start <= number < layer.stop)
            layer = self._layers[index]
            at = layer.at if self._system.timed else 0
            if index == 0:
                columns = ReachedStates(self._layout, self._states.words()).columns(number, number + 1)
                instants.append(DelayedInstant(at, tuple(bool(column[0]) for column in columns.values), ()))
                return tuple(reversed(instants))
            steps, place, number = self._predecessor(number, layer, self._layers[index - 1])
            instants.append(self._instant(steps, place, at))

    def _predecessor(self, number: int, layer: _Layer, before: _Layer) -> tuple[Steps, int, int]:
        """A step that leads to the state, its place among the steps, and the number of the state it leads from."""
        wanted = [word[0] for word in self._states.words(number, number + 1)]
        start = self._start_of(layer.at - 1) if layer.by_tick else before.start
        for origin, steps in self._steps_from(start, before.stop, layer.by_tick):
            same = np.ones(len(steps.parents), np.bool_)
            for word, value in zip(steps.targets, wanted, strict=True):
                same &= word == value
            places = np.flatnonzero(same)
            if len(places):
                return steps, int(places[0]), origin + int(steps.parents[places[0]])
        raise RuntimeError(f"state {number} was reached from nowhere")

    def _instant(self, steps: Steps, place: int, at: int) -> DelayedInstant:
        """Where a step leads to."""
        target = ReachedStates(self._layout, tuple(word[place : place + 1] for word in steps.targets))
        values = tuple(bool(column[0]) for column in target.columns(0, 1).values)
        turned = sum(int(word[place]) << 64 * index for index, word in enumerate(steps.flips))
        fired = tuple(index for index in range(len(self._system.elements)) if turned >> index & 1)
        return DelayedInstant(at, values, fired)
