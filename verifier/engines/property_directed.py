"""Property-directed reachability: a proof built from small facts about one step, or the length of a counterexample.

Decides `Unreachable`, with an inductive invariant; when it meets a counterexample it gives its length and leaves the
shortest one to bounded search. Answers `Undecided` at its limit only.

Follows Bradley, SAT-Based Model Checking without Unrolling (VMCAI 2011), and Een, Mishchenko, Brayton, Efficient
Implementation of Property Directed Reachability (FMCAD 2011). Their letters: F_i is what is known of the states
reachable in at most i steps, k the last of them, s a cube of states, s' the same cube one step later, T the step. F_0
is the start, where all registers are 0, so a cube meets it exactly when it has no positive literal. C, the constraints,
are part of T and of every question about a bad state; they are not demanded of s'. That is enough, as a cube is only
asked about when each of its states can make a further permitted step or is bad in a permitted frame.

A cube of `_frames[i]` is excluded from F_1 .. F_i (each cube is kept at its highest frame only):

(I1) F_0 implies every F_i: every cube in `_frames` has a positive literal.
(I2) F_i implies F_(i+1): by the way cubes are kept.
(I3) F_i and T imply F_(i+1)': a cube enters frame i only when F_(i-1), its own exclusion and T exclude s'.
(I4) F_i and C exclude bad for i < k: no permitted run of at most k frames ends in a bad one.

It ends: there are finitely many cubes; with each excluded one some F_i loses a state; and k grows only while all F_i
differ, hence at most 2^registers times. When `_frames[i]` is empty for some 0 < i < k then F_i = F_(i+1), and by (I1),
(I3), (I4) F_i is the invariant.
"""

from __future__ import annotations

import heapq
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from verifier.engines.decision import Decision, Undecided, Unreachable
from verifier.engines.lifting import Cube, Lifting
from verifier.engines.step_solver import StepSolver
from verifier.errors import InternalDisagreement
from verifier.logic.bit_graph import Literal
from verifier.logic.session import Answer, NoAnswerError, SessionLiteral
from verifier.logic.transition_system import Invariant, TransitionSystem

ENGINE = "property-directed reachability"


@dataclass(frozen=True)
class CounterexampleLength:
    """There is a counterexample of so many frames; there may be a shorter one."""

    frames: int


@dataclass(frozen=True, order=True)
class _Obligation:
    """The cube leads to a bad frame; exclude it from F_level, or find that it is reachable."""

    level: int
    order: int
    """Later obligations first come after earlier ones."""
    frames_to_bad: int
    """Frames from the cube's up to and including the bad one."""
    cube: Cube


