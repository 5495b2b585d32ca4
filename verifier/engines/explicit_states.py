"""Every reachable state of a small system, each with all its inputs at once.

A value under all `2 ** inputs` input vectors is one integer, bit `k` for vector `k` (a *lane*). So one pass over the
graph gives all successors of a state. The pass is compiled to Python once a system: measured, four times as fast as walking
the graph for every state.

For systems of few registers and few inputs; `fits` says which. It searches breadth first.

(X1) `states[i]` were found in order of their distance from the start, `origins[i]` is a step on a shortest way there.
(X2) After `explore` returned no bad frame, `states` are exactly the reachable states and `edges[i]` all their successors.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from verifier.logic.bit_graph import VARIABLE, Literal
from verifier.logic.session import NoAnswerError
from verifier.logic.transition_system import Counterexample, TransitionSystem

State = int
"""Bit `i` is register `i`."""
Lanes = int

MOST_REGISTERS = 16
MOST_INPUTS = 11
MOST_NODES = 1500
MOST_STATES = 3000


@dataclass(frozen=True)
class Edge:
    target: int
    """Index of the state."""
    lanes: Lanes
    """The input vectors that lead there and give these marks."""
    marks: int
    """Bit `i`: mark `i` is 1 under them."""


class TooLarge(Exception):  # noqa: N818
    """There are more states than this engine looks at."""


def fits(system: TransitionSystem) -> bool:
    if len(system.registers) > MOST_REGISTERS or len(system.inputs) > MOST_INPUTS:
        return False
    roots = [*(register.next for register in system.registers), *system.constraints, system.bad]
    return len(system.graph.cone(roots)) <= MOST_NODES


class ExplicitStates:
    """The reachable states of one system; edges are told apart by the marks, literals of the caller's."""

    def __init__(self, system: TransitionSystem, marks: Sequence[Literal] = ()) -> None:
        self._system = system
        self._everything = (1 << (1 << len(system.inputs))) - 1
        self._step = _compiled(system, marks)
        self.states: list[State] = [0]
        self.edges: list[list[Edge]] = []
        self._number: dict[State, int] = {0: 0}
        self._origins: list[tuple[int, Lanes]] = [(0, 0)]

    def explore(self, deadline: float) -> Counterexample | None:
        """Reaches everything, or the nearest bad frame.

        Raises TooLarge, and NoAnswerError at the deadline.
        """
        number = 0
        while number < len(self.states):
            if number % 64 == 0 and time.monotonic() >= deadline:
                raise NoAnswerError("the time ran out")
            if len(self.states) > MOST_STATES:
                raise TooLarge(f"more than {MOST_STATES} states")
            permitted, bad, *following = self._step(*self._registers_of(self.states[number]))
            if permitted & bad:
                return self.frames([*self.way_to(number), permitted & bad])
            self.edges.append([self._edge(number, lanes, spelled) for lanes, spelled in _split(permitted, following)])
            number += 1
        return None

    def _registers_of(self, state: State) -> Iterator[Lanes]:
        return (self._everything if state >> place & 1 else 0 for place in range(len(self._system.registers)))

    def _edge(self, origin: int, lanes: Lanes, spelled: int) -> Edge:
        """Registers stand below the marks in what the lanes spell."""
        count = len(self._system.registers)
        state = spelled & ((1 << count) - 1)
        number = self._number.get(state)
        if number is None:
            number = self._number[state] = len(self.states)
            self.states.append(state)
            self._origins.append((origin, lanes))
        return Edge(number, lanes, spelled >> count)

    def way_to(self, number: int) -> list[Lanes]:
        """The lanes of each frame of a shortest way to a state."""
        ways: list[Lanes] = []
        while number:
            number, lanes = self._origins[number]
            ways.append(lanes)
        return ways[::-1]

    def frames(self, ways: Sequence[Lanes]) -> Counterexample:
        """Frames with, among the lanes of each, the one in which the first inputs are 0."""
        inputs = self._system.inputs
        lanes = [(way & -way).bit_length() - 1 for way in ways]
        return Counterexample(
            tuple({variable: bool(lane >> place & 1) for place, variable in enumerate(inputs)} for lane in lanes)
        )


def _split(lanes: Lanes, following: Sequence[Lanes]) -> list[tuple[Lanes, int]]:
    """The lanes, apart by the number that the values spell."""
    groups = [(lanes, 0)] if lanes else []
    for place, high in enumerate(following):
        parted: list[tuple[Lanes, State]] = []
        for members, state in groups:
            ones = members & high
            if ones != members:
                parted.append((members ^ ones, state))
            if ones:
                parted.append((ones, state | 1 << place))
        groups = parted
    return groups


def _compiled(system: TransitionSystem, marks: Sequence[Literal]) -> Callable[..., tuple[Lanes, ...]]:
    """A function from the registers' lanes to those of "permitted", bad, every next value and every mark."""
    graph = system.graph
    permitted = graph.all_of(system.constraints)
    roots = [permitted, system.bad, *(register.next for register in system.registers), *marks]
    count = len(system.inputs)
    everything = (1 << (1 << count)) - 1
    names = {register.variable >> 1: f"r{place}" for place, register in enumerate(system.registers)}
    constants = {"M": everything}
    for place, variable in enumerate(system.inputs):
        names[variable >> 1] = f"i{place}"
        constants[f"i{place}"] = _lanes_with(place, count)

    def spelled(literal: Literal) -> str:
        name = names.get(literal >> 1, "0") if literal > 1 else "0"
        return f"({name}^M)" if literal & 1 else name

    lines: list[str] = []
    for node in graph.cone(roots):
        if node and graph.lefts[node] != VARIABLE:
            names[node] = f"n{node}"
            lines.append(f"n{node} = {spelled(graph.lefts[node])} & {spelled(graph.rights[node])}")
    arguments = ", ".join([*(f"r{place}" for place in range(len(system.registers))), *(f"{c}={c}" for c in constants)])
    body = "\n    ".join([*lines, f"return ({', '.join(spelled(root) for root in roots)},)"])
    namespace: dict[str, object] = dict(constants)
    exec(f"def step({arguments}):\n    {body}\n", namespace)
    step = namespace["step"]
    if not callable(step):
        raise TypeError("the compiled step is no function")
    return step


def _lanes_with(place: int, count: int) -> Lanes:
    """The lanes in which the input has the value 1."""
    half = 1 << place
    pattern, width = ((1 << half) - 1) << half, 2 * half
    while width < 1 << count:
        pattern |= pattern << width
        width *= 2
    return pattern
