"""Whether an untimed delay system comes to rest after every source move, in one state alone: `settles` without delays.

By explicit search: from every quiet state that can be reached, after every source move, all states that firings can
reach; their strongly connected components say whether the firings can go on for ever (a component in which no element
stays excited with one target, as in the general multiple winner model, Brzozowski and Seger 1995) and in which quiet
states they can end.

It ends: a state is looked at once, and there are at most MOST_STATES of them.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from verifier.engines.decision import Undecided
from verifier.engines.move_system import MoveSystem, State, TooManyFirstStates, subsets
from verifier.logic.components import strongly_connected_components
from verifier.logic.delay_system import DelayedInstant, DelaySystem

ENGINE = "search of all quiet states"
MOST_STATES = 200_000
MOST_MOVES = 2_000_000


class Unrest(Enum):
    OSCILLATES = "firings can go on for ever"
    SEVERAL_ENDS = "it can come to rest in several states"


@dataclass(frozen=True, kw_only=True)
class NeverAtRest:
    """What goes wrong, and a run to the instant from which it does, right after a source move or at the start."""

    how: Unrest
    instants: tuple[DelayedInstant, ...]
    engine: str = ENGINE


@dataclass(frozen=True)
class AlwaysRests:
    quiet_states: frozenset[State]
    """All that can be reached."""
    engine: str = ENGINE


class _OutOfBounds(Exception):
    pass


def decide_rest(system: DelaySystem, *, limit_seconds: float) -> AlwaysRests | NeverAtRest | Undecided:
    """Raises ValueError for a system with time in it."""
    search = _Search(MoveSystem(system), time.monotonic() + limit_seconds)
    try:
        return search.decide()
    except (_OutOfBounds, TooManyFirstStates) as bound:
        return Undecided(reason=str(bound), searched_to=0, engine=ENGINE)


class _Search:
    def __init__(self, moves: MoveSystem, deadline: float) -> None:
        self._moves = moves
        self._deadline = deadline
        self._seen = self._fired = 0
        self._came_from: dict[State, State | None] = {}
        """Quiet states and states right after source moves, to the one before on a way with few source moves."""
        self._quiet: set[State] = set()
        self._looked_at: set[tuple[State, ...]] = set()
        """What source moves may lead to, each looked at once."""

    def decide(self) -> AlwaysRests | NeverAtRest:
        pending: list[list[State]] = []
        quiet = self._quiet
        for first in self._moves.first_states():
            self._came_from.setdefault(first, None)
            pending.append([first])
        while pending:
            following: list[list[State]] = []
            for origins in pending:
                unrest, ends = self._race(origins)
                if unrest is not None:
                    return NeverAtRest(how=unrest, instants=self._path(origins[0]))
                (end,) = ends
                if end not in quiet:
                    quiet.add(end)
                    if end not in origins:
                        self._came_from.setdefault(end, origins[0])
                    for after in self._moves.after_sources(end):
                        if not after:
                            continue  # givens forbid it
                        for state in after:
                            self._came_from.setdefault(state, end)
                        if tuple(after) not in self._looked_at:
                            self._looked_at.add(tuple(after))
                            following.append(after)
            pending = following
        return AlwaysRests(frozenset(quiet))

    def _race(self, origins: list[State]) -> tuple[Unrest | None, set[State]]:
        """What firings alone can come to from these states, all together."""
        edges: dict[State, list[State]] = {}
        pending = list(origins)
        while pending:
            state = pending.pop()
            if state in edges:
                continue
            self._count(state)
            edges[state] = list(dict.fromkeys(self._firings(state)))
            pending += edges[state]
        ends: set[State] = set()
        for component in strongly_connected_components(edges, lambda state: iter(edges[state])):
            if len(component) == 1 and component[0] not in edges[component[0]]:
                if not edges[component[0]]:
                    ends.add(component[0])
            elif not self._is_transient(component):
                return Unrest.OSCILLATES, ends
        return (Unrest.SEVERAL_ENDS if len(ends) > 1 else None), ends

    def _firings(self, state: State) -> Iterator[State]:
        for fired in subsets(self._moves.excited(state)):
            if fired:
                self._fired += 1
                yield from self._moves.after_firing(state, fired)

    def _is_transient(self, component: list[State]) -> bool:
        """Some element is excited in all its states with one target: it fires sooner or later, and that leaves."""
        always = -1
        high = low = -1
        for state in component:
            due = self._moves.due(state)
            values = self._moves.element_values(state)
            always &= due
            high &= values
            low &= ~values
        return always & (high | low) != 0

    def _count(self, state: State) -> None:
        self._seen += 1
        if self._seen > MOST_STATES or self._fired > MOST_MOVES:
            raise _OutOfBounds(f"there are more than {MOST_STATES} states or {MOST_MOVES} firings to look at")
        if self._seen % 256 == 0 and time.monotonic() > self._deadline:
            raise _OutOfBounds("the time ran out")

    def _path(self, state: State) -> tuple[DelayedInstant, ...]:
        """From a first state to this one."""
        path = [state]
        while (before := self._came_from[path[-1]]) is not None:
            if before not in self._quiet:  # from right after a source move to rest
                path += self._firings_between(before, path[-1])
            path.append(before)
        return tuple(DelayedInstant(0, self._moves.values(found), ()) for found in reversed(path))

    def _firings_between(self, start: State, end: State) -> list[State]:
        """The states in between, the last one first."""
        came_from = {start: start}
        pending = deque([start])
        while end not in came_from:
            state = pending.popleft()
            for after in self._firings(state):
                if after not in came_from:
                    came_from[after] = state
                    pending.append(after)
        between: list[State] = []
        at = came_from[end]
        while at != start:
            between.append(at)
            at = came_from[at]
        return between
