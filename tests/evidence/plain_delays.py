"""Delay systems of a few bits, made at random, and all that they do, worked out one state at a time.

Formulas are nested tuples with a meaning of their own here; the bit graph is only written to. The rules are those of
the docstring of `verifier.logic.delay_system`, read one sentence after the other.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import combinations, product
from random import Random

from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.logic.delay_system import (
    Bit,
    Delay,
    DelayedElement,
    DelaySystem,
    Follower,
    Reading,
    SourceMove,
    Timer,
)

Formula = tuple
"""("var", name), ("not", f), ("and", f, g), ("xor", f, g), ("const", value)."""

YES: Formula = ("const", True)
NO: Formula = ("const", False)


def meaning(formula: Formula, values: Mapping[str, bool]) -> bool:
    match formula:
        case ("var", name):
            return values[name]
        case ("const", value):
            return value
        case ("not", one):
            return not meaning(one, values)
        case ("and", one, other):
            return meaning(one, values) and meaning(other, values)
        case ("xor", one, other):
            return meaning(one, values) != meaning(other, values)
    raise ValueError(formula)


def both(one: Formula, other: Formula) -> Formula:
    return ("and", one, other)


def negated(one: Formula) -> Formula:
    return ("not", one)


def random_formula(random: Random, names: list[str], depth: int) -> Formula:
    if depth == 0 or random.random() < 0.2:
        return ("var", random.choice(names))
    kind = random.choice(["not", "and", "and", "xor"])
    if kind == "not":
        return negated(random_formula(random, names, depth - 1))
    return (kind, random_formula(random, names, depth - 1), random_formula(random, names, depth - 1))


@dataclass(frozen=True)
class PlainElement:
    name: str
    target: Formula
    rise: tuple[int, int]
    fall: tuple[int, int]
    optional: Formula = NO


@dataclass(frozen=True)
class PlainTimer:
    name: str
    most: int
    reset: Formula
    start: int
    readings: tuple[int, ...]


@dataclass(frozen=True)
class State:
    values: tuple[bool, ...]
    """Sources, elements, followers."""
    ages: tuple[int | None, ...]
    timers: tuple[int, ...]


@dataclass(kw_only=True)
class PlainSystem:
    """Variables are called `before x`, `now x`, `t at least n`, `choice n` and `tick`."""

    timed: bool
    sources: list[str]
    elements: list[PlainElement]
    followers: list[tuple[str, Formula]] = field(default_factory=list)
    timers: list[PlainTimer] = field(default_factory=list)
    moves: list[tuple[tuple[str, ...], Formula]] = field(default_factory=list)
    choices: int = 0
    first: Formula = YES
    bad_at_first: Formula = NO
    bad: Formula = NO
    permitted_at_first: Formula = YES
    permitted: Formula = YES
    holds_time: Formula = NO

    @property
    def bits(self) -> list[str]:
        return [*self.sources, *(e.name for e in self.elements), *(name for name, _ in self.followers)]

    def built(self) -> DelaySystem:
        return _Builder(self).system()

    # All that it does

    def first_states(self) -> Iterator[tuple[State, bool]]:
        """Each with whether it is bad."""
        for values in product((False, True), repeat=len(self.bits)):
            now = {f"now {bit}": value for bit, value in zip(self.bits, values, strict=True)}
            if meaning(self.first, now) and meaning(self.permitted_at_first, now):
                ages = tuple(0 if self._excited(e, now) else None for e in self.elements)
                yield State(values, ages, tuple(t.start for t in self.timers)), meaning(self.bad_at_first, now)

    def _excited(self, element: PlainElement, now: Mapping[str, bool]) -> bool:
        return now[f"now {element.name}"] != meaning(element.target, now) or meaning(element.optional, now)

    def steps(self, state: State) -> Iterator[tuple[str, State, bool]]:
        """What happens, the state afterwards, and whether the step is bad."""
        last = {f"now {bit}": value for bit, value in zip(self.bits, state.values, strict=True)}
        readings = {
            f"{timer.name} at least {n}": number >= n
            for timer, number in zip(self.timers, state.timers, strict=True)
            for n in timer.readings
        }
        for bits, enabled in self.moves:
            if meaning(enabled, {**last, **readings}):
                yield from self._outcomes(state, set(bits), False, "turning over " + " and ".join(bits), readings)
        ready = [e.name for e, age in zip(self.elements, state.ages, strict=True) if self._ready(e, age, last)]
        for size in range(1, len(ready) + 1):
            for fired in combinations(ready, size):
                yield from self._outcomes(state, set(fired), False, "firing " + " and ".join(fired), readings)
        if self.timed and not meaning(self.holds_time, {**last, **readings}):
            due = (self._due(e, age, last) for e, age in zip(self.elements, state.ages, strict=True))
            if not any(due):
                yield from self._outcomes(state, set(), True, "a tick of one ns", readings)

    def _delay(self, element: PlainElement, now: Mapping[str, bool]) -> tuple[int, int]:
        return element.fall if now[f"now {element.name}"] else element.rise

    def _ready(self, element: PlainElement, age: int | None, now: Mapping[str, bool]) -> bool:
        return age is not None and (not self.timed or age >= self._delay(element, now)[0])

    def _due(self, element: PlainElement, age: int | None, now: Mapping[str, bool]) -> bool:
        return age is not None and not meaning(element.optional, now) and age >= self._delay(element, now)[1]

    def _outcomes(
        self, state: State, turned: set[str], is_tick: bool, text: str, readings: Mapping[str, bool]
    ) -> Iterator[tuple[str, State, bool]]:
        for chosen in product((False, True), repeat=self.choices):
            values = {"tick": is_tick, **readings, **{f"choice {n}": value for n, value in enumerate(chosen)}}
            for bit, value in zip(self.bits, state.values, strict=True):
                values[f"before {bit}"] = value
            for bit in self.bits[: len(self.sources) + len(self.elements)]:
                values[f"now {bit}"] = values[f"before {bit}"] != (bit in turned)
            for name, formula in self.followers:
                values[f"now {name}"] = meaning(formula, values)
            if meaning(self.permitted, values):
                after = State(
                    tuple(values[f"now {bit}"] for bit in self.bits),
                    tuple(self._ages(state, turned, is_tick, values)),
                    tuple(self._timers(state, is_tick, values)),
                )
                yield text, after, meaning(self.bad, values)

    def _ages(self, state: State, turned: set[str], is_tick: bool, values: Mapping[str, bool]) -> Iterator[int | None]:
        for element, age in zip(self.elements, state.ages, strict=True):
            if not self._excited(element, values):
                yield None
            elif age is None or element.name in turned:
                yield 0
            else:
                yield min(age + is_tick, self._delay(element, values)[1] if self.timed else 0)

    def _timers(self, state: State, is_tick: bool, values: Mapping[str, bool]) -> Iterator[int]:
        for timer, number in zip(self.timers, state.timers, strict=True):
            yield 0 if meaning(timer.reset, values) else min(number + is_tick, timer.most)

    def reachable(self, limit: int) -> tuple[set[State], bool] | None:
        """All reachable states, and whether something bad can be reached; None when there are more than the limit."""
        firsts = list(self.first_states())
        reached = {state for state, _ in firsts}
        is_bad = any(bad for _, bad in firsts)
        pending = list(reached)
        while pending:
            if len(reached) > limit:
                return None
            for _, after, bad in self.steps(pending.pop()):
                is_bad |= bad
                if after not in reached:
                    reached.add(after)
                    pending.append(after)
        return reached, is_bad

    def random_state(self, random: Random) -> State:
        """One whose ages go with its values."""
        values = tuple(random.random() < 0.5 for _ in self.bits)
        now = {f"now {bit}": value for bit, value in zip(self.bits, values, strict=True)}
        ages = []
        for element in self.elements:
            most = self._delay(element, now)[1] if self.timed else 0
            ages.append(random.randint(0, most) if self._excited(element, now) else None)
        return State(values, tuple(ages), tuple(random.randint(0, timer.most) for timer in self.timers))


class _Builder:
    def __init__(self, plain: PlainSystem) -> None:
        self._plain = plain
        self.graph = BitGraph()
        self._variables: dict[str, Literal] = {}

    def _variable(self, name: str) -> Literal:
        if name not in self._variables:
            self._variables[name] = self.graph.variable(name)
        return self._variables[name]

    def _bit(self, name: str) -> Bit:
        return Bit(name, self._variable(f"before {name}"), self._variable(f"now {name}"))

    def _literal(self, formula: Formula) -> Literal:
        match formula:
            case ("var", name):
                return self._variable(name)
            case ("const", value):
                return TRUE if value else FALSE
            case ("not", one):
                return self._literal(one) ^ 1
            case ("and", one, other):
                return self.graph.conjunction(self._literal(one), self._literal(other))
            case ("xor", one, other):
                return self.graph.exclusive_or(self._literal(one), self._literal(other))
        raise ValueError(formula)

    def system(self) -> DelaySystem:
        plain = self._plain
        return DelaySystem(
            graph=self.graph,
            timed=plain.timed,
            sources=tuple(self._bit(name) for name in plain.sources),
            elements=tuple(
                DelayedElement(
                    bit=self._bit(e.name),
                    target=self._literal(e.target),
                    rise=Delay(*e.rise),
                    fall=Delay(*e.fall),
                    optional=self._literal(e.optional),
                )
                for e in plain.elements
            ),
            followers=tuple(Follower(bit=self._bit(name), next=self._literal(f)) for name, f in plain.followers),
            timers=tuple(
                Timer(
                    name=t.name,
                    most=t.most,
                    reset=self._literal(t.reset),
                    start=t.start,
                    readings=tuple(Reading(n, self._variable(f"{t.name} at least {n}")) for n in t.readings),
                )
                for t in plain.timers
            ),
            moves=tuple(
                SourceMove(bits=tuple(map(self._bit, bits)), enabled=self._literal(f)) for bits, f in plain.moves
            ),
            first=self._literal(plain.first),
            bad_at_first=self._literal(plain.bad_at_first),
            bad=self._literal(plain.bad),
            permitted_at_first=self._literal(plain.permitted_at_first),
            permitted=self._literal(plain.permitted),
            holds_time=self._literal(plain.holds_time),
            choices=tuple(self._variable(f"choice {n}") for n in range(plain.choices)),
            tick=self._variable("tick"),
        )


def random_system(random: Random) -> PlainSystem:
    """Timed or not, with a little of everything."""
    timed = random.random() < 0.6
    sources = [f"lever{i}" for i in range(random.randint(1, 3))]
    names = [f"hammer{i}" for i in range(random.randint(1, 3))]
    followers = [f"memory{i}" for i in range(random.randint(0, 2))]
    bits = [*sources, *names, *followers]
    readable = {f"rest{i}": _some_numbers(random) for i in range(random.randint(0, 2))} if timed else {}
    readings = [f"{timer} at least {n}" for timer, numbers in readable.items() for n in numbers]
    choices = random.choice([0, 0, 1, 2])
    now = [f"now {bit}" for bit in bits]
    step_names = [f"before {bit}" for bit in bits] + readings + [f"choice {n}" for n in range(choices)]
    step_names += ["tick"] if timed else []
    reading_now = step_names + now[: len(sources) + len(names)]
    moves = [
        (tuple(sorted(random.sample(sources, random.randint(1, len(sources))))), _often(random, [*now, *readings]))
        for _ in range(random.randint(1, 3))
    ]
    idle = _idle_elements(random, timed)
    return PlainSystem(
        timed=timed,
        sources=sources,
        elements=[*(_random_element(random, name, now) for name in names), *idle],
        followers=[
            (name, random_formula(random, reading_now + [f"now {f}" for f in followers[:i]], 2))
            for i, name in enumerate(followers)
        ],
        timers=[
            PlainTimer(
                name,
                most := max(numbers),
                random_formula(random, step_names + now, 1),
                random.randint(0, most),
                numbers,
            )
            for name, numbers in readable.items()
        ],
        moves=moves,
        choices=choices,
        first=_with_idle_low(_rarely(random, now), idle),
        bad_at_first=both(_rarely(random, now), _rarely(random, now)) if random.random() < 0.3 else NO,
        bad=both(_rarely(random, step_names + now), _rarely(random, now)) if random.random() < 0.6 else NO,
        permitted_at_first=_often(random, now),
        permitted=_often(random, step_names + now),
        holds_time=_rarely(random, [*now, *readings]) if random.random() < 0.5 else NO,
    )


def _some_numbers(random: Random) -> tuple[int, ...]:
    return tuple(sorted({random.randint(1, 4) for _ in range(random.randint(1, 2))}))


def _random_element(random: Random, name: str, now: list[str]) -> PlainElement:
    def delay() -> tuple[int, int]:
        low = random.randint(0, 3)
        return low, max(1, low + random.randint(0, 3))

    optional = _rarely(random, now) if random.random() < 0.3 else NO
    return PlainElement(name, random_formula(random, now, 2), delay(), delay(), optional)


def _idle_elements(random: Random, timed: bool) -> list[PlainElement]:
    """Elements that never move, so slow that a state takes two or three words."""
    if not timed or random.random() < 0.7:
        return []
    count = random.choice([1, 5, 9])
    return [PlainElement(f"idle{i}", ("var", f"now idle{i}"), (4000, 4000), (4000, 5000)) for i in range(count)]


def _with_idle_low(first: Formula, idle: list[PlainElement]) -> Formula:
    for element in idle:
        first = both(first, negated(("var", f"now {element.name}")))
    return first


def _often(random: Random, names: list[str]) -> Formula:
    return negated(both(random_formula(random, names, 1), random_formula(random, names, 1)))


def _rarely(random: Random, names: list[str]) -> Formula:
    return both(random_formula(random, names, 1), random_formula(random, names, 1))
