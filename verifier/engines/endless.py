"""Do the constraints allow an endless run from frame 0 at all? If not, everything would be proved of it.

Decides `Endless`, with a run that comes back to a state it was in, or `Contradictory`, with the length at which every
run ends. Answers `Undecided` at its depth or limit: a machine that cannot stand still comes back to a state only after
its whole period.

(E1) `Contradictory(n)`: there is a permitted run of `n` frames and none of `n + 1`.
(E2) `Endless`: the frames from `loop_from` on can be repeated for ever, as the state after the last is the one in frame
`loop_from`.

There are finitely many states, so one of the two comes at a depth of at most 2^registers; the search goes up to its
depth.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

from verifier.engines.bounded_search import BoundedSearch
from verifier.engines.decision import Undecided
from verifier.engines.unrolling import UnrolledSolver, Unrolling
from verifier.logic.bit_graph import FALSE, Literal
from verifier.logic.session import Answer, NoAnswerError
from verifier.logic.transition_system import Counterexample, TransitionSystem

ENGINE = "bounded search"
DEFAULT_DEPTH = 64
MOST_CALM_FRAMES = 4


@dataclass(frozen=True)
class Endless:
    run: Counterexample
    loop_from: int


@dataclass(frozen=True)
class Contradictory:
    frames: int
    """Length of the longest permitted run; 0 when no frame 0 is permitted."""


Permission = Endless | Contradictory | Undecided


def permitted_forever(system: TransitionSystem, limit_seconds: float, depth: int = DEFAULT_DEPTH) -> Permission:
    """Looks at runs of at most `depth` frames. The `bad` bit of the system plays no part."""
    deadline = time.monotonic() + limit_seconds
    system = replace(system, bad=FALSE).cone_of_influence()
    calm = _calm_run(system)
    if calm is not None:
        return calm
    solver = UnrolledSolver(system.graph, system.constraints)
    frames = 0
    try:
        while frames < depth:
            search = _LoopSearch(system, solver, frames)
            if search.run_exists(deadline) is Answer.UNSATISFIABLE:
                return Contradictory(frames)
            if search.advance(deadline) is Answer.SATISFIABLE:
                return search.endless(deadline)
            frames += 1
        reason = f"no permitted run comes back to an earlier state within {depth} instants"
    except NoAnswerError as stopped:
        reason = str(stopped)
    return Undecided(reason=reason, searched_to=frames, engine=ENGINE)


def _calm_run(system: TransitionSystem) -> Endless | None:
    """The run on which every input is 0, if it is permitted and soon repeats itself: true of almost every circuit.

    It spares the solver, whose start alone costs as much as judging a small circuit.
    """
    roots = [*system.constraints, *(register.next for register in system.registers)]
    state = dict.fromkeys((register.variable for register in system.registers), False)
    seen: list[dict[Literal, bool]] = []
    while len(seen) < MOST_CALM_FRAMES:
        values = system.graph.evaluate(roots, state)
        if not all(values[: len(system.constraints)]):
            return None
        seen.append(state)
        state = dict(zip(state, values[len(system.constraints) :], strict=True))
        if state in seen:
            return Endless(Counterexample(({},) * len(seen)), seen.index(state))
    return None


class _LoopSearch(BoundedSearch):
    """Bounded search at one depth, for a run whose state after the last frame is one it was in before."""

    def __init__(self, system: TransitionSystem, solver: UnrolledSolver, last: int) -> None:
        super().__init__(system, solver)
        self._registers = system.registers
        self.searched_to = last
        self._returns: list[Literal] = []
        """For each frame up to the last: the state after the last frame is the one in that frame."""

    def run_exists(self, deadline: float) -> Answer:
        return self._solver.session.check([self._solver.permits(self.searched_to)], deadline)

    def endless(self, deadline: float) -> Endless:
        run = self.counterexample(deadline)
        images = {
            point: value
            for frame, inputs in enumerate(run.frames)
            for point, value in ((self._solver.unrolling.literal(frame, name), value) for name, value in inputs.items())
        }
        met = self._solver.unrolling.graph.evaluate(self._returns, images)
        return Endless(run, len(met) - 1 - met[::-1].index(True))

    def _demands(self) -> list[Literal]:
        graph = self._solver.unrolling.graph
        self._returns = [self._equal(self._solver.unrolling, frame) for frame in range(self.searched_to + 1)]
        return [graph.any_of(self._returns)]

    def _equal(self, unrolling: Unrolling, frame: int) -> Literal:
        return unrolling.graph.all_of(
            unrolling.graph.equivalence(
                unrolling.literal(frame, register.variable), unrolling.literal(self.searched_to, register.next)
            )
            for register in self._registers
        )