class PropertyDirectedReachability:
    """One proof attempt, advanced step by step; `result` is None until it is over."""

    def __init__(
        self, system: TransitionSystem, solver: StepSolver | None = None, known: Iterable[Sequence[Cube]] = ()
    ) -> None:
        """`solver` may have served other systems of the same graph and constraints.

        `known` are invariants of such systems: each a set of cubes over this system's registers that is inductive by
        itself.
        """
        self.result: Invariant | CounterexampleLength | None = None
        self.deadline: float | None = None
        self._system = system
        self._lifting = Lifting(system)
        self._known = list(dict.fromkeys(cube for cubes in known for cube in cubes))
        self._frames: list[list[Cube]] = [[]]
        """Frame i to the cubes that are excluded from F_i and not from F_(i+1)."""
        self._gates: list[SessionLiteral] = []
        """Frame i to the variable that demands its cubes' exclusion; the gate of frame 0 demands the start."""
        self._next_literals = {register.variable: register.next for register in system.registers}
        self._variables = [*(register.variable for register in system.registers), *system.inputs]
        self._obligations: list[_Obligation] = []
        self._made = 0
        self._uses: dict[Literal, int] = {}
        """How often a literal stands in excluded cubes: the rare ones are tried first when a cube is shortened."""
        self._progress = self._run()
        self._enter_solver(self._fresh() if solver is None or self._outgrown(solver) else solver)

    @property
    def searched_to(self) -> int:
        """No permitted run of at most so many frames is bad (I4)."""
        return len(self._frames) - 1

    def advance(self, deadline: float | None = None) -> None:
        """Some more work, of a few milliseconds as a rule.

        Raises NoAnswerError at the deadline; that is the end of the attempt.
        """
        self.deadline = deadline
        if self._outgrown(self.solver):
            self._enter_solver(self._fresh())
        next(self._progress, None)

    def _fresh(self) -> StepSolver:
        return StepSolver(self._system.graph, self._system.constraints)

    def _outgrown(self, solver: StepSolver) -> bool:
        return solver.is_stale_for(self._lifting.node_count, len(self._known) + sum(map(len, self._frames)))

    def _enter_solver(self, solver: StepSolver) -> None:
        self.solver = solver
        solver.load(self._system.registers)
        self._gates = [solver.start, *(solver.session.variable() for _ in self._frames[1:])]
        for frame, cubes in enumerate(self._frames):
            for cube in cubes:
                self._demand_exclusion(frame, cube)

    def _demand_exclusion(self, frame: int, cube: Cube) -> None:
        self.solver.session.add_clause([self._gates[frame] ^ 1, self.solver.outside(cube)])

    # The search

    def _run(self) -> Iterator[None]:
        if self._is_bad_possible_in(0):
            self.result = CounterexampleLength(1)
            return
        self._open_frame()
        while True:
            while self._is_bad_possible_in(self.searched_to):
                self._oblige(self.searched_to, 1, self._lifted([self._system.bad]))
                while self._obligations:
                    self._discharge(heapq.heappop(self._obligations))
                    if self.result is not None:
                        return
                    yield
            self._open_frame()
            if self._propagate():
                return
            yield

    def _open_frame(self) -> None:
        self._frames.append([])
        self._gates.append(self.solver.session.variable())

    def _is_bad_possible_in(self, frame: int) -> bool:
        question = [*self._knowledge(frame), self.solver.now(self._system.bad)]
        return self._check(question) is Answer.SATISFIABLE

    def _discharge(self, obligation: _Obligation) -> None:
        level, cube = obligation.level, obligation.cube
        if not any(literal & 1 == 0 for literal in cube):
            self.result = CounterexampleLength(obligation.frames_to_bad)
            return
        if self._is_excluded(cube, level):
            return
        shorter = self._excludable(cube, level)
        if shorter is None:
            predecessor = self._lifted([self._next_of(literal) for literal in cube])
            self._oblige(level - 1, obligation.frames_to_bad + 1, predecessor)
            heapq.heappush(self._obligations, obligation)
            return
        reached = self._exclude(self._generalised(shorter, level), level)
        if reached < self.searched_to:
            self._oblige(reached + 1, obligation.frames_to_bad, cube)

    def _oblige(self, level: int, frames_to_bad: int, cube: Cube) -> None:
        self._made += 1
        heapq.heappush(self._obligations, _Obligation(level, self._made, frames_to_bad, cube))

    def _is_excluded(self, cube: Cube, level: int) -> bool:
        return any(known <= cube for cubes in self._frames[level:] for known in cubes)

    def _exclude(self, cube: Cube, level: int) -> int:
        """Excludes the cube as far up as it goes; the frame where it ends."""
        while level < self.searched_to:
            shorter = self._excludable(cube, level + 1)
            if shorter is None:
                break
            cube, level = shorter, level + 1
        self._add(cube, level)
        return level

    def _add(self, cube: Cube, level: int) -> None:
        for frame in range(1, level + 1):
            self._frames[frame] = [known for known in self._frames[frame] if not cube <= known]
        self._frames[level].append(cube)
        self._demand_exclusion(level, cube)
        for literal in cube:
            self._uses[literal] = self._uses.get(literal, 0) + 1

    def _generalised(self, cube: Cube, level: int) -> Cube:
        """Leaves out literals, one at a time, as long as what remains can be excluded."""
        for literal in sorted(cube, key=lambda literal: (self._uses.get(literal, 0), literal)):
            if literal not in cube or not any(other & 1 == 0 for other in cube if other != literal):
                continue
            shorter = self._excludable(cube - {literal}, level)
            if shorter is not None:
                cube = shorter
        return cube

    def _propagate(self) -> bool:
        """Moves cubes up where they stay excluded after a step. True when that proved the claim (`result` says how)."""
        for level in range(1, self.searched_to):
            for cube in list(self._frames[level]):
                if self._check([*self._knowledge(level), *self._after(cube)]) is Answer.UNSATISFIABLE:
                    self._frames[level].remove(cube)
                    self._add(cube, level + 1)
            if not self._frames[level]:
                self.result = self._needed_part([cube for cubes in self._frames[level:] for cube in cubes])
                return True
        return False

    # Questions

    def _check(self, assumptions: Sequence[SessionLiteral]) -> Answer:
        return self.solver.session.check(assumptions, self.deadline)

    def _knowledge(self, frame: int) -> list[SessionLiteral]:
        """Assumptions that say F_frame."""
        gates = self._gates[:1] if frame == 0 else self._gates[frame:]
        return [*gates, *map(self.solver.outside, self._known)]

    def _after(self, cube: Cube) -> list[SessionLiteral]:
        return [self.solver.next(literal) for literal in sorted(cube)]

    def _excludable(self, cube: Cube, level: int) -> Cube | None:
        """A part of the cube that F_(level-1), T and its own exclusion exclude from the next frame; None if there is
        none.

        The part has a positive literal when the cube has one. After None the model is a predecessor.
        """
        question = [*self._knowledge(level - 1), *self._after(cube)]
        if level > 1:
            question.append(self.solver.outside(cube))
        if self._check(question) is Answer.SATISFIABLE:
            return None
        core = self.solver.session.core()
        part = {literal for literal in cube if self.solver.next(literal) in core}
        if not any(literal & 1 == 0 for literal in part):
            part.add(min(literal for literal in cube if literal & 1 == 0))
        return frozenset(part)

    def _next_of(self, literal: Literal) -> Literal:
        return self._next_literals[literal & ~1] ^ (literal & 1)

    def _lifted(self, targets: Sequence[Literal]) -> Cube:
        """The cube of states that meet the targets, and the constraints, under the inputs of the last model."""
        points = [self.solver.now(variable) for variable in self._variables]
        values = self.solver.session.values(points)
        evaluated = self._lifting.values(dict(zip(self._variables, values, strict=True)))
        return self._lifting.cube([*targets, *self._system.constraints], evaluated)

    # The answer

    def _needed_part(self, cubes: Sequence[Cube]) -> Invariant:
        """Exclusions that together are inductive and exclude bad, found from there backwards by unsatisfiable cores."""
        solver = self.solver
        cube_of = {solver.outside(cube): cube for cube in (*cubes, *self._known)}
        needed: dict[Cube, None] = {}
        pending: list[list[SessionLiteral]] = [[solver.now(self._system.bad)]]
        while pending:
            if self._check([*cube_of, *pending.pop()]) is Answer.SATISFIABLE:
                raise InternalDisagreement("what property-directed reachability took for an invariant is none")
            for variable in sorted(solver.session.core() & cube_of.keys()):
                cube = cube_of[variable]
                if cube not in needed:
                    needed[cube] = None
                    pending.append(self._after(cube))
        return Invariant(tuple(tuple(literal ^ 1 for literal in sorted(cube)) for cube in needed))

    def check_invariants(self) -> None:
        """Raises ValueError when (I1), (I3) or (I4) is broken. (I2) holds by the way cubes are kept."""
        for level, cubes in enumerate(self._frames):
            for cube in cubes:
                if level == 0 or not any(literal & 1 == 0 for literal in cube):
                    raise ValueError(f"cube {sorted(cube)} of frame {level} meets the start")
                if self._check([*self._knowledge(level - 1), *self._after(cube)]) is Answer.SATISFIABLE:
                    raise ValueError(f"cube {sorted(cube)} of frame {level} can be entered from the frame below")
        for level in range(self.searched_to):
            if self._is_bad_possible_in(level):
                raise ValueError(f"frame {level} allows a bad state")


def prove(system: TransitionSystem, limit_seconds: float) -> Decision | CounterexampleLength:
    """Property-directed reachability alone."""
    attempt = PropertyDirectedReachability(system.cone_of_influence())
    deadline = time.monotonic() + limit_seconds
    try:
        while attempt.result is None:
            attempt.advance(deadline)
    except NoAnswerError as stopped:
        return Undecided(reason=str(stopped), searched_to=attempt.searched_to, engine=ENGINE)
    if isinstance(attempt.result, Invariant):
        return Unreachable(invariant=attempt.result, engine=ENGINE)
    return attempt.result
