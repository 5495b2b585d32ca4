"""Small systems decided by walking all their states: exact, and by far the cheapest where it fits.

Decides `Reached` with a shortest counterexample, the calmest; `Unreachable` with the exact set of reachable states as
an invariant, written as few large clauses; for endless runs, a shortest lasso, or that none is fair, with an invariant
that bounds, state by state, how often the fairness literals have all been seen. `Undecided` beyond the depth asked for.
Answers None when the system does not fit or takes too long: then the other engines are asked.

(X3) The rounds seen on a way to a state are at most `rounds[state]`, as no edge on which a round ends lies on a cycle.

It ends: every part of it is bounded by a MOST_ number here or in `explicit_states.py`. All parts together take no more
than MOST_TURN_SECONDS and the time to compile one system and to find one cover, 0.2 s together at most.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from dataclasses import replace

from verifier.engines.cover import TruthTable, irredundant_cover
from verifier.engines.decision import Decision, Reached, Undecided, Unreachable
from verifier.engines.explicit_lasso import shortest_lasso
from verifier.engines.explicit_runs import Stride, calmest_run, ways_to
from verifier.engines.explicit_states import ExplicitStates, TooLarge, fits
from verifier.errors import InternalDisagreement
from verifier.logic.bit_graph import FALSE, Literal
from verifier.logic.components import strongly_connected_components
from verifier.logic.endless import CountingSystem
from verifier.logic.transition_system import Clause, Counterexample, Invariant, TransitionSystem

ENGINE = "explicit search of all states"

MOST_TURN_SECONDS = 0.5
MOST_COVER_BITS = 18
MOST_COVER_ROWS = 4000
"""A cover of so many states takes 0.15 s, and its clauses as long to be judged again."""


def search_explicitly(system: TransitionSystem, deadline: float, depth: int | None = None) -> Decision | None:
    """Is `bad` reachable? The system is its own cone of influence."""
    try:
        explicit = _all_states(system, (), min(deadline, time.monotonic() + MOST_TURN_SECONDS))
        if explicit.bad_lanes:
            return _within(depth, Reached(counterexample=_nearest_bad_run(explicit), engine=ENGINE))
        variables = [register.variable for register in system.registers]
        return Unreachable(invariant=_clauses_for(explicit.states, variables), engine=ENGINE)
    except TooLarge:
        return None


def search_endless_explicitly(
    system: TransitionSystem, counting: CountingSystem, deadline: float, depth: int | None = None
) -> Decision | None:
    """Is there a fair endless run? `counting` belongs to the system, which is its own cone of influence."""
    deadline = min(deadline, time.monotonic() + MOST_TURN_SECONDS)
    fairness = system.fairness or ()
    try:
        explicit = _all_states(replace(system, bad=FALSE, fairness=None), fairness, deadline)
        lasso = shortest_lasso(explicit, (1 << len(fairness)) - 1, deadline)
        if lasso is None:
            return _refuted(counting, deadline)
        return _within(depth, Reached(counterexample=lasso.frames, loop_from=lasso.loop_from, engine=ENGINE))
    except TooLarge:
        return None


def _all_states(system: TransitionSystem, marks: Sequence[Literal], deadline: float) -> ExplicitStates:
    if not fits(system, marks):
        raise TooLarge("it has too many registers, inputs or nodes")
    explicit = ExplicitStates(system, marks)
    explicit.explore(deadline)
    return explicit


def _within(depth: int | None, reached: Reached) -> Reached | Undecided:
    length = len(reached.counterexample)
    if depth is None or length <= depth:
        return reached
    none = f"counterexample in the first {depth} steps"
    if reached.loop_from is not None:
        none = f"endless counterexample of up to {depth} instants"
    reason = f"no {none}, and one of {length} instants exists"
    return Undecided(reason=reason, searched_to=depth, engine=ENGINE)


def _nearest_bad_run(explicit: ExplicitStates) -> Counterexample:
    """Bad frames lead nowhere: all have one target, any will do."""
    last = [Stride(number, explicit.states[number], lanes, None) for number, lanes in explicit.bad_lanes.items()]
    return calmest_run(explicit.system, [*ways_to(explicit, set(explicit.bad_lanes)), last])


def _refuted(counting: CountingSystem, deadline: float) -> Unreachable:
    """No fair endless run exists."""
    plain = counting.plain()
    explicit = _all_states(plain, [counting.round_ends], deadline)
    rounds = _most_rounds(explicit)
    about = counting.below(max(rounds) + 1)
    place = len(plain.registers)
    seen = [
        state | count << place for state, most in zip(explicit.states, rounds, strict=True) for count in range(most + 1)
    ]
    invariant = _clauses_for(seen, [register.variable for register in about.registers])
    return Unreachable(invariant=invariant, engine=ENGINE, about=about)


def _most_rounds(explicit: ExplicitStates) -> list[int]:
    """For every state, the most rounds that can end on a way to it. No edge on which a round ends lies on a cycle."""
    edges = explicit.edges
    components = list(
        strongly_connected_components(range(len(edges)), lambda state: (edge.target for edge in edges[state]))
    )
    component_of = {state: number for number, members in enumerate(components) for state in members}
    rounds = [0] * len(edges)
    for number in range(len(components) - 1, -1, -1):
        members = components[number]
        most = max(rounds[state] for state in members)
        for state in members:
            rounds[state] = most
            for edge in edges[state]:
                if component_of[edge.target] != number:
                    rounds[edge.target] = max(rounds[edge.target], most + edge.marks)
                elif edge.marks:
                    raise InternalDisagreement("a round can end again and again, and yet no fair endless run exists")
    return rounds


def _clauses_for(reached: Sequence[int], variables: Sequence[Literal]) -> Invariant:
    """Clauses that hold in exactly the reached states: the opposites of cubes that cover all others.

    Raises TooLarge when finding them could take long.
    """
    if len(variables) > MOST_COVER_BITS or len(reached) > MOST_COVER_ROWS:
        raise TooLarge("the invariant would be too large")
    others = ((1 << (1 << len(variables))) - 1) ^ _table_of(reached, len(variables))
    cubes = irredundant_cover(others, len(variables))
    clauses: list[Clause] = [tuple(variables[place] ^ value for place, value in cube) for cube in cubes]
    return Invariant(tuple(clauses))


def _table_of(rows: Iterable[int], count: int) -> TruthTable:
    digits = bytearray(b"0" * (1 << count))
    for row in rows:
        digits[-1 - row] = ord("1")
    return int(bytes(digits), 2)
