"""Bounded search: is there a permitted run of exactly 1, 2, 3, ... frames whose last frame is bad?

Decides `Reached`, with the shortest counterexample. It proves nothing (except that the system is not bad within the
frames it searched), so without a counterexample it answers `Undecided` at its depth or limit.

(I1) No permitted run of at most `searched_to` frames ends in a bad frame.
(I2) A counterexample that is returned has exactly `searched_to + 1` frames.

One query a depth, and the depth only grows: a search up to a given depth ends. Follows Biere, Cimatti, Clarke, Zhu:
Symbolic model checking without BDDs (TACAS 1999).
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence

from verifier.engines.decision import Decision, Reached, Undecided
from verifier.engines.unrolling import UnrolledSolver
from verifier.errors import InternalDisagreement
from verifier.logic.bit_graph import FALSE, TRUE, Literal
from verifier.logic.session import Answer, NoAnswerError, SessionLiteral
from verifier.logic.transition_system import Counterexample, TransitionSystem

ENGINE = "bounded search"

MOST_TIDYING_QUERIES = 1000
"""A wish costs at most one query, of about 0.1 ms."""


class BoundedSearch:
    """The search for one system, to be driven depth by depth."""

    def __init__(self, system: TransitionSystem, solver: UnrolledSolver | None = None) -> None:
        """`solver` may have served other systems of the same graph and constraints."""
        self._system = system
        self._solver = solver or UnrolledSolver(system.graph, system.constraints)
        self._solver.load(system)
        self.searched_to = 0
        """Frames, see (I1)."""

    def skip_to(self, frames: int) -> None:
        """Another engine knows that no permitted run of at most so many frames is bad."""
        self.searched_to = max(self.searched_to, frames)

    def advance(self, deadline: float | None = None) -> Answer:
        """Is there a bad run of one frame more than was searched? If not, it has been searched now.

        Raises NoAnswerError at the deadline; the search can go on later.
        """
        answer = Answer.UNSATISFIABLE
        demands = self._demands()
        if FALSE not in demands:
            points = [self._solver.permits(self.searched_to), *map(self._solver.loaded, demands)]
            answer = self._solver.session.check(points, deadline)
        if answer is Answer.UNSATISFIABLE:
            self.searched_to += 1
        return answer

    def counterexample(self, deadline: float | None = None) -> Counterexample:
        """The calmest bad run of `searched_to + 1` frames, once `advance` has found that there is one."""
        last = self.searched_to
        points = [self._solver.permits(last), *map(self._solver.loaded, self._demands())]
        return _Tidying(self._system, self._solver, last, points).counterexample(deadline)

    def _demands(self) -> list[Literal]:
        return [self._solver.unrolling.literal(self.searched_to, self._system.bad)]


class _Tidying:
    """Makes a counterexample calm and repeatable, without changing its length.

    First the system's preferences are kept, in order, frame by frame: each one that can hold given those kept before.
    Then, in the same way, every input is 0. So, up to the query limit, the outcome depends on the question alone and
    not on what the solver tried first. Wishes are tried in growing batches; no model is read, as the negation of a
    rejected wish is known to hold.
    """

    def __init__(
        self, system: TransitionSystem, solver: UnrolledSolver, last: int, demands: Sequence[SessionLiteral]
    ) -> None:
        self._solver = solver
        self._kept = list(demands)
        self._inputs = [
            {variable: self._point(frame, variable) for variable in system.inputs} for frame in range(last + 1)
        ]
        preferred = [(frame, wish) for frame in range(last + 1) for wish in system.preferences]
        calm = [point ^ 1 for inputs in self._inputs for point in inputs.values()]
        self._wishes = list(dict.fromkeys([*self._undecided_points(preferred), *calm]))

    def _point(self, frame: int, literal: Literal) -> SessionLiteral:
        return self._solver.loaded(self._solver.unrolling.literal(frame, literal))

    def _undecided_points(self, wishes: Sequence[tuple[int, Literal]]) -> list[SessionLiteral]:
        literals = [self._solver.unrolling.literal(frame, wish) for frame, wish in wishes]
        return [self._solver.loaded(literal) for literal in literals if literal not in (FALSE, TRUE)]

    def counterexample(self, deadline: float | None) -> Counterexample:
        first, batch = 0, 1
        for _ in range(MOST_TIDYING_QUERIES):
            tried = self._wishes[first : first + batch]
            if not tried:
                return self._counterexample({wish: True for wish in self._kept})
            if self._solver.session.check([*self._kept, *tried], deadline) is Answer.SATISFIABLE:
                self._kept += tried
                first, batch = first + len(tried), 2 * batch
            elif len(tried) == 1:
                self._kept.append(tried[0] ^ 1)
                first += 1
            else:
                batch = len(tried) // 2
        return self._counterexample(self._model(deadline))

    def _counterexample(self, values: Mapping[SessionLiteral, bool]) -> Counterexample:
        frames = [{variable: values.get(point, False) for variable, point in inputs.items()} for inputs in self._inputs]
        return Counterexample(tuple(frames))

    def _model(self, deadline: float | None) -> dict[SessionLiteral, bool]:
        if self._solver.session.check(self._kept, deadline) is Answer.UNSATISFIABLE:
            raise InternalDisagreement("a counterexample was gone when it was asked for again")
        points = list(dict.fromkeys(point for inputs in self._inputs for point in inputs.values()))
        return dict(zip(points, self._solver.session.values(points), strict=True))


def search(system: TransitionSystem, depth: int, limit_seconds: float) -> Decision:
    """Bounded search alone, over runs of at most `depth` frames."""
    deadline = time.monotonic() + limit_seconds
    bounded = BoundedSearch(system.cone_of_influence())
    try:
        while bounded.searched_to < depth:
            if bounded.advance(deadline) is Answer.SATISFIABLE:
                return Reached(counterexample=bounded.counterexample(deadline), engine=ENGINE)
        reason = f"no counterexample of at most {depth} instants"
    except NoAnswerError as stopped:
        reason = str(stopped)
    return Undecided(reason=reason, searched_to=bounded.searched_to, engine=ENGINE)
