"""Every reachable state of a small system, each with all its inputs at once.

A value under all `2 ** inputs` input vectors is one integer, bit `k` for vector `k` (a *lane*). So one pass over the
graph gives all successors of a state. The pass is compiled to Python once a system: measured, four times as fast as
walking the graph for every state.

It searches breadth first, for systems of few registers and few inputs; `fits` says which. It decides nothing: that is
done in `explicit_search.py`.

(X1) `states[i]` were found in order of `distances[i]`, their distance from the start.
(X2) After `explore` returned without bad lanes, `states` are exactly the reachable states and `edges[i]` all their
successors; up to a distance, if one was given. After it returned with some, that holds for all states nearer than
`bad_distance`, in which no frame is bad, and `bad_lanes` has every state at that distance in which one is.

It ends: a state is looked at once, and there are at most MOST_STATES of them.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from verifier.logic.bit_graph import VARIABLE, Literal
from verifier.logic.transition_system import TransitionSystem

State = int
"""Bit `i` is register `i`."""
Lanes = int

MOST_REGISTERS = 128
MOST_INPUTS = 12
MOST_NODES = 1500
"""To compile so many takes about 15 ms."""
MOST_STATES = 3000
MOST_EDGES = 100_000
"""One takes about 1.5 us and 150 bytes."""
LEAST_SAMPLE = 30
"""States after which the time for the others is estimated."""


@dataclass(frozen=True, slots=True)
class Edge:
    target: int
    """Index of the state."""
    lanes: Lanes
    """The input vectors that lead there and give these marks."""
    marks: int
    """Bit `i`: mark `i` is 1 under them."""


class TooLarge(Exception):
    """There are more states or edges than this engine looks at, or looking at them takes longer than it may."""


def fits(system: TransitionSystem, marks: Sequence[Literal] = ()) -> bool:
    if len(system.registers) > MOST_REGISTERS or len(system.inputs) > MOST_INPUTS:
        return False
    roots = [*(register.next for register in system.registers), *system.constraints, system.bad]
    return len(system.graph.cone([*roots, *marks])) <= MOST_NODES


class ExplicitStates:
    """The reachable states of one system; edges are told apart by the marks, literals of the caller's."""

    def __init__(self, system: TransitionSystem, marks: Sequence[Literal] = ()) -> None:
        """Pre: the system fits, marks included."""
        self.system = system
        permitted = system.graph.all_of(system.constraints)
        following = [register.next for register in system.registers]
        self._step = compiled(system, [permitted, system.bad, *following, *marks])
        self.states: list[State] = [0]
        self.distances: list[int] = [0]
        self.edges: list[list[Edge]] = []
        self.bad_lanes: dict[int, Lanes] = {}
        """For the states at the least distance at which there are any: the permitted lanes that are bad."""
        self._looked_at = 0
        """States whose frames were judged."""
        self._seconds = 0.0
        self._edge_count = 0
        self._number: dict[State, int] = {0: 0}

    @property
    def bad_distance(self) -> int | None:
        """The distance of the nearest states with a bad frame."""
        return next((self.distances[number] for number in self.bad_lanes), None)

    @property
    def is_complete(self) -> bool:
        return self._looked_at == len(self.states)

    def explore(self, deadline: float, to_distance: int | None = None) -> None:
        """Reaches everything, or the states up to a distance, or all the nearest bad frames. It can go on later.

        Raises TooLarge as soon as it is clear that there are too many states or edges, or that looking at those that
        were found takes more time than there is.
        """
        while not self.is_complete and self.bad_distance in (None, self.distances[self._looked_at]):
            if to_distance is not None and self.distances[self._looked_at] > to_distance:
                break
            started = time.monotonic()
            self._allow(started, deadline)
            self._look_at(self._looked_at)
            self._looked_at += 1
            self._seconds += time.monotonic() - started

    def _look_at(self, number: int) -> None:
        permitted, bad, *following = self._step(*registers_of(self.system, self.states[number]))
        if permitted & bad:
            self.bad_lanes[number] = permitted & bad
        elif not self.bad_lanes:
            self.edges.append([self._edge(number, *group) for group in _split(permitted, following)])
            self._edge_count += len(self.edges[-1])

    def _allow(self, now: float, deadline: float) -> None:
        """To look at those states that wait will take as long, each, as it took before."""
        if len(self.states) > MOST_STATES or self._edge_count > MOST_EDGES:
            raise TooLarge(f"more than {MOST_STATES} states or {MOST_EDGES} edges")
        number = self._looked_at
        # The first state, in which a circuit powers up in many ways, says little about the others.
        waiting = len(self.states) - number if number >= LEAST_SAMPLE else 0
        if now + self._seconds / max(number, 1) * waiting >= deadline:
            raise TooLarge("it takes longer than there is time")

    def _edge(self, origin: int, lanes: Lanes, spelled: int) -> Edge:
        """Registers stand below the marks in what the lanes spell."""
        count = len(self.system.registers)
        state = spelled & ((1 << count) - 1)
        number = self._number.get(state)
        if number is None:
            number = self._number[state] = len(self.states)
            self.states.append(state)
            self.distances.append(self.distances[origin] + 1)
        return Edge(number, lanes, spelled >> count)


