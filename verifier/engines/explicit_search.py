"""Small systems decided by walking all their states: exact, and by far the cheapest where it fits.

Decides `Reached` with a shortest counterexample; `Unreachable` with the exact set of reachable states as an invariant, written as few
large clauses; for endless runs, a shortest
lasso, or that none is fair, with an invariant that bounds, state by state, how often the fairness literals have all been
seen. Answers None when the system does not fit or has too many states.

(X3) The rounds seen on a way to a state are at most `rounds[state]`, as no edge on which a round ends lies on a cycle.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from verifier.engines.cover import TruthTable, irredundant_cover
from verifier.engines.decision import Decision, Reached, Undecided, Unreachable
from verifier.engines.explicit_lasso import shortest_lasso
from verifier.engines.explicit_states import ExplicitStates, TooLarge, fits
from verifier.errors import InternalDisagreement
from verifier.logic.bit_graph import FALSE, Literal
from verifier.logic.components import strongly_connected_components
from verifier.logic.endless import CountingSystem
from verifier.logic.session import NoAnswerError
from verifier.logic.transition_system import Clause, Invariant, TransitionSystem

ENGINE = "explicit search of all states"

MOST_TURN_SECONDS = 0.5
MOST_COVER_BITS = 22


def search_explicitly(system: TransitionSystem, deadline: float, depth: int | None = None) -> Decision | None:
    """Is `bad` reachable? The system is its own cone of influence."""
    if not fits(system):
        return None
    explicit = ExplicitStates(system)
    try:
        counterexample = explicit.explore(min(deadline, time.monotonic() + MOST_TURN_SECONDS))
    except (TooLarge, NoAnswerError):
        return None
    if counterexample is None:
        variables = [register.variable for register in system.registers]
        reached = _table_of(explicit.states, len(variables))
        return Unreachable(invariant=_clauses_for(reached, variables), engine=ENGINE)
    if depth is not None and len(counterexample) > depth:
        reason = f"no counterexample in the first {depth} steps, and one of {len(counterexample)} instants exists"
        return Undecided(reason=reason, searched_to=depth, engine=ENGINE)
    return Reached(counterexample=counterexample, engine=ENGINE)


def search_endless_explicitly(
    system: TransitionSystem, counting: CountingSystem, deadline: float, depth: int | None = None
) -> Decision | None:
    """Is there a fair endless run? `counting` belongs to the system, which is its own cone of influence."""
    fairness = system.fairness or ()
    explicit = _all_states(replace(system, bad=FALSE, fairness=None), fairness, deadline)
    if explicit is None:
        return None
    lasso = shortest_lasso(explicit, (1 << len(fairness)) - 1)
    if lasso is None:
        return _refuted(counting, deadline)
    ways, loop_from = lasso
    if depth is not None and len(ways) > depth:
        reason = f"no endless counterexample of up to {depth} instants, and one of {len(ways)} exists"
        return Undecided(reason=reason, searched_to=depth, engine=ENGINE)
    return Reached(counterexample=explicit.frames(ways), loop_from=loop_from, engine=ENGINE)


def _refuted(counting: CountingSystem, deadline: float) -> Unreachable | None:
    """No fair endless run exists; None when the invariant that says so would be too large."""
    plain = counting.plain()
    explicit = _all_states(plain, [counting.round_ends], deadline)
    if explicit is None:
        return None
    rounds = _most_rounds(explicit)
    about = counting.below(max(rounds) + 1)
    variables = [register.variable for register in about.registers]
    if len(variables) > MOST_COVER_BITS:
        return None
    place = len(plain.registers)
    seen = (
        state | count << place for state, most in zip(explicit.states, rounds, strict=True) for count in range(most + 1)
    )
    invariant = _clauses_for(_table_of(seen, len(variables)), variables)
    return Unreachable(invariant=invariant, engine=ENGINE, about=about)


def _all_states(system: TransitionSystem, marks: Sequence[Literal], deadline: float) -> ExplicitStates | None:
    """Every reachable state of a system in which nothing is bad."""
    if not fits(system):
        return None
    explicit = ExplicitStates(system, marks)
    try:
        explicit.explore(min(deadline, time.monotonic() + MOST_TURN_SECONDS))
    except (TooLarge, NoAnswerError):
        return None
    return explicit


def _most_rounds(explicit: ExplicitStates) -> list[int]:
    """For every state, the most rounds that can end on a way to it. No edge on which a round ends lies on a cycle."""
    edges = explicit.edges
    components = list(_components(explicit))
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


def _components(explicit: ExplicitStates) -> Iterator[list[int]]:
    return strongly_connected_components(
        range(len(explicit.edges)), lambda state: (edge.target for edge in explicit.edges[state])
    )


def _table_of(rows: Iterable[int], count: int) -> TruthTable:
    digits = bytearray(b"0" * (1 << count))
    for row in rows:
        digits[-1 - row] = ord("1")
    return int(bytes(digits), 2)


def _clauses_for(reached: TruthTable, variables: list[Literal]) -> Invariant:
    """Clauses that hold in exactly the reached states: the opposites of cubes that cover all others."""
    others = ((1 << (1 << len(variables))) - 1) ^ reached
    cubes = irredundant_cover(others, len(variables))
    clauses: list[Clause] = [tuple(variables[place] ^ value for place, value in cube) for cube in cubes]
    return Invariant(tuple(clauses))
