"""Where a circuit comes to rest in the any-delay view, by explicit search over its firings (grammar/README.md, 32).

The two ways to break `settles` there: firings that may go on for ever, and several quiet instants after one input
change. It finds out for the states it is given, and for all that can be reached from them without an input change.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from verifier.claims.run import Instant
from verifier.evidence.budget import Budget
from verifier.evidence.components import strongly_connected_components
from verifier.evidence.delay_simulator import DelaySimulator, DelayState, Move


@dataclass(frozen=True)
class QuietEnds:
    quiet: frozenset[Instant]
    """The quiet instants that can be reached by firings alone."""
    goes_on: bool
    """Firings may go on for ever."""

    @property
    def settles(self) -> bool:
        return len(self.quiet) == 1 and not self.goes_on


def quiet_ends(simulator: DelaySimulator, states: Iterable[DelayState], budget: Budget | None = None) -> QuietEnds:
    """Where firings lead from these states, all together.

    Raises:
        SimulationLimit: there is too much to look at.
        ValueError: the simulator is one of the timed view.
    """
    if simulator.timed:
        raise ValueError("only the any-delay view asks where firings lead")
    graph = _Graph(simulator, states, budget or Budget(simulator.limit))
    quiet = frozenset(state.values for state in graph.states if simulator.is_quiet(state))
    return QuietEnds(quiet, goes_on=any(map(graph.may_stay_in, graph.components())))


def ends_after_input_changes(
    simulator: DelaySimulator, state: DelayState, budget: Budget | None = None
) -> Iterator[tuple[Move, QuietEnds]]:
    """Every permitted input change of a quiet state, and where it leads. Raises as `quiet_ends` does."""
    for move, following in simulator.input_changes(state):
        yield move, quiet_ends(simulator, following, budget)


class _Graph:
    """All states that firings lead to, numbered, and the firings between them."""

    def __init__(self, simulator: DelaySimulator, starts: Iterable[DelayState], budget: Budget) -> None:
        self._simulator = simulator
        self._numbers: dict[DelayState, int] = {}
        self._successors: dict[int, list[int]] = {}
        pending = list(dict.fromkeys(starts))
        for state in pending:
            self._numbers[state] = len(self._numbers)
        while pending:
            state = pending.pop()
            reached: list[int] = []
            for following in simulator.firings(state):
                budget.spend()
                if following not in self._numbers:
                    self._numbers[following] = len(self._numbers)
                    pending.append(following)
                reached.append(self._numbers[following])
            self._successors[self._numbers[state]] = reached
        self.states = list(self._numbers)

    def components(self) -> Iterator[list[int]]:
        return strongly_connected_components(self._successors)

    def may_stay_in(self, component: Sequence[int]) -> bool:
        """Firings may go on for ever in this component.

        Not when some element would be passed over for ever: excited in all its states, which means with one target as
        no firing in it changes that element. A set-reset latch with both pins active need not fire, so it may be
        passed over.
        """
        inside = set(component)
        if all(inside.isdisjoint(self._successors[number]) for number in component):
            return False
        first = self.states[component[0]]
        passed_over = set(self._simulator.obliged(first))
        for number in component:
            state = self.states[number]
            obliged = self._simulator.obliged(state)
            passed_over = {net for net in passed_over & obliged if state.values[net] == first.values[net]}
        return not passed_over
