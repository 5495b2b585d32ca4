"""Reachability with binary decision diagrams, on the general library `dd` (its CUDD back end where the wheel has it).

Forward, breadth first: `reached` grows by the image of the newest states only. The step is kept as a list of
clusters, one or more registers each; a variable is quantified away as soon as no later cluster mentions it (early
quantification). For endless runs: the states that can be passed for ever with all fairness (Emerson and Lei 1986),
within the reached ones.

Variables stand in the order of first mention, depth first from the question, each register's next value directly
below it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from benchmarks.answers import Answer
from verifier.logic.bit_graph import TRUE, VARIABLE, BitGraph, Literal
from verifier.logic.transition_system import TransitionSystem

try:
    from dd import cudd as library

    BACK_END = "dd.cudd"
except ImportError:  # the wheel for this machine is pure Python
    from dd import autoref as library

    BACK_END = "dd.autoref"

LARGEST_CLUSTER = 300
"""Nodes; conjuncts of the step are merged up to here."""
TABLES = {"memory_estimate": 2**27, "initial_cache_size": 2**12} if BACK_END == "dd.cudd" else {}
"""First sizes of CUDD's tables, which grow by themselves. Its own take 11 ms to lay out, longer than most claims do."""

Diagram = Any


def decide(system: TransitionSystem) -> Answer | None:
    """Is `bad` reachable, or is there a fair endless run?"""
    machine = _Machine(system)
    frames = 0
    for frames, states in enumerate(machine.layers(), start=1):
        if system.fairness is None and machine.is_bad_in(states):
            return Answer(True, frames)
    if system.fairness is None:
        return Answer(False)
    return Answer(machine.has_fair_run())


@dataclass(frozen=True)
class _Cluster:
    relation: Diagram
    leaves: frozenset[str]
    """Variables to quantify away once this cluster is in."""


