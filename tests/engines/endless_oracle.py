"""The oracle for endless runs: states, fairness seen so far and shortest lassos by plain sets and networkx.

It shares one thing with the engines, the graph's own `evaluate`, through `explicit.py`.
"""

from __future__ import annotations

import itertools

import networkx

from engines.explicit import State, assignments, following, permitted, replayed, start
from verifier.engines.decision import Reached
from verifier.logic.transition_system import TransitionSystem

Step = tuple[State, frozenset[int], State]
"""From a state, with these fairness literals 1, to a state."""


def reachable_steps(system: TransitionSystem) -> set[Step]:
    """Every permitted step of every reachable state."""
    fairness = system.fairness or ()
    pending, seen, steps = [start(system)], {start(system)}, set[Step]()
    while pending:
        state = pending.pop()
        for values in assignments(system, state):
            if not permitted(system, values):
                continue
            ones = system.graph.evaluate(fairness, values)
            after = following(system, values)
            steps.add((state, frozenset(i for i, one in enumerate(ones) if one), after))
            if after not in seen:
                seen.add(after)
                pending.append(after)
    return steps


def has_fair_run(system: TransitionSystem) -> bool:
    """Some strongly connected part with a step in it has every fairness literal on its steps."""
    steps = reachable_steps(system)
    graph = networkx.DiGraph((before, after) for before, _, after in steps)
    for members in networkx.strongly_connected_components(graph):
        inner = [ones for before, ones, after in steps if before in members and after in members]
        if inner and frozenset().union(*inner) == frozenset(range(len(system.fairness or ()))):
            return True
    return False


def shortest_lasso_length(system: TransitionSystem) -> int | None:
    """Way and loop together, for every reachable state that the loop may begin in, in a product with what was seen."""
    steps = reachable_steps(system)
    plain = networkx.DiGraph((before, after) for before, _, after in steps)
    plain.add_node(start(system))
    every = frozenset(range(len(system.fairness or ())))
    subsets = [frozenset(s) for n in range(len(every) + 1) for s in itertools.combinations(every, n)]
    product = networkx.DiGraph(
        ((before, seen), (after, seen | ones)) for before, ones, after in steps for seen in subsets
    )
    best: int | None = None
    for begin, way in networkx.single_source_shortest_path_length(plain, start(system)).items():
        if (begin, frozenset()) in product:
            arrivals = networkx.single_source_shortest_path_length(product, (begin, frozenset()))
            if every:
                loop = arrivals.get((begin, every))
            else:
                loop = min(
                    (arrivals[p] + 1 for p in product.predecessors((begin, every)) if p in arrivals), default=None
                )
            if loop is not None and (best is None or way + loop < best):
                best = way + loop
    return best


def check_lasso(system: TransitionSystem, reached: Reached) -> None:
    """Lives through the frames and once more round the loop. Raises AssertionError where it is no fair endless run."""
    loop_from, frames = reached.loop_from, reached.counterexample
    assert loop_from is not None
    assert 0 <= loop_from < len(frames)
    values = replayed(system, frames)  # raises where a constraint forbids a frame
    assert following(system, values[-1]) == _registers(system, values[loop_from])
    for literal in system.fairness or ():
        assert any(system.graph.evaluate([literal], frame) == [True] for frame in values[loop_from:])


def _registers(system: TransitionSystem, values: dict[int, bool]) -> State:
    return tuple(values[register.variable] for register in system.registers)
