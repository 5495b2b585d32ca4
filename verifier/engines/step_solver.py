"""One step of a transition system in a solver: the registers now, the inputs now, the registers next.

It decides nothing; `property_directed` asks it. Claims of one circuit share it while it is small: loading costs more than most claims.
Constraints are demanded of the step's first frame, for good.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from verifier.logic.bit_graph import BitGraph, Literal
from verifier.logic.session import LoadedGraph, Session, SessionLiteral
from verifier.logic.transition_system import Register, TransitionSystem


class StepSolver:
    """(T1) `next(l)` equals the register's `next` in every model. (T2) assuming `start` makes every known register 0."""

    def __init__(self, graph: BitGraph, constraints: Sequence[Literal]) -> None:
        self.session = Session()
        self.start = self.session.variable()
        self._loaded = LoadedGraph(self.session, graph)
        self._next: dict[Literal, SessionLiteral] = {}
        for constraint in constraints:
            self.session.add_clause([self._loaded.term(constraint)])

    def load(self, registers: Iterable[Register]) -> None:
        for register in registers:
            if register.variable not in self._next:
                self.session.add_clause([self.start ^ 1, self._loaded.term(register.variable) ^ 1])
                self._next[register.variable] = self._loaded.point(register.next)

    def now(self, literal: Literal) -> SessionLiteral:
        """Any literal of the graph, to assume or to read."""
        return self._loaded.point(literal)

    def next(self, literal: Literal) -> SessionLiteral:
        """The value that a literal of a register variable has after the step, to assume."""
        return self._next[literal & ~1] ^ (literal & 1)

    def is_stale_for(self, system: TransitionSystem) -> bool:
        """Whether so much has piled up that a new one is cheaper: a model takes about 1 us for each variable.

        The bound is where the dearer models have cost as much as loading anew (measured with 60 to 500 nodes).
        """
        needed = 2 * len(system.registers) + len(system.inputs)
        return self.session.variable_count > 3 * needed + 150
