"""The meaning of a `DelaySystem` in sets and dictionaries, written from the words of `delay_system.py` alone.

A state is (values, ages, counts): values of sources, elements, followers; an age in ns or None for each element; a
number of ns for each timer. One state at a time, one literal at a time: as slow as it is plain.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain, combinations, product

from verifier.logic.bit_graph import Literal
from verifier.logic.delay_system import Bit, DelayedElement, DelaySystem

State = tuple[tuple[bool, ...], tuple[int | None, ...], tuple[int, ...]]


@dataclass(frozen=True)
class Step:
    fired: tuple[int, ...]
    is_tick: bool
    target: State
    is_bad: bool


class Reference:
    def __init__(self, system: DelaySystem) -> None:
        self.system = system
        self.bits: list[Bit] = [
            *system.sources,
            *(element.bit for element in system.elements),
            *(follower.bit for follower in system.followers),
        ]
        self.first_element = len(system.sources)
        self.first_follower = self.first_element + len(system.elements)

    def holds(self, literal: Literal, values: dict[Literal, bool]) -> bool:
        return self.system.graph.evaluate([literal], values)[0]

    def first(self) -> list[tuple[State, bool]]:
        """First states, and whether they are bad."""
        found = []
        for values in product((False, True), repeat=len(self.bits)):
            now = {bit.now: value for bit, value in zip(self.bits, values, strict=True)}
            if self.holds(self.system.first, now) and self.holds(self.system.permitted_at_first, now):
                ages = tuple(0 if self.is_excited(element, now) else None for element in self.system.elements)
                counts = tuple(
                    0 if self.holds(timer.reset_at_first, now) else timer.start for timer in self.system.timers
                )
                found.append(((values, ages, counts), self.holds(self.system.bad_at_first, now)))
        return found

    def is_excited(self, element: DelayedElement, now: dict[Literal, bool]) -> bool:
        return now[element.bit.now] != self.holds(element.target, now) or self.holds(element.optional, now)

    def readings(self, counts: tuple[int, ...]) -> dict[Literal, bool]:
        return {
            reading.variable: count >= reading.at_least
            for timer, count in zip(self.system.timers, counts, strict=True)
            for reading in timer.readings
        }

    def steps(self, state: State) -> Iterator[Step]:
        values, ages, counts = state
        here = {bit.now: value for bit, value in zip(self.bits, values, strict=True)} | self.readings(counts)
        for move in self.system.moves:
            if self.holds(move.enabled, here):
                yield from self.taken(state, {self.bits.index(bit) for bit in move.bits}, is_tick=False)
        ready = [place for place in range(len(ages)) if self.is_ready(place, values, ages)]
        for fired in chain.from_iterable(combinations(ready, size) for size in range(1, len(ready) + 1)):
            yield from self.taken(state, {self.first_element + place for place in fired}, is_tick=False)
        if self.system.timed and not self.holds(self.system.holds_time, here):
            due = (self.is_due(place, values, ages, here) for place in range(len(ages)))
            if not any(due):
                yield from self.taken(state, set(), is_tick=True)

    def is_ready(self, place: int, values: tuple[bool, ...], ages: tuple[int | None, ...]) -> bool:
        age, element = ages[place], self.system.elements[place]
        if age is None:
            return False
        way = element.fall if values[self.first_element + place] else element.rise
        return not self.system.timed or age >= way.low

    def is_due(
        self, place: int, values: tuple[bool, ...], ages: tuple[int | None, ...], here: dict[Literal, bool]
    ) -> bool:
        element = self.system.elements[place]
        way = element.fall if values[self.first_element + place] else element.rise
        return ages[place] == way.high and not self.holds(element.optional, here)

    def taken(self, state: State, turned: set[int], *, is_tick: bool) -> Iterator[Step]:
        system = self.system
        values, ages, counts = state
        for chosen in product((False, True), repeat=len(system.choices)):
            known = {bit.before: value for bit, value in zip(self.bits, values, strict=True)}
            known |= self.readings(counts) | dict(zip(system.choices, chosen, strict=True))
            if system.tick is not None:
                known[system.tick] = is_tick
            for place, bit in enumerate(self.bits[: self.first_follower]):
                known[bit.now] = values[place] != (place in turned)
            for follower in system.followers:
                known[follower.bit.now] = self.holds(follower.next, known)
            if not self.holds(system.permitted, known):
                continue
            after = tuple(known[bit.now] for bit in self.bits)
            target = (
                after,
                tuple(self.age_after(place, ages, after, turned, known, is_tick) for place in range(len(ages))),
                tuple(
                    0 if self.holds(timer.reset, known) else min(count + is_tick, timer.most)
                    for timer, count in zip(system.timers, counts, strict=True)
                ),
            )
            fired = tuple(sorted(place - self.first_element for place in turned if place >= self.first_element))
            yield Step(fired, is_tick, target, self.holds(system.bad, known))

    def age_after(
        self,
        place: int,
        ages: tuple[int | None, ...],
        after: tuple[bool, ...],
        turned: set[int],
        known: dict[Literal, bool],
        is_tick: bool,
    ) -> int | None:
        element, age = self.system.elements[place], ages[place]
        now = {bit.now: value for bit, value in zip(self.bits, after, strict=True)}
        if not self.is_excited(element, now):
            return None
        if age is None or self.first_element + place in turned:
            return 0
        way = element.fall if after[self.first_element + place] else element.rise
        return min(age + is_tick, way.high) if self.system.timed else 0

    def reachable(self, most: int = 100_000) -> tuple[set[State], int | None]:
        """All states up to the first bad step, the least time at which one is bad (ns; moves without delays)."""
        first = self.first()
        seen = {state for state, _ in first}
        if any(is_bad for _, is_bad in first):
            return seen, 0
        at, layer = 0, set(seen)
        while layer:
            waiting, ticked = list(layer), set()
            while waiting:
                for step in self.steps(waiting.pop()):
                    if step.is_tick or not self.system.timed:
                        ticked.add((step.target, step.is_bad))
                    elif step.is_bad:
                        return seen, at
                    elif step.target not in seen:
                        seen.add(step.target)
                        waiting.append(step.target)
                if len(seen) > most:
                    raise OverflowError(f"more than {most} states")
            at += 1
            if any(is_bad for _, is_bad in ticked):
                return seen, at
            layer = {state for state, _ in ticked} - seen
            seen |= layer
        return seen, None
