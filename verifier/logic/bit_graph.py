"""A hash-consed graph of one-bit functions: constants, variables, two-input conjunctions, and negation on the edges.

A `Literal` is `2 * node + 1` when negated, `2 * node` otherwise. Node 0 is the constant 0, so `FALSE = 0`, `TRUE = 1`,
and `literal ^ 1` is the negation. Nodes are numbered as they are made, operands before results, so a loop over node
numbers is a topological order and no walk here ever recurses.

    node     0      1         2         3
    made as  FALSE  variable  variable  (literal 2) and (literal 5)

Equal nodes are one node: two literals are equal whenever they were built the same way (they may be equal functions
otherwise). The graph only grows. It knows nothing of circuits, claims or solvers.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

Literal = int
FALSE: Literal = 0
TRUE: Literal = 1

VARIABLE = -1
"""Stands in `lefts` for a node that is a variable (or the constant) and so has no operands."""


class BitGraph:
    """The one door through which nodes are made."""

    def __init__(self) -> None:
        self.lefts: list[Literal] = [VARIABLE]
        self.rights: list[Literal] = [VARIABLE]
        self.names: dict[int, str] = {}
        """Node of each variable to its name; names need not be unique."""
        self._conjunctions: dict[tuple[Literal, Literal], Literal] = {}

    def __len__(self) -> int:
        return len(self.lefts)

    def variable(self, name: str) -> Literal:
        """A new variable, different from every other."""
        node = len(self.lefts)
        self.lefts.append(VARIABLE)
        self.rights.append(VARIABLE)
        self.names[node] = name
        return 2 * node

    def conjunction(self, left: Literal, right: Literal) -> Literal:
        if left > right:
            left, right = right, left
        if left == FALSE or left == right ^ 1:
            return FALSE
        if left in (TRUE, right):
            return right
        key = (left, right)
        found = self._conjunctions.get(key)
        if found is None:
            simpler = self._absorbed(left, right)
            if simpler is not None:
                return simpler
            found = 2 * len(self.lefts)
            self.lefts.append(left)
            self.rights.append(right)
            self._conjunctions[key] = found
        return found

    def _absorbed(self, left: Literal, right: Literal) -> Literal | None:
        """The two-level rules: `a and (a and b)`, `a and not (a and b)`, `a and (not a and b)`."""
        for outer, inner in ((left, right), (right, left)):
            first = self.lefts[inner >> 1]
            if first == VARIABLE:
                continue
            second = self.rights[inner >> 1]
            if inner & 1:
                if outer in (first ^ 1, second ^ 1):
                    return outer
                if outer == first:
                    return self.conjunction(outer, second ^ 1)
                if outer == second:
                    return self.conjunction(outer, first ^ 1)
            else:
                if outer in (first, second):
                    return inner
                if outer in (first ^ 1, second ^ 1):
                    return FALSE
        return None

    def disjunction(self, left: Literal, right: Literal) -> Literal:
        return self.conjunction(left ^ 1, right ^ 1) ^ 1

    def implication(self, left: Literal, right: Literal) -> Literal:
        return self.conjunction(left, right ^ 1) ^ 1

    def exclusive_or(self, left: Literal, right: Literal) -> Literal:
        sign = (left ^ right) & 1
        left, right = left & ~1, right & ~1
        if left == right:
            return FALSE ^ sign
        both, neither = self.conjunction(left, right), self.conjunction(left ^ 1, right ^ 1)
        return self.conjunction(both ^ 1, neither ^ 1) ^ sign

    def equivalence(self, left: Literal, right: Literal) -> Literal:
        return self.exclusive_or(left, right) ^ 1

    def select(self, condition: Literal, when_high: Literal, when_low: Literal) -> Literal:
        if when_high == when_low:
            return when_high
        if when_high == when_low ^ 1:
            return self.equivalence(condition, when_high)
        return self.disjunction(self.conjunction(condition, when_high), self.conjunction(condition ^ 1, when_low))

    def all_of(self, literals: Iterable[Literal]) -> Literal:
        """Balanced conjunction; TRUE for none."""
        return self._balanced([*literals], negated=0)

    def any_of(self, literals: Iterable[Literal]) -> Literal:
        """Balanced disjunction; FALSE for none."""
        return self._balanced([literal ^ 1 for literal in literals], negated=1)

    def _balanced(self, layer: list[Literal], negated: int) -> Literal:
        if not layer:
            return TRUE ^ negated
        while len(layer) > 1:
            paired = [self.conjunction(layer[i], layer[i + 1]) for i in range(0, len(layer) - 1, 2)]
            layer = paired + layer[len(layer) & ~1 :]
        return layer[0] ^ negated

    def is_variable(self, literal: Literal) -> bool:
        return literal > TRUE and self.lefts[literal >> 1] == VARIABLE

    def cone(self, roots: Iterable[Literal]) -> list[int]:
        """The nodes that the roots depend on, themselves included, in topological order."""
        return sorted(self.cone_beyond(roots, set()))

    def cone_beyond(self, roots: Iterable[Literal], seen: set[int]) -> list[int]:
        """The nodes of the cone that are not in `seen` yet, in no order; adds them to `seen`."""
        found: list[int] = []
        pending = [root >> 1 for root in roots]
        while pending:
            node = pending.pop()
            if node in seen:
                continue
            seen.add(node)
            found.append(node)
            if self.lefts[node] != VARIABLE:
                pending.append(self.lefts[node] >> 1)
                pending.append(self.rights[node] >> 1)
        return found

    def evaluate(self, roots: Sequence[Literal], values: Mapping[Literal, bool]) -> list[bool]:
        """Values of the roots. `values` is keyed by the positive literals of variables; a missing one counts as 0."""
        result: dict[int, bool] = {0: False}
        for node in self.cone(roots):
            left = self.lefts[node]
            if left == VARIABLE:
                result[node] = bool(values.get(2 * node, False))
            else:
                right = self.rights[node]
                result[node] = (result[left >> 1] ^ bool(left & 1)) and (result[right >> 1] ^ bool(right & 1))
        result[0] = False
        return [result[root >> 1] ^ bool(root & 1) for root in roots]

    def substitute(self, roots: Sequence[Literal], images: Mapping[Literal, Literal]) -> list[Literal]:
        """The roots with variables replaced. `images` has positive literals as keys; the others stay."""
        result: dict[int, Literal] = {}
        for node in self.cone(roots):
            left = self.lefts[node]
            if left == VARIABLE:
                result[node] = images.get(2 * node, 2 * node)
            else:
                right = self.rights[node]
                result[node] = self.conjunction(result[left >> 1] ^ (left & 1), result[right >> 1] ^ (right & 1))
        return [result[root >> 1] ^ (root & 1) for root in roots]
