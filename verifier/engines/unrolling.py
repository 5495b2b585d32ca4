"""A transition system laid out frame by frame, in a graph and a solver of its own.

It decides nothing; `bounded_search` and `endless` do. Because all registers are constants in frame 0 and equal nodes
are shared, much of the early frames folds away before a solver sees it. Claims of one circuit share one unrolling.

    frame 0: registers are FALSE, inputs are new variables -> frame 1: registers are images of `next`, ...
"""

from __future__ import annotations

from collections.abc import Iterable

from verifier.logic.bit_graph import FALSE, TRUE, VARIABLE, BitGraph, Literal
from verifier.logic.session import LoadedGraph, Session, SessionLiteral
from verifier.logic.transition_system import Register, TransitionSystem


class Unrolling:
    """Literals of one transition system at frame 0, 1, 2, ... as literals of another graph.

    (U1) `_images[f][n]` is the value of node `n` in frame `f`; every node below `n` has its image in frame `f` too.
    (U2) The image of a register in frame `f + 1` is the image of its `next` in frame `f`; in frame 0 it is FALSE.
    """

    def __init__(self, source: BitGraph) -> None:
        self.graph = BitGraph()
        self._source = source
        self._next: dict[Literal, Literal] = {}
        self._images: list[dict[int, Literal]] = []
        self._seen: list[set[int]] = []

    def register(self, registers: Iterable[Register]) -> None:
        """Makes registers known. They must be known before the first literal that depends on them is asked for."""
        self._next.update((register.variable, register.next) for register in registers)

    def literal(self, frame: int, literal: Literal) -> Literal:
        """The literal's value in the frame, over the input variables of frames 0 up to this one."""
        while len(self._images) <= frame:
            self._images.append({0: FALSE})
            self._seen.append({0})
        if literal >> 1 not in self._images[frame]:
            self._build(frame, literal)
        return self._images[frame][literal >> 1] ^ (literal & 1)

    def _build(self, frame: int, literal: Literal) -> None:
        missing: list[tuple[int, list[int]]] = []
        wanted = [literal]
        while wanted:
            nodes = sorted(self._source.cone_beyond(wanted, self._seen[frame]))
            missing.append((frame, nodes))
            wanted = [self._next[2 * node] for node in nodes if frame and 2 * node in self._next]
            frame -= 1
        for frame, nodes in reversed(missing):
            self._build_frame(frame, nodes)

    def _build_frame(self, frame: int, nodes: list[int]) -> None:
        lefts, rights, images = self._source.lefts, self._source.rights, self._images[frame]
        conjunction = self.graph.conjunction
        for node in nodes:
            left, right = lefts[node], rights[node]
            if left == VARIABLE:
                images[node] = self._variable(frame, node)
            else:
                images[node] = conjunction(images[left >> 1] ^ (left & 1), images[right >> 1] ^ (right & 1))

    def _variable(self, frame: int, node: int) -> Literal:
        following = self._next.get(2 * node)
        if following is None:
            return self.graph.variable(f"{self._source.names[node]} in frame {frame}")
        if frame == 0:
            return FALSE
        return self._images[frame - 1][following >> 1] ^ (following & 1)

    def check_invariants(self) -> None:
        """Raises ValueError when (U1) or (U2) is broken."""
        for frame, images in enumerate(self._images):
            for node in images:
                left = self._source.lefts[node]
                if left != VARIABLE and not {left >> 1, self._source.rights[node] >> 1} <= images.keys():
                    raise ValueError(f"node {node} has an image in frame {frame}, its operands have none")
                if 2 * node in self._next and images[node] != self._variable(frame, node):
                    raise ValueError(f"register {2 * node} has a wrong image in frame {frame}")


class UnrolledSolver:
    """An unrolling with its solver, in which a run of any number of frames can be demanded to be permitted."""

    def __init__(self, graph: BitGraph, constraints: tuple[Literal, ...]) -> None:
        self.unrolling = Unrolling(graph)
        self.session = Session()
        self._loaded = LoadedGraph(self.session, self.unrolling.graph)
        self._constraints = constraints
        self._permits: list[SessionLiteral] = []
        """Frame to a variable that demands every constraint in that frame and all before it.

        A variable and not a plain clause: a claim that looks at fewer frames than another did must not be held to the
        constraints of later ones.
        """

    def load(self, system: TransitionSystem) -> None:
        self.unrolling.register(system.registers)

    def permits(self, frame: int) -> SessionLiteral:
        while len(self._permits) <= frame:
            permit = self.session.variable()
            if self._permits:
                self.session.add_clause([permit ^ 1, self._permits[-1]])
            for constraint in self._constraints:
                literal = self.unrolling.literal(len(self._permits), constraint)
                if literal != TRUE:
                    self.session.add_clause([permit ^ 1, self._loaded.literal(literal)])
            self._permits.append(permit)
        return self._permits[frame]

    def loaded(self, literal: Literal) -> SessionLiteral:
        """A literal of the unrolled graph as one of the session."""
        return self._loaded.literal(literal)