class _Machine:
    def __init__(self, system: TransitionSystem) -> None:
        self._bdd = library.BDD(**TABLES)
        self._system = system
        self._registers = {f"r{register.variable}": f"n{register.variable}" for register in system.registers}
        order = first_mention(system)
        self._bdd.declare(*(name for variable in order for name in self._names(variable)))
        functions = self._functions([r.next for r in system.registers], system)
        nexts, constraints, self._bad, self._fairness = functions
        self._permitted = self._all_of(constraints)
        conjuncts = [
            ~self._bdd.apply("xor", self._bdd.var(f"n{register.variable}"), following)
            for register, following in zip(system.registers, nexts, strict=True)
        ]
        position = {name: self._bdd.level_of_var(name) for name in self._bdd.vars}
        conjuncts.sort(key=lambda conjunct: max((position[name] for name in self._bdd.support(conjunct)), default=-1))
        self._relations = self._merged([self._permitted, *conjuncts])
        kept = set(self._registers.values())
        everything = set(self._bdd.vars)
        self._forward = self._scheduled(self._relations, everything - kept)
        self._backward = self._scheduled(self._relations, everything - set(self._registers))
        self._start = self._all_of(~self._bdd.var(name) for name in self._registers)
        self._reached = self._start

    def layers(self) -> Iterable[Diagram]:
        """The states met first in frame 0, in frame 1, ... until there are no new ones."""
        newest = self._start
        while newest != self._bdd.false:
            yield newest
            image = self._through(self._forward, newest)
            image = self._renamed({after: now for now, after in self._registers.items()}, image)
            newest = image & ~self._reached
            self._reached |= newest

    def is_bad_in(self, states: Diagram) -> bool:
        found: bool = states & self._permitted & self._bad != self._bdd.false
        return found

    def has_fair_run(self) -> bool:
        """From some reached state an endless run starts on which all fairness is seen again and again."""
        candidates = self._reached
        while True:
            kept = candidates & self._before(candidates)
            for fair in self._fairness:
                kept = self._can_come_to(kept & self._before(kept, fair), kept)
            if kept == candidates:
                found: bool = kept != self._bdd.false
                return found
            candidates = kept

    def _can_come_to(self, goal: Diagram, within: Diagram) -> Diagram:
        reaching = newest = goal
        while newest != self._bdd.false:
            newest = within & self._before(newest) & ~reaching
            reaching |= newest
        return reaching

    def _before(self, states: Diagram, taking: Diagram | None = None) -> Diagram:
        """States from which a permitted step, in a frame where `taking` holds, leads to one of these."""
        renamed = self._renamed(self._registers, states)
        return self._through(self._backward, renamed if taking is None else renamed & taking)

    def _renamed(self, names: dict[str, str], states: Diagram) -> Diagram:
        return self._bdd.let(names, states) if names else states

    def _through(self, clusters: Sequence[_Cluster], product: Diagram) -> Diagram:
        for cluster in clusters:
            product = self._and_exists(product, cluster.relation, cluster.leaves)
        return product

    def _and_exists(self, left: Diagram, right: Diagram, variables: frozenset[str]) -> Diagram:
        if BACK_END == "dd.cudd":
            return library.and_exists(left, right, variables)
        return self._bdd.exist(variables, left & right)

    def _all_of(self, diagrams: Iterable[Diagram]) -> Diagram:
        result = self._bdd.true
        for diagram in diagrams:
            result &= diagram
        return result

    def _merged(self, conjuncts: Sequence[Diagram]) -> list[Diagram]:
        merged: list[Diagram] = []
        for conjunct in conjuncts:
            if merged and len(merged[-1]) < LARGEST_CLUSTER:
                together = merged[-1] & conjunct
                if len(together) <= LARGEST_CLUSTER:
                    merged[-1] = together
                    continue
            merged.append(conjunct)
        return merged

    def _scheduled(self, relations: Sequence[Diagram], quantified: set[str]) -> list[_Cluster]:
        """Each variable leaves with the last cluster that mentions it; those in none leave at once."""
        left = set(quantified)
        clusters: list[_Cluster] = []
        for relation in reversed(relations):
            leaves = left & self._bdd.support(relation)
            left -= leaves
            clusters.append(_Cluster(relation, frozenset(leaves)))
        return [_Cluster(self._bdd.true, frozenset(left)), *reversed(clusters)]

    def _names(self, variable: Literal) -> list[str]:
        return [f"r{variable}", f"n{variable}"] if f"r{variable}" in self._registers else [f"i{variable}"]

    def _functions(
        self, nexts: list[Literal], system: TransitionSystem
    ) -> tuple[list[Diagram], list[Diagram], Diagram, list[Diagram]]:
        """Diagrams of the next values, the constraints, the bad bit and the fairness."""
        fairness = list(system.fairness or ())
        roots = [*nexts, *system.constraints, system.bad, *fairness]
        diagrams = self._built(system.graph, roots)
        first, second = len(nexts), len(nexts) + len(system.constraints)
        return diagrams[:first], diagrams[first:second], diagrams[second], diagrams[second + 1 :]

    def _built(self, graph: BitGraph, roots: Sequence[Literal]) -> list[Diagram]:
        values: dict[int, Diagram] = {0: self._bdd.false}
        nodes = graph.cone(roots)
        uses: dict[int, int] = dict.fromkeys(nodes, 0)
        for literal in [*roots, *(o for n in nodes for o in (graph.lefts[n], graph.rights[n]) if o != VARIABLE)]:
            uses[literal >> 1] = uses.get(literal >> 1, 0) + 1

        def value(literal: Literal) -> Diagram:
            return ~values[literal >> 1] if literal & 1 else values[literal >> 1]

        for node in nodes:
            left, right = graph.lefts[node], graph.rights[node]
            if left == VARIABLE:
                values.setdefault(node, self._bdd.var(self._names(2 * node)[0]) if node else self._bdd.false)
                continue
            values[node] = value(left) & value(right)
            for operand in (left >> 1, right >> 1):  # diagrams that are not needed any more are given back
                uses[operand] -= 1
                if uses[operand] == 0 and operand:
                    del values[operand]
        return [value(root) for root in roots]


def first_mention(system: TransitionSystem) -> list[Literal]:
    """Variables in the order in which a depth-first walk from the question comes upon them."""
    graph = system.graph
    next_of = {register.variable: register.next for register in system.registers}
    seen: set[int] = {0}
    order: list[Literal] = []
    pending = [*reversed([system.bad, *system.constraints, *(system.fairness or ())])]
    later: list[Literal] = []
    while pending or later:
        if not pending:
            pending.append(next_of[later.pop(0)])
        node = pending.pop() >> 1
        if node in seen:
            continue
        seen.add(node)
        if graph.lefts[node] != VARIABLE:
            pending += (graph.rights[node], graph.lefts[node])
            continue
        order.append(2 * node)
        if 2 * node in next_of:
            later.append(2 * node)
    rest = [*(r.variable for r in system.registers), *system.inputs]
    return [*order, *(variable for variable in rest if variable >> 1 not in seen and variable != TRUE)]
