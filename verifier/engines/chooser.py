"""Chooses how to decide: bounded search and property-directed reachability, by turns, in one process.

Decides whatever one of the two decides; `Undecided` at the limit, or when bounded search has come to its depth and
there is no proof. A few frames are searched first, as most counterexamples are short. Then the one that has used less
time goes on; each is told how many frames the other has searched.

(C1) A counterexample that is returned is the shortest: every smaller length was excluded by one of the two.
(C2) What claims of one circuit share (solvers, invariants) depends on graph, constraints and registers only; a system
that differs in these starts anew.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field

from verifier.engines.bounded_search import ENGINE as BOUNDED_SEARCH
from verifier.engines.bounded_search import BoundedSearch
from verifier.engines.decision import Decision, Reached, Undecided, Unreachable
from verifier.engines.explicit_search import search_explicitly
from verifier.engines.lifting import Cube
from verifier.engines.property_directed import ENGINE as PROPERTY_DIRECTED
from verifier.engines.property_directed import CounterexampleLength, PropertyDirectedReachability
from verifier.engines.step_solver import StepSolver
from verifier.engines.sweeping import ENGINE as SWEEPING
from verifier.engines.sweeping import Sweeper
from verifier.engines.turns import FIRST_FRAMES, Progress, Turns
from verifier.engines.unrolling import UnrolledSolver
from verifier.errors import InternalDisagreement
from verifier.logic.bit_graph import FALSE, BitGraph, Literal
from verifier.logic.session import Answer, NoAnswerError
from verifier.logic.transition_system import Invariant, TransitionSystem

ENGINE = "bounded search and property-directed reachability"

MOST_UNROLLED_VARIABLES = 20_000


@dataclass(kw_only=True)
class _Circuit:
    """What the claims of one circuit share."""

    graph: BitGraph
    constraints: tuple[Literal, ...]
    next: dict[Literal, Literal] = field(default_factory=dict)
    """Every register that was seen."""
    inputs: set[Literal] = field(default_factory=set)
    unrolled: UnrolledSolver | None = None
    step: StepSolver | None = None
    invariants: list[tuple[Cube, ...]] = field(default_factory=list)
    """Each is inductive by itself under the constraints."""

    def admits(self, system: TransitionSystem) -> bool:
        return (
            self.graph is system.graph
            and self.constraints == system.constraints
            and all(self.next.get(r.variable, r.next) == r.next for r in system.registers)
            and self.inputs.isdisjoint(r.variable for r in system.registers)
            and self.next.keys().isdisjoint(system.inputs)
        )

    def admit(self, system: TransitionSystem) -> None:
        self.next.update((register.variable, register.next) for register in system.registers)
        self.inputs.update(system.inputs)
        if self.unrolled is None or self.unrolled.session.variable_count > MOST_UNROLLED_VARIABLES:
            self.unrolled = UnrolledSolver(self.graph, self.constraints)

    def known_about(self, system: TransitionSystem) -> list[tuple[Cube, ...]]:
        variables = {register.variable for register in system.registers}
        return [
            cubes for cubes in self.invariants if all(literal & ~1 in variables for cube in cubes for literal in cube)
        ]


class Chooser:
    """Decides systems one after another; those of one circuit (same graph, constraints and registers) share work."""

    def __init__(self) -> None:
        self._circuit: _Circuit | None = None
        self._sweeper: Sweeper | None = None

    def decide(
        self,
        system: TransitionSystem,
        *,
        limit_seconds: float,
        depth: int | None = None,
        progress: Progress | None = None,
    ) -> Decision:
        """Is `bad` reachable?

        Bounded search goes no further than `depth` frames. The limit is kept to within about 0.3 s. Raises ValueError
        for a question about endless runs, which is another one.
        """
        if system.fairness is not None:
            raise ValueError("a system with fairness asks for an endless run, not for a bad frame")
        deadline = time.monotonic() + limit_seconds
        system = system.cone_of_influence()
        if system.bad == FALSE or FALSE in system.constraints:
            return Unreachable(invariant=Invariant(()), engine="constant")
        found = search_explicitly(system, deadline, depth)
        if found is not None:
            return found
        sweeper = self._sweeper
        if sweeper is None or sweeper.graph is not system.graph:
            sweeper = Sweeper(system.graph)
        self._sweeper = None  # as for the circuit below
        system = sweeper.swept(system, deadline).cone_of_influence()
        self._sweeper = sweeper
        if system.bad == FALSE or FALSE in system.constraints:
            return Unreachable(invariant=Invariant(()), engine=SWEEPING)
        circuit = self._circuit
        if circuit is None or not circuit.admits(system):
            circuit = _Circuit(graph=system.graph, constraints=system.constraints)
        # Whatever is raised on the way (Ctrl-C above all) may leave half-loaded solvers behind: they are kept after an
        # orderly end only.
        self._circuit = None
        circuit.admit(system)
        decision = _Search(system, circuit, deadline, depth, progress).decide(limit_seconds)
        self._circuit = circuit
        return decision


class _Search:
    """The two engines taking turns on one system."""

    def __init__(
        self,
        system: TransitionSystem,
        circuit: _Circuit,
        deadline: float,
        depth: int | None,
        progress: Progress | None,
    ) -> None:
        self._system = system
        self._circuit = circuit
        self._deadline = deadline
        self._turns = Turns(deadline)
        self._depth = depth
        self._progress = progress
        self._bounded = BoundedSearch(system, circuit.unrolled)
        self._proof: PropertyDirectedReachability | None = None

    def decide(self, limit_seconds: float) -> Decision:
        try:
            while self._bounded.searched_to < FIRST_FRAMES and self._may_go_deeper():
                if self._bounded.advance(self._deadline) is Answer.SATISFIABLE:
                    return self._reached()
            return self._take_turns()
        except NoAnswerError as stopped:
            return self._undecided(self._turns.reason(stopped, limit_seconds))

    def _take_turns(self) -> Decision:
        proof = self._proof = PropertyDirectedReachability(
            self._system, self._circuit.step, self._circuit.known_about(self._system)
        )
        while proof.result is None:
            if self._progress is not None:
                self._progress(max(self._bounded.searched_to, proof.searched_to))
            if self._may_go_deeper() and self._turns.bounded_is_next:
                if self._turns.search(self._bounded) is Answer.SATISFIABLE:
                    return self._reached()
            else:
                self._try_to_prove(proof)
        if isinstance(proof.result, Invariant):
            return self._unreachable(proof.result)
        return self._shortest(proof.result)

    def _may_go_deeper(self) -> bool:
        return self._depth is None or self._bounded.searched_to < self._depth

    def _try_to_prove(self, proof: PropertyDirectedReachability) -> None:
        with self._turns.proving():
            proof.advance(self._deadline)
            self._circuit.step = proof.solver
            self._bounded.skip_to(proof.searched_to)

    def _shortest(self, found: CounterexampleLength) -> Decision:
        """Bounded search up to the length that is known to do."""
        if self._depth is not None and found.frames > self._depth:
            while self._may_go_deeper():
                if self._bounded.advance(self._deadline) is Answer.SATISFIABLE:
                    return self._reached()
            return self._undecided(f"there is one of {found.frames} instants or fewer, beyond the depth asked for")
        while self._bounded.advance(self._deadline) is Answer.UNSATISFIABLE:
            if self._bounded.searched_to >= found.frames:
                raise InternalDisagreement(
                    f"{PROPERTY_DIRECTED} has a counterexample of {found.frames} frames, {BOUNDED_SEARCH} has none"
                )
        return self._reached()

    def _reached(self) -> Reached:
        return Reached(counterexample=self._bounded.counterexample(self._deadline), engine=BOUNDED_SEARCH)

    def _unreachable(self, invariant: Invariant) -> Unreachable:
        if invariant.clauses:
            cubes = tuple(frozenset(literal ^ 1 for literal in clause) for clause in invariant.clauses)
            self._circuit.invariants.append(cubes)
        return Unreachable(invariant=invariant, engine=PROPERTY_DIRECTED)

    def _undecided(self, reason: str) -> Undecided:
        searched_to = self._bounded.searched_to
        if self._proof is not None:
            searched_to = max(searched_to, self._proof.searched_to)
        return Undecided(
            reason=f"{reason}; no counterexample in the first {searched_to} steps",
            searched_to=searched_to,
            engine=ENGINE,
        )
