"""Is there an endless run on which every fairness literal is 1 again and again? Two searches by turns, in one process.

Small systems are decided by `explicit_search` alone. For the others: decides `Reached`, with a shortest lasso, by
bounded search over the repeating system (liveness to safety). Decides `Unreachable`, with an invariant of the counting
system that says that the fairness literals cannot all be seen so many times over (k-liveness), by property-directed
reachability, for more and more rounds. Both transformations stand in `verifier.logic.endless`. `Undecided` at the
limit, or when bounded search has come to its depth and MOST_ROUNDS_BEYOND_DEPTH rounds can happen.

(L1) A lasso that is returned is a shortest one: bounded search excluded every smaller number of frames.
(L2) The invariant of an `Unreachable` belongs to the system that stands beside it in `about`.

It ends: if there is a fair endless run there is one that is a lasso, of bounded length; if there is none, no run sees
the fairness literals more often than there are states.
"""

from __future__ import annotations

import time

from verifier.engines.bounded_search import BoundedSearch
from verifier.engines.decision import Decision, Reached, Undecided, Unreachable
from verifier.engines.explicit_search import search_endless_explicitly
from verifier.engines.property_directed import PropertyDirectedReachability
from verifier.engines.step_solver import StepSolver
from verifier.engines.turns import FIRST_FRAMES, Progress, Turns
from verifier.logic.bit_graph import FALSE
from verifier.logic.endless import CountingSystem, repeating
from verifier.logic.session import Answer, NoAnswerError
from verifier.logic.transition_system import Invariant, TransitionSystem

LASSO_ENGINE = "bounded search for a lasso"
COUNTING_ENGINE = "k-liveness by property-directed reachability"
ENGINE = "bounded search for a lasso and k-liveness"

FIRST_ROUNDS = 3
"""Most true claims of the shelf need two or three; to prove three where one would do costs next to nothing."""
MOST_ROUNDS_BEYOND_DEPTH = 24
"""After the depth, the proof is tried for no more rounds: there probably is a fair endless run, beyond the depth."""


def decide_endless(
    system: TransitionSystem,
    *,
    limit_seconds: float,
    depth: int | None = None,
    progress: Progress | None = None,
) -> Decision:
    """`depth` bounds the instants of a lasso, its loop included; the other arguments are those of `Chooser.decide`."""
    deadline = time.monotonic() + limit_seconds
    system = system.cone_of_influence()
    counting = CountingSystem(system)
    if FALSE in system.constraints or FALSE in (system.fairness or ()):
        return Unreachable(invariant=counting.no_round_ends(), engine="constant", about=counting.after(1))
    found = search_endless_explicitly(system, counting, deadline, depth)
    if found is not None:
        return found
    search = _EndlessSearch(system, counting, deadline, depth, progress)
    try:
        return search.decide()
    except NoAnswerError as stopped:
        return search.undecided(search.turns.reason(stopped, limit_seconds))


class _EndlessSearch:
    """The two searches taking turns on one system."""

    def __init__(
        self,
        system: TransitionSystem,
        counting: CountingSystem,
        deadline: float,
        depth: int | None,
        progress: Progress | None,
    ) -> None:
        self.turns = Turns(deadline)
        self._depth = depth
        self._progress = progress
        self._repeating = repeating(system)
        self._bounded = BoundedSearch(self._repeating.system)
        self._counting = counting
        self._rounds = FIRST_ROUNDS
        self._step = StepSolver(system.graph, system.constraints)
        self._proof = self._new_proof()

    def decide(self) -> Decision:
        while self._bounded.searched_to < FIRST_FRAMES and self._may_go_deeper():
            if self._bounded.advance(self.turns.deadline) is Answer.SATISFIABLE:
                return self._reached()
        while not isinstance(self._proof.result, Invariant):
            if self._progress is not None:
                self._progress(self._bounded.searched_to)
            if not self._may_go_deeper() and self._rounds > MOST_ROUNDS_BEYOND_DEPTH:
                raise NoAnswerError(f"every fairness literal can be 1 {self._rounds // 2} times over")
            if self._may_go_deeper() and self.turns.bounded_is_next:
                if self.turns.search(self._bounded) is Answer.SATISFIABLE:
                    return self._reached()
            else:
                self._try_to_prove()
        about = self._counting.after(self._rounds)
        return Unreachable(invariant=self._proof.result, engine=COUNTING_ENGINE, about=about)

    def undecided(self, reason: str) -> Undecided:
        instants = max(self._bounded.searched_to - 1, 0)
        return Undecided(
            reason=f"{reason}; no endless counterexample of up to {instants} instants",
            searched_to=instants,
            engine=ENGINE,
        )

    def _may_go_deeper(self) -> bool:
        return self._depth is None or self._bounded.searched_to <= self._depth

    def _new_proof(self) -> PropertyDirectedReachability:
        return PropertyDirectedReachability(self._counting.after(self._rounds), self._step)

    def _try_to_prove(self) -> None:
        """Some more of the proof at hand; when that many rounds can happen, the next number of rounds."""
        with self.turns.proving():
            self._proof.advance(self.turns.deadline)
            self._step = self._proof.solver
            if self._proof.result is not None and not isinstance(self._proof.result, Invariant):
                self._rounds *= 2
                self._proof = self._new_proof()

    def _reached(self) -> Reached:
        lasso = self._repeating.lasso_of(self._bounded.counterexample(self.turns.deadline))
        return Reached(counterexample=lasso.frames, loop_from=lasso.loop_from, engine=LASSO_ENGINE)
