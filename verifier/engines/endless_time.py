"""Whether time can pass for ever in a timed `DelaySystem`, under what is permitted.

`TimePasses` when some run goes round a cycle with a tick in it; `TimeStops` when all states were looked at and there is
no such cycle; `Undecided` when there were too many of them.

A depth-first search, ticks first. A step back to a state on the way here, with a tick since then, is an answer, and
nearly always there is one: the way goes on like a machine without choices until it meets itself. When the search ends
without, the strongly connected components of the whole graph decide: only a cycle through states that were left already
can have been overlooked.

It ends: each state is looked at once.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from verifier.engines.decision import Undecided
from verifier.engines.delay_logic import TooManySteps
from verifier.engines.delay_steps import DelaySteps
from verifier.engines.first_states import TooManyFirstStates, first_columns
from verifier.logic.components import strongly_connected_components
from verifier.logic.delay_system import DelaySystem
from verifier.logic.reached_states import Words, layout_of

ENGINE = "search for a run without end"

State = tuple[int, ...]
"""The words of one packed state."""


@dataclass(frozen=True)
class TimePasses:
    """Some permitted run has no end in time."""


@dataclass(frozen=True)
class TimeStops:
    """Every permitted run comes to an instant after which no tick is ever permitted."""


class _Stopped(Exception):
    """The time came to its end."""


def time_can_pass(system: DelaySystem, *, limit_seconds: float) -> TimePasses | TimeStops | Undecided:
    """Pre: `system.timed`."""
    search = _Search(system, time.monotonic() + limit_seconds)
    try:
        return TimePasses() if search.finds_a_cycle() else TimeStops()
    except (_Stopped, TooManyFirstStates, TooManySteps) as stopped:
        return Undecided(reason=str(stopped), searched_to=0, engine=ENGINE)


class _Search:
    def __init__(self, system: DelaySystem, deadline: float) -> None:
        self._system = system
        self._steps = DelaySteps(system, layout_of(system))
        self._deadline = deadline
        self._after: dict[State, list[tuple[State, bool]]] = {}
        """Every state that was looked at: where its steps lead, and whether they are ticks; ticks last."""

    def finds_a_cycle(self) -> bool:
        return any(self._comes_back(first) for first in self._first_states()) or self._some_component_ticks()

    def _first_states(self) -> list[State]:
        rows, columns = first_columns(self._system, self._deadline)
        return _states(self._steps.first(columns, rows)[0])

    def _comes_back(self, first: State) -> bool:
        """Follows steps from a first state; whether one leads back to the way, with a tick since then."""
        if first in self._after:
            return False
        ticks_before: dict[State, int] = {first: 0}
        """The states on the way, with the number of ticks that led there."""
        way = [first]
        open_steps = [list(self._successors(first))]
        while way:
            if not open_steps[-1]:
                open_steps.pop()
                del ticks_before[way.pop()]
                continue
            target, is_tick = open_steps[-1].pop()
            ticks = ticks_before[way[-1]] + is_tick
            if target in ticks_before:
                if ticks > ticks_before[target]:
                    return True
            elif target not in self._after:
                ticks_before[target] = ticks
                way.append(target)
                open_steps.append(list(self._successors(target)))
        return False

    def _successors(self, state: State) -> list[tuple[State, bool]]:
        if time.monotonic() > self._deadline:
            raise _Stopped(f"the time ran out after {len(self._after)} states")
        words = tuple(np.array([word], np.uint64) for word in state)
        found = [(target, False) for _, steps in self._steps.moves(words) for target in _states(steps.targets)]
        ticks = self._steps.ticks(words)
        if ticks is not None:
            found += [(target, True) for target in _states(ticks.targets)]
        self._after[state] = found
        return found

    def _some_component_ticks(self) -> bool:
        def targets(state: State) -> Iterator[State]:
            return (target for target, _ in self._after[state])

        components = enumerate(strongly_connected_components(self._after, targets))
        component = {state: number for number, states in components for state in states}
        return any(
            is_tick and component[state] == component[target]
            for state, found in self._after.items()
            for target, is_tick in found
        )


def _states(words: Words) -> list[State]:
    return list(zip(*(word.tolist() for word in words), strict=True))
