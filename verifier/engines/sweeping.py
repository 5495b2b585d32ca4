"""Sweeping: nodes that are equal, or constant, whatever the registers and inputs are, become one node.

It decides nothing. It gives a transition system over the same variables that is the same in every frame: each literal
that it replaces has the same value under every assignment. So a counterexample or an invariant of the swept system is
one of the system itself, and either is best checked against that. Neither constraints nor reachable states are used:
nodes that are equal in permitted runs only stay apart.

Nodes with the same values in a few hundred samples are candidates; the solver confirms each before it is used, in
bounded effort, and what it says against one becomes a sample. After Kuehlmann, Paruthi, Krohm, Ganai, Robust Boolean
Reasoning for Equivalence Checking and Functional Property Verification (TCAD 21(12), 2002; cited from memory).

(W1) A node and its image are equal under every assignment: the image is that of an equal node, by an answer of the
solver, or the conjunction of the operands' images.
(W2) `_samples[n]` holds the value of node `n` in every sample, one bit each.
(W3) The leaders, the nodes that others may be merged with, all differ in some sample, also from each other's negations.

It ends: a node is asked about until it is merged, alone in its class, or in doubt; each answer against a merge takes it
out of a class for good, and there are finitely many nodes.
"""

from __future__ import annotations

import random
import time
from collections.abc import Iterable, Mapping
from dataclasses import replace

from verifier.logic.bit_graph import FALSE, TRUE, VARIABLE, BitGraph, Literal
from verifier.logic.session import Answer, LoadedGraph, NoAnswerError, Session, SessionLiteral
from verifier.logic.transition_system import Register, TransitionSystem

ENGINE = "sweeping of equal nodes"

SEED = 1
FIRST_SAMPLES = 512
FURTHER_SAMPLES = 64
"""For each answer against a merge: the solver's assignment, and others close to it."""
MOST_DOUBTS = 50
"""Of about 30 ms each; then the rest is taken as it is."""
AT_ONCE = 0.0
"""A deadline that has passed: a check gets the session's first allowance and no more."""


def swept(system: TransitionSystem, deadline: float | None = None) -> TransitionSystem:
    """The same in every frame, with equal nodes merged as far as that was found out by the deadline.

    Registers and inputs stay, even those that no longer matter: see `cone_of_influence`.
    """
    return Sweeper(system.graph).swept(system, deadline)


