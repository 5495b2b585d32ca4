"""The second opinion on a proof by all reachable states: the states are closed under steps, and no step is bad.

    start  every possible first state is among them, and none is bad
    step   from every one of them, every step that may happen leads to one of them
    claim  no such step is bad

Then, by induction on the length of a run, no run is bad. Nothing is searched for and no frontier is kept: the set is
given, and each of its states is looked at once. How a step is taken shares no code with the engine, and goes another
way: states that agree in everything that decides what may happen are handled as one (`closure_situations.py`), the
formulas are worked out 64 to a machine word (`delay_columns.py`), and a step is an operation on the keys of all these
states. It does not judge whether the delay system says what the circuit does.

A set that has more states than the reachable ones is as good a proof, if it passes.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence

import numpy as np

from verifier.errors import InternalDisagreement
from verifier.evidence.closure_keys import KeyWord, SortedKeys
from verifier.evidence.closure_situations import KeyPlaces, key_places, keys_of, situations_in
from verifier.evidence.closure_start import first_states
from verifier.evidence.closure_steps import Steps, StepsOf
from verifier.evidence.replay import Unconfirmed
from verifier.logic.delay_system import DelaySystem
from verifier.logic.reached_states import ReachedStates

STATES_AT_ONCE = 1 << 19
"""Larger is faster."""
NODES_AT_ONCE = 1 << 29
"""A node of the graph takes a quarter of a byte for each state."""


def recheck_states(system: DelaySystem, states: ReachedStates, *, limit_seconds: float) -> None:
    """Returns when the states prove that no run of the system is bad.

    Raises:
        InternalDisagreement: they do not; the message says in which state, and by which step.
        Unconfirmed: the time was not enough.
    """
    check_clock = _clock(limit_seconds)
    places = key_places(system)
    keys = SortedKeys(_all_keys(system, places, states, check_clock))
    _check_start(system, places, keys, check_clock)
    steps_of = StepsOf(system, places, check_clock)
    at_once = max(1, min(STATES_AT_ONCE, NODES_AT_ONCE // len(system.graph)))
    for start in range(0, keys.count, at_once):
        check_clock()
        words = tuple(word[start : start + at_once] for word in keys.words)
        for steps in steps_of.steps(situations_in(system, places, words)):
            check_clock()
            _check_steps(system, places, keys, steps)


def _clock(limit_seconds: float) -> Callable[[], None]:
    deadline = time.monotonic() + limit_seconds

    def check() -> None:
        if time.monotonic() > deadline:
            raise Unconfirmed(f"not all states of the proof could be looked at again within {limit_seconds:g} s")

    return check


def _all_keys(
    system: DelaySystem, places: KeyPlaces, states: ReachedStates, check_clock: Callable[[], None]
) -> Sequence[KeyWord]:
    pieces: list[list[KeyWord]] = []
    for columns in states.chunks():
        check_clock()
        pieces.append(keys_of(system, places, columns))
    return [
        np.concatenate([piece[number] for piece in pieces]) if pieces else np.zeros(0, np.uint64)
        for number in range(places.word_count)
    ]


def _check_start(system: DelaySystem, places: KeyPlaces, keys: SortedKeys, check_clock: Callable[[], None]) -> None:
    for firsts in first_states(system, check_clock):
        words = keys_of(system, places, firsts.columns)
        if firsts.bad.any():
            state = _state_text(system, places, words, int(np.argmax(firsts.bad)))
            raise InternalDisagreement(f"a first state is bad: {state}")
        absent = keys.first_absent(words)
        if absent is not None:
            state = _state_text(system, places, words, absent)
            raise InternalDisagreement(f"a first state is not among the {keys.count} states of the proof: {state}")


def _check_steps(system: DelaySystem, places: KeyPlaces, keys: SortedKeys, steps: Steps) -> None:
    if steps.bad_row is not None:
        state = _state_text(system, places, steps.sources, steps.bad_row)
        raise InternalDisagreement(f"a step is bad: {steps.describe(steps.bad_row)}, from the state {state}")
    absent = keys.first_absent(steps.targets)
    if absent is not None:
        before = _state_text(system, places, steps.sources, absent)
        after = _state_text(system, places, steps.targets, absent)
        raise InternalDisagreement(
            f"a step leads out of the {keys.count} states of the proof: {steps.describe(absent)}, from the state "
            f"{before} to {after}"
        )


def _state_text(system: DelaySystem, places: KeyPlaces, words: Sequence[KeyWord], row: int) -> str:
    one = [word[row : row + 1] for word in words]
    return "(" + ", ".join(_parts_of_state(system, places, one)) + ")"


def _parts_of_state(system: DelaySystem, places: KeyPlaces, one: Sequence[KeyWord]) -> Iterator[str]:
    ages = [int(place.read(one)[0]) - 1 for place in places.ages]
    bits = [*system.sources, *(e.bit for e in system.elements), *(f.bit for f in system.followers)]
    ages_of_bits = [-1] * len(system.sources) + ages + [-1] * len(system.followers)
    for bit, place, age in zip(bits, places.values, ages_of_bits, strict=True):
        excited = "" if age < 0 else f" excited for {age} ns" if system.timed else " excited"
        yield f"{bit.name} {int(place.read_bit(one)[0])}{excited}"
    for timer, place in zip(system.timers, places.timers, strict=True):
        yield f"{timer.name} at {int(place.read(one)[0])} ns"
