"""Functions of a bit graph worked out for many states at once: a column of truth values for each variable.

A function is compiled to Python source, an operation on whole columns for each node. Measured with 16 000 rows: 0.1 ns
a row and operation; the call alone takes 0.6 us, so few operations matter more than cheap ones. Hence

- a node may be kept negated, whichever takes one operation: `not a and not b` is kept as `a or b`;
- an exclusive or of three nodes is one operation where nobody else asks for its parts;
- a column is let go after its last use, and the next one takes its memory while it is still in the cache.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import cast

import numpy as np
from numpy.typing import NDArray

from verifier.logic.bit_graph import TRUE, VARIABLE, BitGraph, Literal

Truth = NDArray[np.bool_]


def transcribed(
    source: BitGraph, roots: Sequence[Literal], images: Mapping[Literal, Literal], target: BitGraph
) -> list[Literal]:
    """The roots built again in another graph. `images` has the positive literals of all their variables as keys."""
    result: dict[int, Literal] = {0: 0}
    for node in source.cone(roots):
        left, right = source.lefts[node], source.rights[node]
        if left != VARIABLE:
            result[node] = target.conjunction(result[left >> 1] ^ (left & 1), result[right >> 1] ^ (right & 1))
        elif node:
            if 2 * node not in images:
                raise ValueError(f"{source.names.get(node, node)} may not be read here")
            result[node] = images[2 * node]
    return [result[root >> 1] ^ (root & 1) for root in roots]


class ColumnFunction:
    """The roots as a function of columns of their variables."""

    def __init__(self, graph: BitGraph, roots: Sequence[Literal]) -> None:
        self.roots = tuple(roots)
        self.inputs = tuple(2 * node for node in graph.cone(roots) if node and graph.lefts[node] == VARIABLE)
        """The variables that are read, as positive literals."""
        self._function = _compiled(_source(graph, self.roots, self.inputs))

    def __call__(self, inputs: Sequence[Truth], rows: int) -> tuple[Truth | bool, ...]:
        """A column for each root, in their order; a plain truth value for a root that is constant in the graph.

        The columns stand in the order of `inputs`, and each has `rows` entries. One that is returned may be an input
        itself, or the same as another, so nobody may write into it.
        """
        if any(len(column) != rows for column in inputs):
            raise ValueError(f"a column has not {rows} rows")
        return self._function(*inputs)


def _compiled(source: str) -> Callable[..., tuple[Truth | bool, ...]]:
    namespace: dict[str, object] = {}
    exec(source, namespace)
    return cast("Callable[..., tuple[Truth | bool, ...]]", namespace["function"])


def _source(graph: BitGraph, roots: Sequence[Literal], inputs: Sequence[Literal]) -> str:
    steps = _steps(graph, roots)
    uses = Counter(root >> 1 for root in roots)
    for _, _, left, right in steps:
        uses.update((left >> 1, right >> 1))
    names = {variable >> 1: f"x{place}" for place, variable in enumerate(inputs)}
    negated = dict.fromkeys(names, 0)
    free: list[str] = []
    lines: list[str] = []
    made = 0
    for node, sign, left, right in steps:
        first, second = names[left >> 1], names[right >> 1]
        left, right = left ^ negated[left >> 1], right ^ negated[right >> 1]
        if sign == "^":
            spelled, negated[node] = f"{first} ^ {second}", (left ^ right) & 1
        elif left & right & 1:
            spelled, negated[node] = f"{first} | {second}", 1
        elif left & 1:
            spelled, negated[node] = f"{second} > {first}", 0
        elif right & 1:
            spelled, negated[node] = f"{first} > {second}", 0
        else:
            spelled, negated[node] = f"{first} & {second}", 0
        if free:
            names[node] = free.pop()
        else:
            names[node], made = f"c{made}", made + 1
        lines.append(f"{names[node]} = {spelled}")
        for operand in (left >> 1, right >> 1):
            uses[operand] -= 1
            if uses[operand] == 0 and names[operand].startswith("c"):
                free.append(names[operand])
    results = [
        str(root == TRUE) if root <= TRUE else f"{'~' * ((root & 1) ^ negated[root >> 1])}{names[root >> 1]}"
        for root in roots
    ]
    head = f"def function({', '.join(f'x{place}' for place in range(len(inputs)))}):"
    return "\n    ".join([head, *lines, f"return ({''.join(f'{result}, ' for result in results)})\n"])


def _steps(graph: BitGraph, roots: Sequence[Literal]) -> list[tuple[int, str, Literal, Literal]]:
    """Node, sign and operands of each operation, operands first."""
    inner = [node for node in graph.cone(roots) if graph.lefts[node] != VARIABLE]
    uses = Counter(root >> 1 for root in roots)
    for node in inner:
        uses.update((graph.lefts[node] >> 1, graph.rights[node] >> 1))
    steps: list[tuple[int, str, Literal, Literal]] = []
    swallowed: set[int] = set()
    for node in reversed(inner):
        if node in swallowed:
            continue
        operands = _exclusive_operands(graph, node, uses)
        if operands is None:
            steps.append((node, "&", graph.lefts[node], graph.rights[node]))
        else:
            swallowed.update((graph.lefts[node] >> 1, graph.rights[node] >> 1))
            steps.append((node, "^", *operands))
    steps.reverse()
    return steps


def _exclusive_operands(graph: BitGraph, node: int, uses: Mapping[int, int]) -> tuple[Literal, Literal] | None:
    """`a, b` when the node is their exclusive or and its two parts, `a and b`, `not a and not b`, have no other use."""
    left, right = graph.lefts[node], graph.rights[node]
    if not left & right & 1 or uses[left >> 1] != 1 or uses[right >> 1] != 1:
        return None
    first, second = left >> 1, right >> 1
    if graph.lefts[first] == VARIABLE or graph.lefts[second] == VARIABLE:
        return None
    ones = (graph.lefts[first], graph.rights[first])
    if {graph.lefts[second] ^ 1, graph.rights[second] ^ 1} != set(ones):
        return None
    return ones
