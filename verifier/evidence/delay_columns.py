"""Formulas of a bit graph worked out for many rows at once: 64 rows to a machine word.

A *bit column* holds one bit for every row, row `i` in bit `i % 64` of word `i // 64`. What stands past the last row
means nothing. Of a formula two columns are kept, since a variable may be left open:

    may be 1    may be 0
       1           0       it is 1
       0           1       it is 0
       1           1       not known: some variable that it reads is open

The rules are those of three-valued logic (Kleene 1952), so "not known" may be said of a formula that has one value
after all; with no variable open, every value is known.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from verifier.logic.bit_graph import VARIABLE, BitGraph, Literal

BitColumn = NDArray[np.uint64]
Truths = NDArray[np.bool_]
"""One entry a row."""
Possible = tuple[BitColumn, BitColumn]
"""May be 1, may be 0."""


def packed_bits(truths: Truths) -> BitColumn:
    packed = np.zeros(words_for(len(truths)) * 8, np.uint8)
    bits = np.packbits(truths, bitorder="little")
    packed[: len(bits)] = bits
    return packed.view("<u8").astype(np.uint64, copy=False)


def unpacked_bits(column: BitColumn, rows: int) -> Truths:
    """The inverse of `packed_bits`."""
    octets = column.astype("<u8", copy=False).view(np.uint8)
    return np.unpackbits(octets, count=rows, bitorder="little").view(np.bool_)


def words_for(rows: int) -> int:
    return -(-rows // 64)


def known(column: BitColumn) -> Possible:
    return column, ~column


def constant(value: bool, words: int) -> Possible:
    none, every = np.zeros(words, np.uint64), np.full(words, ~np.uint64(0))
    return (every, none) if value else (none, every)


def unknown(words: int) -> Possible:
    every = np.full(words, ~np.uint64(0))
    return every, every


def negation(value: Possible) -> Possible:
    return value[1], value[0]


def conjunction(left: Possible, right: Possible) -> Possible:
    return left[0] & right[0], left[1] | right[1]


def disjunction(left: Possible, right: Possible) -> Possible:
    return left[0] | right[0], left[1] & right[1]


def difference(left: Possible, right: Possible) -> Possible:
    return (left[0] & right[1]) | (left[1] & right[0]), (left[0] & right[0]) | (left[1] & right[1])


class Formulas:
    """Some roots of a graph, made ready to be worked out again and again.

    `bindings` are variables that stand for formulas: they are worked out in their order, before the roots, and whatever
    comes later reads their values.

    Raises ValueError when a formula reads a bound variable before it has its value.
    """

    def __init__(
        self, graph: BitGraph, roots: Sequence[Literal], bindings: Sequence[tuple[Literal, Literal]] = ()
    ) -> None:
        self._graph = graph
        self._roots = tuple(roots)
        self._bindings = tuple(bindings)
        self._bound = {variable >> 1 for variable, _ in bindings}
        self.variables: dict[int, None] = {}
        """Nodes whose values must be given, in no order that means anything."""
        seen: set[int] = set()
        self._stages = [self._stage([formula], seen, variable >> 1) for variable, formula in bindings]
        self._last_stage = self._stage(self._roots, seen, None)

    def _stage(self, formulas: Sequence[Literal], seen: set[int], defines: int | None) -> list[int]:
        """Conjunctions that nothing before has worked out, operands first."""
        beyond = sorted(self._graph.cone_beyond(formulas, seen))
        gates = [node for node in beyond if self._graph.lefts[node] != VARIABLE]
        for node in beyond:
            if node and self._graph.lefts[node] == VARIABLE:
                if node in self._bound:
                    raise ValueError(f"{self._graph.names[node]} is read before it has its value")
                self.variables[node] = None
        if defines is not None:
            seen.add(defines)
        return gates

    def supports(self, variables: Sequence[int]) -> tuple[list[int], list[int]]:
        """For each root, then for each binding: a number whose bit `i` says whether it hangs on `variables[i]`."""
        reads = {0: 0} | dict.fromkeys(self.variables, 0)
        for place, node in enumerate(variables):
            reads[node] = 1 << place
        lefts, rights = self._graph.lefts, self._graph.rights
        for gates, bound in self._in_order():
            for node in gates:
                reads[node] = reads[lefts[node] >> 1] | reads[rights[node] >> 1]
            if bound is not None:
                reads[bound[0] >> 1] = reads[bound[1] >> 1]
        return [reads[root >> 1] for root in self._roots], [reads[variable >> 1] for variable, _ in self._bindings]

    def _in_order(self) -> Iterator[tuple[list[int], tuple[Literal, Literal] | None]]:
        yield from zip(self._stages, self._bindings, strict=True)
        yield self._last_stage, None

    def values(self, given: Mapping[int, Possible], words: int) -> tuple[list[Possible], list[Possible]]:
        """Of the roots, then of the bindings. `given` has every node of `variables`."""
        found = {node: given[node] for node in self.variables}
        found[0] = constant(False, words)
        lefts, rights = self._graph.lefts, self._graph.rights
        for gates, bound in self._in_order():
            for node in gates:
                left, right = lefts[node], rights[node]
                one, other = found[left >> 1], found[right >> 1]
                if left & 1:
                    one = one[1], one[0]
                if right & 1:
                    other = other[1], other[0]
                found[node] = one[0] & other[0], one[1] | other[1]
            if bound is not None:
                found[bound[0] >> 1] = _of_literal(found, bound[1])
        return [_of_literal(found, root) for root in self._roots], [found[v >> 1] for v, _ in self._bindings]


def _of_literal(values: Mapping[int, Possible], literal: Literal) -> Possible:
    value = values[literal >> 1]
    return negation(value) if literal & 1 else value


def variables_of(graph: BitGraph, formulas: Iterable[Literal]) -> list[int]:
    """Nodes of the variables that they read, in the order of their making."""
    return [node for node in graph.cone(formulas) if node and graph.lefts[node] == VARIABLE]
