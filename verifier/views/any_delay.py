"""A delay system without delays as a transition system, so that the engines for steps decide it.

One frame is one instant. In frame 0 the bits take any values that `first` allows; in every later frame something moves:
one source move, or any non-empty set of excited elements.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.logic.delay_system import Bit, DelayedElement, DelayedInstant, DelaySystem
from verifier.logic.transition_system import Counterexample, Register, TransitionSystem


@dataclass(frozen=True)
class UntimedSystem:
    system: TransitionSystem
    now: tuple[Literal, ...]
    """Sources, elements, followers: their values in a frame."""

    def instants_of(self, counterexample: Counterexample) -> tuple[DelayedInstant, ...]:
        """The values of all bits; what fired can be read off them, so it is not said."""
        graph = self.system.graph
        state: dict[Literal, bool] = {}
        instants: list[DelayedInstant] = []
        registers = self.system.registers
        roots = [*self.now, *(register.next for register in registers)]
        for frame in counterexample.frames:
            values = graph.evaluate(roots, {**frame, **state})
            instants.append(DelayedInstant(0, tuple(values[: len(self.now)]), ()))
            state = dict(zip((r.variable for r in registers), values[len(self.now) :], strict=True))
        return tuple(instants)


def untimed_system(delays: DelaySystem) -> UntimedSystem:
    """Raises ValueError for a system with time in it."""
    if delays.timed:
        raise ValueError("time passes in this system")
    return _Translation(delays).result()


class _Translation:
    def __init__(self, delays: DelaySystem) -> None:
        self._delays = delays
        self._graph: BitGraph = delays.graph
        self._inputs: list[Literal] = list(delays.choices)
        self._started = self._graph.variable("started")
        bits = [*delays.sources, *(e.bit for e in delays.elements), *(f.bit for f in delays.followers)]
        self._bits: tuple[Bit, ...] = tuple(bits)
        self._last = {bit.now: bit.before for bit in bits}
        """Turns what is said of an instant into what is said of the one before."""

    def result(self) -> UntimedSystem:
        graph, delays = self._graph, self._delays
        constraints: list[Literal] = []
        now = self._moved(constraints)
        for follower in delays.followers:
            (now[follower.bit.now],) = graph.substitute([follower.next], now)
        permitted, bad = graph.substitute([delays.permitted, delays.bad], now)
        constraints.append(permitted)
        started = self._started
        at_first = {bit.now: self._choose(bit.name) for bit in self._bits}
        possible, permitted_at_first, bad_at_first = graph.substitute(
            [delays.first, delays.permitted_at_first, delays.bad_at_first], at_first
        )
        allowed = graph.select(started, graph.all_of(constraints), graph.conjunction(possible, permitted_at_first))
        values = tuple(graph.select(started, now[bit.now], at_first[bit.now]) for bit in self._bits)
        registers = (
            Register(started, TRUE),
            *(Register(bit.before, value) for bit, value in zip(self._bits, values, strict=True)),
        )
        system = TransitionSystem(
            graph=graph,
            registers=registers,
            inputs=tuple(self._inputs),
            constraints=(allowed,),
            bad=graph.select(started, bad, bad_at_first),
        )
        return UntimedSystem(system, values)

    def _moved(self, constraints: list[Literal]) -> dict[Literal, Literal]:
        """Values of sources and elements after a move; what makes it one goes to `constraints`."""
        graph, delays = self._graph, self._delays
        chosen = one_of(graph, len(delays.moves), self._choose, constraints)
        by_source = graph.any_of(chosen)
        turned: dict[Literal, list[Literal]] = {bit.now: [] for bit in delays.sources}
        for move, literal in zip(delays.moves, chosen, strict=True):
            (enabled,) = graph.substitute([move.enabled], self._last)
            constraints.append(graph.implication(literal, enabled))
            for bit in move.bits:
                turned[bit.now].append(literal)
        now = {bit.now: graph.exclusive_or(bit.before, graph.any_of(turned[bit.now])) for bit in delays.sources}
        firings = [graph.conjunction(self._fires(element), by_source ^ 1) for element in delays.elements]
        for element, fires in zip(delays.elements, firings, strict=True):
            now[element.bit.now] = graph.exclusive_or(element.bit.before, fires)
        constraints.append(graph.any_of([by_source, *firings]))
        return now

    def _fires(self, element: DelayedElement) -> Literal:
        graph = self._graph
        target, optional = graph.substitute([element.target, element.optional], self._last)
        excited = graph.disjunction(graph.exclusive_or(element.bit.before, target), optional)
        return graph.conjunction(excited, self._choose(f"{element.bit.name} fires"))

    def _choose(self, name: str) -> Literal:
        choice = self._graph.variable(name)
        self._inputs.append(choice)
        return choice


def one_of(graph: BitGraph, count: int, choose: Callable[[str], Literal], constraints: list[Literal]) -> list[Literal]:
    """At most one is 1: number `i` when the choices spell `i + 1`; what they must not spell goes to `constraints`."""
    choices = [choose("move") for _ in range(count.bit_length())]
    found = [_spells(graph, choices, index + 1) for index in range(count)]
    nothing = _spells(graph, choices, 0)
    constraints.append(graph.any_of([nothing, *found]))
    return found


def _spells(graph: BitGraph, choices: Sequence[Literal], number: int) -> Literal:
    bits = [bit if number >> place & 1 else bit ^ 1 for place, bit in enumerate(choices)]
    return graph.all_of(bits) if bits else (TRUE if number == 0 else FALSE)
