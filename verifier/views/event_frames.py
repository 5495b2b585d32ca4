"""A timed delay system as a transition system that jumps from event to event: for finding counterexamples.

One frame is one move, or a *jump* of any number of ns in which nothing moves. A jump is judged as its last tick, the
ns before it having passed unseen: what a claim remembers takes that one tick in. So a counterexample may not be one
(its replay, which lives through every tick, says so), and the absence of one proves nothing; the shortest way there
costs two frames a move, however long the delays are.

Ages and timers are binary numbers, lowest bit first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.logic.delay_system import Delay, DelayedElement, DelayedInstant, DelaySystem, Timer
from verifier.logic.transition_system import Counterexample, Register, TransitionSystem
from verifier.views.any_delay import one_of

Number = tuple[Literal, ...]


@dataclass(frozen=True)
class EventSystem:
    system: TransitionSystem
    now: tuple[Literal, ...]
    jump: Number
    """ns that pass in a frame; 0 in a move."""

    def instants_of(self, counterexample: Counterexample) -> tuple[DelayedInstant, ...]:
        graph, registers = self.system.graph, self.system.registers
        roots = [*self.now, *self.jump, *(register.next for register in registers)]
        state: dict[Literal, bool] = {}
        instants: list[DelayedInstant] = []
        at = 0
        for frame in counterexample.frames:
            values = graph.evaluate(roots, {**frame, **state})
            bits, rest = values[: len(self.now)], values[len(self.now) :]
            at += sum(bit << place for place, bit in enumerate(rest[: len(self.jump)]))
            instants.append(DelayedInstant(at, tuple(bits), ()))
            state = dict(zip((r.variable for r in registers), rest[len(self.jump) :], strict=True))
        return tuple(instants)


def event_system(delays: DelaySystem) -> EventSystem:
    """Raises ValueError for a system without time."""
    if not delays.timed:
        raise ValueError("no time passes in this system")
    return _Frames(delays).result()


class _Frames:
    def __init__(self, delays: DelaySystem) -> None:
        self._delays = delays
        self._graph: BitGraph = delays.graph
        self._inputs: list[Literal] = list(delays.choices)
        self._constraints: list[Literal] = []
        self._started = self._graph.variable("started")
        self._bits = [*delays.sources, *(e.bit for e in delays.elements), *(f.bit for f in delays.followers)]
        self._last = {bit.now: bit.before for bit in self._bits}
        longest = [max(e.rise.high, e.fall.high) for e in delays.elements] + [t.most for t in delays.timers]
        width = max(longest, default=1).bit_length()
        self._jumps = self._choose("jump")
        amount = tuple(self._choose("ns") for _ in range(width))
        self._jump: Number = tuple(self._graph.conjunction(bit, self._jumps) for bit in amount)
        self._constraints.append(self._graph.implication(self._jumps, self._graph.any_of(amount)))
        self._ages = {e.bit.now: self._register(f"{e.bit.name} age", _longest(e)) for e in delays.elements}
        self._counts = {timer.name: self._register(timer.name, timer.most) for timer in delays.timers}

    def result(self) -> EventSystem:
        graph, delays, started = self._graph, self._delays, self._started
        reached = {timer.name: self._before_the_last_tick(timer) for timer in delays.timers}
        images: dict[Literal, Literal] = {self._tick(): self._jumps}
        for timer in delays.timers:
            for reading in timer.readings:
                images[reading.variable] = _at_least(graph, reached[timer.name], reading.at_least)
        now = images | self._moved(images)
        for follower in delays.followers:
            (now[follower.bit.now],) = graph.substitute([follower.next], now)
        permitted, bad = graph.substitute([delays.permitted, delays.bad], now)
        self._constraints.append(permitted)
        at_first = {bit.now: self._choose(bit.name) for bit in self._bits}
        roots = [delays.first, delays.permitted_at_first, delays.bad_at_first]
        possible, permitted_at_first, bad_at_first = graph.substitute(roots, at_first)
        allowed = graph.select(
            started, graph.all_of(self._constraints), graph.conjunction(possible, permitted_at_first)
        )
        values = tuple(graph.select(started, now[bit.now], at_first[bit.now]) for bit in self._bits)
        registers = [Register(started, TRUE)]
        registers += [Register(bit.before, value) for bit, value in zip(self._bits, values, strict=True)]
        registers += self._age_registers(now)
        registers += self._timer_registers(now, at_first, reached)
        system = TransitionSystem(
            graph=graph,
            registers=tuple(registers),
            inputs=tuple(self._inputs),
            constraints=(allowed,),
            bad=graph.select(started, bad, bad_at_first),
        )
        jump = tuple(graph.conjunction(bit, started) for bit in self._jump)
        return EventSystem(system, values, jump)

    def _tick(self) -> Literal:
        return self._graph.variable("no tick") if self._delays.tick is None else self._delays.tick

    def _before_the_last_tick(self, timer: Timer) -> Number:
        """What the timer shows then; in a move, what it shows at all."""
        graph = self._graph
        waited = _minus_one(graph, self._jump, self._jumps)
        return _saturated(graph, _sum(graph, self._counts[timer.name], waited), timer.most)

    def _moved(self, images: dict[Literal, Literal]) -> dict[Literal, Literal]:
        graph, delays = self._graph, self._delays
        seen = images | self._last
        chosen = one_of(graph, len(delays.moves), self._choose, self._constraints)
        by_source = graph.any_of(chosen)
        turned: dict[Literal, list[Literal]] = {bit.now: [] for bit in delays.sources}
        for move, literal in zip(delays.moves, chosen, strict=True):
            (enabled,) = graph.substitute([move.enabled], seen)
            self._constraints.append(graph.implication(literal, enabled))
            for bit in move.bits:
                turned[bit.now].append(literal)
        now = {bit.now: graph.exclusive_or(bit.before, graph.any_of(turned[bit.now])) for bit in delays.sources}
        (holds,) = graph.substitute([delays.holds_time], seen)
        self._constraints.append(graph.implication(self._jumps, graph.disjunction(holds, by_source) ^ 1))
        firings = []
        for element in delays.elements:
            fires = graph.conjunction(self._ready(element), self._choose(f"{element.bit.name} fires"))
            fires = graph.all_of([fires, by_source ^ 1, self._jumps ^ 1])
            firings.append(fires)
            now[element.bit.now] = graph.exclusive_or(element.bit.before, fires)
        self._constraints.append(graph.any_of([self._jumps, by_source, *firings]))
        return now

    def _ready(self, element: DelayedElement) -> Literal:
        """Also says of a jump that the element need not have fired by its end."""
        graph, value = self._graph, element.bit.before
        target, optional = graph.substitute([element.target, element.optional], self._last)
        must = graph.conjunction(graph.exclusive_or(value, target), optional ^ 1)
        excited = graph.disjunction(graph.exclusive_or(value, target), optional)
        age = self._ages[element.bit.now]
        after = _sum(graph, age, self._jump)
        too_late = graph.select(
            value, _at_least(graph, after, element.fall.high + 1), _at_least(graph, after, element.rise.high + 1)
        )
        self._constraints.append(graph.all_of([self._jumps, must, too_late]) ^ 1)
        old_enough = graph.select(
            value, _at_least(graph, age, element.fall.low), _at_least(graph, age, element.rise.low)
        )
        return graph.conjunction(excited, old_enough)

    def _age_registers(self, now: dict[Literal, Literal]) -> list[Register]:
        graph, registers = self._graph, []
        for element in self._delays.elements:
            bit = element.bit
            before = self._excited(element, self._last)
            fired = graph.exclusive_or(bit.before, now[bit.now])
            kept = graph.conjunction(graph.conjunction(before, fired ^ 1), self._excited(element, now))
            kept = graph.conjunction(kept, self._started)
            age = self._ages[bit.now]
            older = _saturated(graph, _sum(graph, age, self._jump), _longest(element))
            registers += [Register(a, graph.conjunction(kept, b)) for a, b in zip(age, older, strict=True)]
        return registers

    def _excited(self, element: DelayedElement, images: dict[Literal, Literal]) -> Literal:
        graph = self._graph
        value, target, optional = graph.substitute([element.bit.now, element.target, element.optional], images)
        return graph.disjunction(graph.exclusive_or(value, target), optional)

    def _timer_registers(
        self, now: dict[Literal, Literal], at_first: dict[Literal, Literal], reached: dict[str, Number]
    ) -> list[Register]:
        graph, registers = self._graph, []
        for timer in self._delays.timers:
            (reset,) = graph.substitute([timer.reset], now)
            (reset_at_first,) = graph.substitute([timer.reset_at_first], at_first)
            further = _saturated(graph, _sum(graph, reached[timer.name], (self._jumps,)), timer.most)
            for place, bit in enumerate(self._counts[timer.name]):
                later = graph.conjunction(reset ^ 1, further[place])
                first = reset_at_first ^ 1 if timer.start >> place & 1 else FALSE
                registers.append(Register(bit, graph.select(self._started, later, first)))
        return registers

    def _register(self, name: str, most: int) -> Number:
        return tuple(self._graph.variable(f"{name} {place}") for place in range(most.bit_length()))

    def _choose(self, name: str) -> Literal:
        choice = self._graph.variable(name)
        self._inputs.append(choice)
        return choice


def _longest(element: DelayedElement) -> int:
    both: tuple[Delay, Delay] = (element.rise, element.fall)
    return max(delay.high for delay in both)


def _sum(graph: BitGraph, left: Number, right: Sequence[Literal]) -> Number:
    """One bit wider than the wider of the two."""
    carry, bits = FALSE, []
    for place in range(max(len(left), len(right))):
        a = left[place] if place < len(left) else FALSE
        b = right[place] if place < len(right) else FALSE
        either = graph.exclusive_or(a, b)
        bits.append(graph.exclusive_or(either, carry))
        carry = graph.disjunction(graph.conjunction(a, b), graph.conjunction(either, carry))
    return (*bits, carry)


def _minus_one(graph: BitGraph, number: Number, subtracts: Literal) -> Number:
    """The number less 1 where `subtracts`, which only happens when it is not 0."""
    borrow, bits = subtracts, []
    for bit in number:
        bits.append(graph.exclusive_or(bit, borrow))
        borrow = graph.conjunction(borrow, bit ^ 1)
    return tuple(bits)


def _at_least(graph: BitGraph, number: Number, amount: int) -> Literal:
    if amount >> len(number):
        return FALSE
    reached = TRUE
    for place, bit in enumerate(number):
        wanted = amount >> place & 1
        reached = graph.conjunction(bit, reached) if wanted else graph.disjunction(bit, reached)
    return reached


def _saturated(graph: BitGraph, number: Number, most: int) -> Number:
    """No more than `most`, and no wider."""
    over = _at_least(graph, number, most)
    return tuple(
        graph.disjunction(over, bit) if most >> place & 1 else graph.conjunction(over ^ 1, bit)
        for place, bit in enumerate(number[: most.bit_length()])
    )
