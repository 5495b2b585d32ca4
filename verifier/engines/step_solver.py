"""One step of a transition system in a solver: the registers now, the inputs now, the registers next.

It decides nothing; `property_directed` asks it. Claims of one circuit share it while it is small: loading costs more
than most claims. Constraints are demanded of the step's first frame, for good.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from verifier.engines.lifting import Cube
from verifier.logic.bit_graph import BitGraph, Literal
from verifier.logic.session import LoadedGraph, Session, SessionLiteral
from verifier.logic.transition_system import Register


class StepSolver:
    """(T1) `next(l)` equals the register's `next` in every model. (T2) Assuming `start` makes every known register 0.
    (T3) Assuming `outside(cube)` excludes the cube now; left alone it excludes nothing.
    """

    def __init__(self, graph: BitGraph, constraints: Sequence[Literal]) -> None:
        self.session = Session()
        self.start = self.session.variable()
        self._loaded = LoadedGraph(self.session, graph)
        self._next: dict[Literal, SessionLiteral] = {}
        self._outside: dict[Cube, SessionLiteral] = {}
        for constraint in constraints:
            self.session.add_clause([self._loaded.literal(constraint)])

    def load(self, registers: Iterable[Register]) -> None:
        for register in registers:
            if register.variable not in self._next:
                self.session.add_clause([self.start ^ 1, self._loaded.literal(register.variable) ^ 1])
                self._next[register.variable] = self._loaded.literal(register.next)

    def now(self, literal: Literal) -> SessionLiteral:
        """Any literal of the graph, to assume or to read."""
        return self._loaded.literal(literal)

    def next(self, literal: Literal) -> SessionLiteral:
        """The value that a literal of a register variable has after the step, to assume."""
        return self._next[literal & ~1] ^ (literal & 1)

    def outside(self, cube: Cube) -> SessionLiteral:
        variable = self._outside.get(cube)
        if variable is None:
            variable = self._outside[cube] = self.session.variable()
            self.session.add_clause([variable ^ 1, *(self.now(literal ^ 1) for literal in sorted(cube))])
        return variable

    def is_stale_for(self, nodes: int, cubes: int) -> bool:
        """Whether so much has piled up that a new one, with so many nodes and cubes to load, is cheaper.

        A model takes about 0.5 us for each variable, whether it matters or not.
        """
        return self.session.variable_count > 2 * (nodes + cubes) + 200
