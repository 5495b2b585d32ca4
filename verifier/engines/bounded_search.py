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
from collections.abc import Sequence
from contextlib import suppress

from verifier.engines.decision import Decision, Reached, Undecided
from verifier.engines.unrolling import UnrolledSolver
from verifier.errors import InternalDisagreement
from verifier.logic.bit_graph import FALSE, Literal
from verifier.logic.session import Answer, NoAnswerError, SessionLiteral
from verifier.logic.transition_system import Counterexample, TransitionSystem

ENGINE = "bounded search"

MOST_TIDYING_QUERIES = 1000
"""Of 0.1 to 0.5 ms each; on the shelf of specs a counterexample takes two to five."""
FIRST_BATCH = 8


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
    not on what the solver tried first.

    (Y1) Every wish in `_kept` holds in the present model. (Y2) A wish that was neither kept nor left is impossible
    together with those kept before it.
    """

    def __init__(
        self, system: TransitionSystem, solver: UnrolledSolver, last: int, demands: Sequence[SessionLiteral]
    ) -> None:
        self._solver = solver
        self._kept = list(demands)
        self._inputs = [
            {variable: self._loaded(frame, variable) for variable in system.inputs} for frame in range(last + 1)
        ]
        preferred = [self._loaded(frame, wish) for frame in range(last + 1) for wish in system.preferences]
        calm = [literal ^ 1 for inputs in self._inputs for literal in inputs.values()]
        self._left = list(dict.fromkeys([*preferred, *calm]))
        """Wishes that are still to be decided."""
        self._variables = list(dict.fromkeys(wish & ~1 for wish in self._left))
        self._model: dict[SessionLiteral, bool] = {}

    def _loaded(self, frame: int, literal: Literal) -> SessionLiteral:
        return self._solver.loaded(self._solver.unrolling.literal(frame, literal))

    def counterexample(self, deadline: float | None) -> Counterexample:
        if self._solver.session.check(self._kept, deadline) is Answer.UNSATISFIABLE:
            raise InternalDisagreement("a counterexample was gone when it was asked for again")
        self._model = self._read()
        with suppress(NoAnswerError):  # then the present model will do
            self._decide_wishes(deadline)
        return Counterexample(
            tuple({variable: self._model[literal] for variable, literal in inputs.items()} for inputs in self._inputs)
        )

    def _decide_wishes(self, deadline: float | None) -> None:
        """Whole batches of wishes that the model does not meet are asked about at once: most are impossible."""
        batch = FIRST_BATCH
        for _ in range(MOST_TIDYING_QUERIES):
            self._keep_what_holds()
            unmet = [wish for wish in self._left if not self._holds(wish)][:batch]
            if not unmet:
                return
            if self._solver.session.check([*self._kept, self._any_of(unmet)], deadline) is Answer.UNSATISFIABLE:
                rejected = set(unmet)
                self._left = [wish for wish in self._left if wish not in rejected]
                batch = 2 * len(unmet)
                continue
            self._model = self._read()
            # The wishes before the first one that is met now may be impossible together: they are the next batch.
            batch = next(i for i, wish in enumerate(unmet) if self._holds(wish)) or FIRST_BATCH

    def _keep_what_holds(self) -> None:
        count = next((i for i, wish in enumerate(self._left) if not self._holds(wish)), len(self._left))
        self._kept += self._left[:count]
        del self._left[:count]

    def _any_of(self, wishes: Sequence[SessionLiteral]) -> SessionLiteral:
        if len(wishes) == 1:
            return wishes[0]
        some = self._solver.session.variable()
        self._solver.session.add_clause([some ^ 1, *wishes])
        return some

    def _holds(self, wish: SessionLiteral) -> bool:
        return self._model[wish & ~1] != bool(wish & 1)

    def _read(self) -> dict[SessionLiteral, bool]:
        return dict(zip(self._variables, self._solver.session.values(self._variables), strict=True))


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
