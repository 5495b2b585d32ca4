"""A truth table as literals of the bit graph.

A table over `n` variables is an integer of `2 ** n` bits; bit `k` is the value where variable `i` has bit `i` of `k`.
"""

from __future__ import annotations

from collections.abc import Sequence

from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal

TruthTable = int


def literal_of(graph: BitGraph, table: TruthTable, variables: Sequence[Literal]) -> Literal:
    """The function, by Shannon expansion on the last variable first; equal cofactors are built once.

    The depth of recursion is the number of variables.
    """
    built: dict[tuple[int, TruthTable], Literal] = {}

    def expand(count: int, cofactor: TruthTable) -> Literal:
        everything = (1 << (1 << count)) - 1
        if cofactor == 0:
            return FALSE
        if cofactor == everything:
            return TRUE
        key = (count, cofactor)
        found = built.get(key)
        if found is None:
            half = 1 << (count - 1)
            when_low = expand(count - 1, cofactor & ((1 << half) - 1))
            when_high = expand(count - 1, cofactor >> half)
            found = built[key] = graph.select(variables[count - 1], when_high, when_low)
        return found

    return expand(len(variables), table)
