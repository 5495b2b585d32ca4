"""The moves of an untimed delay system on states that are integers, compiled to Python once a system.

Bit `i` of a state is bit `i` of sources, elements and followers, in this order.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import product

from verifier.logic.bit_graph import VARIABLE, BitGraph, Literal
from verifier.logic.delay_system import DelaySystem
from verifier.logic.session import Answer, LoadedGraph, Session

State = int
Mask = int

MOST_FIRST_STATES = 4096


class TooManyFirstStates(Exception):
    pass


class MoveSystem:
    def __init__(self, system: DelaySystem) -> None:
        """Raises ValueError for a system with time in it."""
        if system.timed:
            raise ValueError("time passes in this system")
        self._system = system
        self._bits = [*system.sources, *(e.bit for e in system.elements), *(f.bit for f in system.followers)]
        self._sources, self._elements = len(system.sources), len(system.elements)
        place_of = {bit.now: place for place, bit in enumerate(self._bits)}
        self._source_masks = [sum(1 << place_of[bit.now] for bit in move.bits) for move in system.moves]
        now = [bit.now for bit in self._bits]
        roots = [element.target for element in system.elements]
        roots += [element.optional for element in system.elements]
        roots += [move.enabled for move in system.moves]
        self._look = _compiled(system.graph, now, roots)
        follows: dict[Literal, Literal] = {}
        for follower in system.followers:
            (follows[follower.bit.now],) = system.graph.substitute([follower.next], follows)
        (permitted,) = system.graph.substitute([system.permitted], follows)
        stepping = [*(bit.before for bit in self._bits), *now[: self._sources + self._elements], *system.choices]
        self._step = _compiled(system.graph, stepping, [*follows.values(), permitted])

    def first_states(self) -> Iterator[State]:
        """Every possible and permitted one. Raises TooManyFirstStates."""
        graph, session = self._system.graph, Session()
        loaded = LoadedGraph(session, graph)
        for condition in (self._system.first, self._system.permitted_at_first):
            session.add_clause([loaded.literal(condition)])
        variables = [loaded.literal(bit.now) for bit in self._bits]
        for _ in range(MOST_FIRST_STATES):
            if session.check([]) is Answer.UNSATISFIABLE:
                return
            values = session.values(variables)
            session.add_clause([v ^ 1 if value else v for v, value in zip(variables, values, strict=True)])
            yield sum(value << place for place, value in enumerate(values))
        raise TooManyFirstStates(f"there are more than {MOST_FIRST_STATES} first instants")

    def element_values(self, state: State) -> Mask:
        return state >> self._sources & ((1 << self._elements) - 1)

    def due(self, state: State) -> Mask:
        """Elements that are excited and have to fire some time."""
        seen = self._look(*self._spread(state))
        targets = sum(bit << place for place, bit in enumerate(seen[: self._elements]))
        return (targets ^ self.element_values(state)) & ~self._optional(seen)

    def excited(self, state: State) -> Mask:
        seen = self._look(*self._spread(state))
        targets = sum(bit << place for place, bit in enumerate(seen[: self._elements]))
        return targets ^ self.element_values(state) | self._optional(seen)

    def _optional(self, seen: Sequence[int]) -> Mask:
        return sum(bit << place for place, bit in enumerate(seen[self._elements : 2 * self._elements]))

    def after_firing(self, state: State, fired: Mask) -> Iterator[State]:
        return self._after(state, fired << self._sources)

    def after_sources(self, state: State) -> Iterator[list[State]]:
        """For every source move, the states that it may lead to."""
        enabled = self._look(*self._spread(state))[2 * self._elements :]
        for mask, is_enabled in zip(self._source_masks, enabled, strict=True):
            if is_enabled:
                yield list(dict.fromkeys(self._after(state, mask)))

    def values(self, state: State) -> tuple[bool, ...]:
        return tuple(bool(bit) for bit in self._spread(state))

    def _after(self, state: State, turned: Mask) -> Iterator[State]:
        moved = (state ^ turned) & ((1 << (self._sources + self._elements)) - 1)
        now = self._spread(moved)[: self._sources + self._elements]
        for choices in product((0, 1), repeat=len(self._system.choices)):
            *followers, permitted = self._step(*self._spread(state), *now, *choices)
            if permitted:
                first = self._sources + self._elements
                yield moved | sum(bit << place for place, bit in enumerate(followers, first))

    def _spread(self, state: State) -> list[int]:
        return [state >> place & 1 for place in range(len(self._bits))]


def subsets(mask: Mask) -> Iterator[Mask]:
    """Every set of these bits, the full one first, the empty one last."""
    chosen = mask
    while chosen:
        yield chosen
        chosen = (chosen - 1) & mask
    yield 0


def _compiled(
    graph: BitGraph, variables: Sequence[Literal], roots: Sequence[Literal]
) -> Callable[..., tuple[int, ...]]:
    """A function from the variables' values to those of the roots, each 0 or 1."""
    names = {variable >> 1: f"v{place}" for place, variable in enumerate(variables)}
    names[0] = "0"

    def spelled(literal: Literal) -> str:
        return f"({names[literal >> 1]}^1)" if literal & 1 else names[literal >> 1]

    lines: list[str] = []
    for node in graph.cone(roots):
        if node not in names and graph.lefts[node] != VARIABLE:
            names[node] = f"n{node}"
            lines.append(f"n{node} = {spelled(graph.lefts[node])} & {spelled(graph.rights[node])}")
    arguments = ", ".join(f"v{place}" for place in range(len(variables)))
    body = "\n    ".join([*lines, f"return ({''.join(f'{spelled(root)}, ' for root in roots)})"])
    namespace: dict[str, object] = {}
    exec(f"def function({arguments}):\n    {body}\n", namespace)
    function = namespace["function"]
    if not callable(function):
        raise TypeError("what was compiled is no function")
    return function