class Sweeper:
    """Sweeps the systems of one graph; a node that occurs in several of them has the same image in all."""

    def __init__(self, graph: BitGraph) -> None:
        self.merges: dict[int, Literal] = {}
        """Each node that was found equal to one swept before it, or constant, to that one; in the order found."""
        self.doubts = 0
        """Candidates about which it had no answer within its allowance."""
        self.graph = graph
        self._random = random.Random(SEED)
        self._session = Session()
        self._loaded = LoadedGraph(self._session, graph)
        self._images: dict[int, Literal] = {0: FALSE}
        self._sample_count = FIRST_SAMPLES
        self._samples: dict[int, int] = {0: 0}
        self._variables: dict[int, SessionLiteral] = {}
        """Node of each variable that was sampled to what it is in the session."""
        self._leaders: dict[int, int] = {0: 0}
        """What a node has in the samples, turned so that the first bit is 0, to the node."""

    def swept(self, system: TransitionSystem, deadline: float | None = None) -> TransitionSystem:
        """As the function of this name."""
        roots = [system.bad, *(register.next for register in system.registers), *system.constraints]
        roots += [*(system.fairness or ()), *system.preferences]
        nodes = [node for node in self.graph.cone(roots) if node not in self._images]
        self._take_first_samples(nodes)
        for node in nodes:
            self._images[node] = self._image_of(node, deadline)
        constraints = dict.fromkeys(map(self.image, system.constraints))
        return replace(
            system,
            registers=tuple(Register(register.variable, self.image(register.next)) for register in system.registers),
            constraints=tuple(constraint for constraint in constraints if constraint != TRUE),
            bad=self.image(system.bad),
            fairness=None if system.fairness is None else tuple(map(self.image, system.fairness)),
            preferences=tuple(map(self.image, system.preferences)),
        )

    def image(self, literal: Literal) -> Literal:
        """What a literal of a swept system has become."""
        return self._images[literal >> 1] ^ (literal & 1)

    def check_invariants(self) -> None:
        """Raises ValueError when (W1) to (W3) are broken; (W1) is asked of a fresh solver, node by node."""
        self._check_images()
        for node, samples in self._samples.items():
            if self.graph.lefts[node] != VARIABLE and samples != self._conjunction(node, self._samples, self._full):
                raise ValueError(f"node {node} has samples that its operands do not give")
        for key, leader in self._leaders.items():
            if key != self._key(leader):
                raise ValueError(f"leader {leader} stands in the wrong class")

    def _check_images(self) -> None:
        session = Session()
        loaded = LoadedGraph(session, self.graph)
        for node, image in self._images.items():
            one, other = loaded.literal(2 * node), loaded.literal(image)
            for difference in ([one, other ^ 1], [one ^ 1, other]):
                if session.check(difference) is Answer.SATISFIABLE:
                    raise ValueError(f"node {node} is not equal to its image {image}")

    # Images

    def _image_of(self, node: int, deadline: float | None) -> Literal:
        if self._is_variable(node):
            self._leaders.setdefault(self._key(node), node)
            return 2 * node
        plain = self.graph.conjunction(self.image(self.graph.lefts[node]), self.image(self.graph.rights[node]))
        while True:
            leader = self._leaders.setdefault(self._key(node), node)
            if leader == node:
                return plain
            negated = (self._samples[leader] ^ self._samples[node]) & 1
            candidate = self._images[leader] ^ negated
            if candidate == plain or not self._may_ask(deadline):
                return plain
            try:
                differs = self._differ(plain, candidate)
            except NoAnswerError:
                self.doubts += 1
                return plain
            if differs is Answer.UNSATISFIABLE:
                self.merges[node] = 2 * leader ^ negated
                return candidate
            self._take_further_samples(self._assignment())

    def _may_ask(self, deadline: float | None) -> bool:
        return self.doubts < MOST_DOUBTS and (deadline is None or time.monotonic() < deadline)

    def _differ(self, one: Literal, other: Literal) -> Answer:
        """Is there an assignment under which they differ? Raises NoAnswerError when that takes too long."""
        first, second = self._loaded.literal(one), self._loaded.literal(other)
        if self._session.check([first, second ^ 1], AT_ONCE) is Answer.SATISFIABLE:
            return Answer.SATISFIABLE
        return self._session.check([first ^ 1, second], AT_ONCE)

    def _assignment(self) -> dict[int, bool]:
        """Node of each variable to its value after a satisfiable check."""
        return dict(zip(self._variables, self._session.values(self._variables.values()), strict=True))

    # Samples

    @property
    def _full(self) -> int:
        return (1 << self._sample_count) - 1

    def _is_variable(self, node: int) -> bool:
        return node != 0 and self.graph.lefts[node] == VARIABLE

    def _key(self, node: int) -> int:
        samples = self._samples[node]
        return samples ^ self._full if samples & 1 else samples

    def _take_first_samples(self, nodes: Iterable[int]) -> None:
        count, full = self._sample_count, self._full
        for node in nodes:
            if self._is_variable(node):
                self._samples[node] = self._random.getrandbits(count)
                self._variables[node] = self._loaded.literal(2 * node)
            elif node:
                self._samples[node] = self._conjunction(node, self._samples, full)

    def _take_further_samples(self, assignment: Mapping[int, bool]) -> None:
        """The first of them is the assignment itself, so that what it tells apart is apart."""
        full = (1 << FURTHER_SAMPLES) - 1
        further = {0: 0}
        for node in sorted(self._samples):
            if self._is_variable(node):
                further[node] = self._close_to(assignment[node], full)
            elif node:
                further[node] = self._conjunction(node, further, full)
        for node, samples in further.items():
            self._samples[node] |= samples << self._sample_count
        self._sample_count += FURTHER_SAMPLES
        self._leaders = {self._key(leader): leader for leader in self._leaders.values()}

    def _close_to(self, value: bool, full: int) -> int:
        """The value, turned over in about an eighth of the samples but never in the first."""
        turned = full & ~1
        for _ in range(3):
            turned &= self._random.getrandbits(FURTHER_SAMPLES)
        return turned ^ (full if value else 0)

    def _conjunction(self, node: int, samples: Mapping[int, int], full: int) -> int:
        left, right = self.graph.lefts[node], self.graph.rights[node]
        first = samples[left >> 1] ^ (full if left & 1 else 0)
        return first & (samples[right >> 1] ^ (full if right & 1 else 0))
