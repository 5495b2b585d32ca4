"""From one state to a cube of states: which registers mattered for what happened in a frame?

Given values of all registers and inputs, `Lifting.cube` keeps the registers that some literals owe their value 1 to.
Every state that agrees on these gives the literals the same value under the same inputs. No solver is asked: a
conjunction that is 1 owes it to both operands, one that is 0 to a single operand that is 0; where there is a choice,
the one that adds fewest registers is taken.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from verifier.logic.bit_graph import VARIABLE, Literal
from verifier.logic.transition_system import TransitionSystem

Cube = frozenset[Literal]
"""Literals of register variables, all of them 1: a set of states."""


class Lifting:
    """Values and dependences of one system, over the nodes that its next states, constraints and bad bit depend on."""

    def __init__(self, system: TransitionSystem) -> None:
        self._graph = system.graph
        roots = [*(register.next for register in system.registers), *system.constraints, system.bad]
        nodes = self._graph.cone(roots)
        self.node_count = len(nodes)
        self._conjunctions = [
            (2 * node, self._graph.lefts[node], self._graph.rights[node])
            for node in nodes
            if self._graph.lefts[node] != VARIABLE
        ]
        self._registers = {register.variable >> 1 for register in system.registers}
        self._size = 2 * max([*nodes, *self._registers, *(i >> 1 for i in system.inputs), 0]) + 2
        self._support: dict[int, int] = {}
        """Node to the registers it depends on, one bit each: a rough price of justifying it."""
        self._price_nodes(nodes)

    def _price_nodes(self, nodes: list[int]) -> None:
        bit = {node: 1 << index for index, node in enumerate(sorted(self._registers))}
        self._support = {node: bit.get(node, 0) for node in nodes}
        for literal, left, right in self._conjunctions:
            self._support[literal >> 1] = self._support[left >> 1] | self._support[right >> 1]

    def values(self, variables: Mapping[Literal, bool]) -> bytearray:
        """Value of every literal, indexed by the literal."""
        values = bytearray(self._size)
        values[1] = 1
        for variable, value in variables.items():
            values[variable + (not value)] = 1
        for literal, left, right in self._conjunctions:
            values[literal + (not (values[left] and values[right]))] = 1
        return values

    def cube(self, roots: Iterable[Literal], values: bytearray) -> Cube:
        """The registers that suffice to make every root 1, under the inputs in `values`.

        Raises ValueError when a root is not 1.
        """
        pending = list(roots)
        if not all(values[root] for root in pending):
            raise ValueError("a literal is to be justified that is not 1")
        marked: set[int] = set()
        postponed: list[tuple[Literal, Literal]] = []
        while pending or postponed:
            if not pending:
                pending.append(self._cheaper(*postponed.pop(), marked))
            self._justify(pending.pop(), values, marked, pending, postponed)
        return frozenset(2 * node + (not values[2 * node]) for node in marked & self._registers)

    def _justify(
        self,
        literal: Literal,
        values: bytearray,
        marked: set[int],
        pending: list[Literal],
        postponed: list[tuple[Literal, Literal]],
    ) -> None:
        node = literal >> 1
        if node in marked:
            return
        marked.add(node)
        left, right = self._graph.lefts[node], self._graph.rights[node]
        if left == VARIABLE:
            return
        if values[2 * node]:
            pending += (left, right)
        elif values[left]:
            pending.append(right)
        elif values[right]:
            pending.append(left)
        else:
            postponed.append((left, right))

    def _cheaper(self, left: Literal, right: Literal, marked: set[int]) -> Literal:
        if left >> 1 in marked:
            return left
        if right >> 1 in marked:
            return right
        return left if self._price(left) <= self._price(right) else right

    def _price(self, literal: Literal) -> int:
        return self._support[literal >> 1].bit_count()