def registers_of(system: TransitionSystem, state: State) -> Iterator[Lanes]:
    """The value of each register, the same in all lanes."""
    everything = (1 << (1 << len(system.inputs))) - 1
    return (everything if state >> place & 1 else 0 for place in range(len(system.registers)))


def lanes_with(place: int, count: int) -> Lanes:
    """The lanes in which the input has the value 1, of `count` inputs."""
    half = 1 << place
    pattern, width = ((1 << half) - 1) << half, 2 * half
    while width < 1 << count:
        pattern |= pattern << width
        width *= 2
    return pattern


def _split(lanes: Lanes, following: Sequence[Lanes]) -> list[tuple[Lanes, int]]:
    """The lanes, apart by the number that the values spell."""
    groups = [(lanes, 0)] if lanes else []
    for place, high in enumerate(following):
        parted: list[tuple[Lanes, int]] = []
        for members, spelled in groups:
            ones = members & high
            if ones != members:
                parted.append((members ^ ones, spelled))
            if ones:
                parted.append((ones, spelled | 1 << place))
        groups = parted
    return groups


def compiled(system: TransitionSystem, roots: Sequence[Literal]) -> Callable[..., tuple[Lanes, ...]]:
    """A function from the registers' lanes to those of the roots."""
    graph, count = system.graph, len(system.inputs)
    names = {register.variable >> 1: f"r{place}" for place, register in enumerate(system.registers)}
    constants = {"M": (1 << (1 << count)) - 1}
    for place, variable in enumerate(system.inputs):
        names[variable >> 1] = f"i{place}"
        constants[f"i{place}"] = lanes_with(place, count)
    names[0] = "0"

    def spelled(literal: Literal) -> str:
        return f"({names[literal >> 1]}^M)" if literal & 1 else names[literal >> 1]

    lines: list[str] = []
    for node in graph.cone(roots):
        if graph.lefts[node] != VARIABLE:
            names[node] = f"n{node}"
            lines.append(f"n{node} = {spelled(graph.lefts[node])} & {spelled(graph.rights[node])}")
    arguments = ", ".join([*(f"r{place}" for place in range(len(system.registers))), *(f"{c}={c}" for c in constants)])
    body = "\n    ".join([*lines, f"return ({''.join(f'{spelled(root)}, ' for root in roots)})"])
    namespace: dict[str, object] = dict(constants)
    exec(f"def step({arguments}):\n    {body}\n", namespace)
    step = namespace["step"]
    if not callable(step):
        raise TypeError("the compiled step is no function")
    return step
