"""Small systems decided by walking all their states: exact, and by far the cheapest where it fits.

Decides `Reached` with a shortest counterexample, the calmest; `Unreachable` with the exact set of reachable states as
an invariant, written as few large clauses; for endless runs, a shortest lasso, or that none is fair, with an invariant
that bounds, state by state, how often the fairness literals have all been seen. `Undecided` beyond the depth asked for.
Answers None when the system does not fit or takes too long: then the other engines are asked.

(X3) The rounds seen on a way to a state are at most `rounds[state]`, as no edge on which a round ends lies on a cycle.

It ends: every part of it is bounded by a MOST_ number here or in `explicit_states.py`. Between looks at the clock it
compiles a system, fills a truth table, or goes once through the edges: measured, at most 0.1 s beyond its turn.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace

from verifier.engines.cover import CoverTooLong, Rows, TruthTable, irredundant_cover
from verifier.engines.decision import Decision, Reached, Undecided, Unreachable
from verifier.engines.explicit_lasso import shortest_lasso
from verifier.engines.explicit_runs import Stride, calmest_run, ways_to
from verifier.engines.explicit_states import ExplicitStates, TooLarge, fits
from verifier.engines.sparse_cover import cover_of_others
from verifier.errors import InternalDisagreement
from verifier.logic.bit_graph import FALSE, Literal
from verifier.logic.components import strongly_connected_components
from verifier.logic.endless import CountingSystem, Lasso
from verifier.logic.transition_system import Clause, Counterexample, Invariant, TransitionSystem

ENGINE = "explicit search of all states"

MOST_TURN_SECONDS = 0.25
MOST_ENDLESS_TURN_SECONDS = 0.6
"""The other way takes ten to a thousand times as long on true claims of the shelf."""
MOST_COVER_BITS = 22
"""A table of so many variables takes half a megabyte, and 20 ms to be filled."""
MOST_CLAUSES = 2000
"""To judge so many again takes about 0.5 to 1 s."""


def search_explicitly(system: TransitionSystem, deadline: float, depth: int | None = None) -> Decision | None:
    """Is `bad` reachable? The system is its own cone of influence."""
    try:
        deadline = min(deadline, time.monotonic() + MOST_TURN_SECONDS)
        explicit = _all_states(system, (), deadline)
        if explicit.bad_lanes:
            return _within(depth, Reached(counterexample=_nearest_bad_run(explicit, deadline), engine=ENGINE))
        variables = [register.variable for register in system.registers]
        invariant = _clauses_for([(state, state) for state in explicit.states], variables, deadline)
        return Unreachable(invariant=invariant, engine=ENGINE)
    except (TooLarge, CoverTooLong):
        return None


def search_endless_explicitly(
    system: TransitionSystem, counting: CountingSystem, deadline: float, depth: int | None = None
) -> Decision | None:
    """Is there a fair endless run? `counting` belongs to the system, which is its own cone of influence."""
    deadline = min(deadline, time.monotonic() + MOST_ENDLESS_TURN_SECONDS)
    fairness = system.fairness or ()
    try:
        lasso = _shortest_lasso(replace(system, bad=FALSE, fairness=None), fairness, deadline)
        if lasso is None:
            return _refuted(counting, deadline)
        return _within(depth, Reached(counterexample=lasso.frames, loop_from=lasso.loop_from, engine=ENGINE))
    except (TooLarge, CoverTooLong):
        return None


def _shortest_lasso(system: TransitionSystem, fairness: Sequence[Literal], deadline: float) -> Lasso | None:
    """Short ones are looked for before everything was explored: each time the number of states has doubled."""
    explicit, every_mark = _fitting(system, fairness), (1 << len(fairness)) - 1
    distance, enough = 0, 1
    while not explicit.is_complete:
        explicit.explore(deadline, distance)
        distance += 1
        if len(explicit.edges) >= enough and not explicit.is_complete:
            lasso = shortest_lasso(explicit, every_mark, deadline, most=distance)
            if lasso is not None:
                return lasso
            enough = 2 * len(explicit.edges)
    return shortest_lasso(explicit, every_mark, deadline)


def _all_states(system: TransitionSystem, marks: Sequence[Literal], deadline: float) -> ExplicitStates:
    explicit = _fitting(system, marks)
    explicit.explore(deadline)
    return explicit


def _fitting(system: TransitionSystem, marks: Sequence[Literal]) -> ExplicitStates:
    if not fits(system, marks):
        raise TooLarge("it has too many registers, inputs or nodes")
    return ExplicitStates(system, marks)


def _within(depth: int | None, reached: Reached) -> Reached | Undecided:
    length = len(reached.counterexample)
    if depth is None or length <= depth:
        return reached
    none = f"counterexample in the first {depth} steps"
    if reached.loop_from is not None:
        none = f"endless counterexample of up to {depth} instants"
    reason = f"no {none}, and one of {length} instants exists"
    return Undecided(reason=reason, searched_to=depth, engine=ENGINE)


def _nearest_bad_run(explicit: ExplicitStates, deadline: float) -> Counterexample:
    """Bad frames lead nowhere: all have one target, any will do."""
    last = [Stride(number, explicit.states[number], lanes, None) for number, lanes in explicit.bad_lanes.items()]
    return calmest_run(explicit.system, [*ways_to(explicit, set(explicit.bad_lanes)), last], deadline)


def _refuted(counting: CountingSystem, deadline: float) -> Unreachable:
    """No fair endless run exists."""
    plain = counting.plain()
    explicit = _all_states(plain, [counting.round_ends], deadline)
    rounds = _most_rounds(explicit)
    about = counting.below(max(rounds) + 1)
    count = len(plain.registers)
    variables = [register.variable for register in (*about.registers[count:], *about.registers[:count])]
    place = len(variables) - count
    seen = [(state << place, (state << place) + most) for state, most in zip(explicit.states, rounds, strict=True)]
    invariant = _clauses_for(seen, variables, deadline)
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


def _clauses_for(reached: Sequence[Rows], variables: Sequence[Literal], deadline: float) -> Invariant:
    """Clauses that hold in exactly the reached states: the opposites of cubes that cover all others.

    Raises TooLarge when that takes too long, or too many clauses.
    """
    count = len(variables)
    if count > MOST_COVER_BITS:
        cubes = cover_of_others(reached, count, deadline)
    else:
        others = ((1 << (1 << count)) - 1) ^ _table_of(reached, count)
        cubes = irredundant_cover(others, count, deadline)
    if len(cubes) > MOST_CLAUSES:
        raise TooLarge(f"the invariant has {len(cubes)} clauses")
    clauses: list[Clause] = [tuple(variables[place] ^ value for place, value in cube) for cube in cubes]
    return Invariant(tuple(clauses))


def _table_of(reached: Sequence[Rows], count: int) -> TruthTable:
    digits = bytearray(b"0" * (1 << count))
    for first, last in reached:
        digits[first : last + 1] = b"1" * (last + 1 - first)
    digits.reverse()
    return int(bytes(digits), 2)
