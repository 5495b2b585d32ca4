"""Few large cubes that cover every state but the given ones.

S. Minato, "Fast generation of irredundant sum-of-products forms from binary decision diagrams", SASIMI 1992, after
E. Morreale 1970. Sets of states are ordered decision diagrams, so the time depends on the number of states times
variables, not on the number of all conceivable states as in `cover`, which is faster for few variables.

(V1) The union of the cubes is exactly the function. (V2) Without any one of them it is not. (V3) Two diagrams are
equal when they are the same number; every node's variable is higher than those of its branches.
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence

from verifier.engines.cover import CoverTooLong, Cube, Rows

MOST_NODES = 20_000
"""About 0.3 s."""

_Diagram = int
_EMPTY: _Diagram = 0
_ALL: _Diagram = 1


def cover_of_others(rows: Sequence[Rows], count: int, deadline: float = math.inf) -> list[Cube]:
    """Cubes whose union is all states of `count` bits but these. Recursion is at most `count` deep.

    Raises CoverTooLong at the deadline, or when the diagrams grow too large.
    """
    diagrams = _Diagrams(deadline)
    reached = diagrams.of_rows(sorted(rows), count)
    others = diagrams.without(_ALL, reached)
    return _Cover(diagrams).between(others, others)[0]


class _Diagrams:
    """The diagrams of one cover, made through one door (V3)."""

    def __init__(self, deadline: float) -> None:
        self._deadline = deadline
        self.nodes: list[tuple[int, _Diagram, _Diagram]] = [(-1, 0, 0), (-1, 1, 1)]
        """Variable, branch where it is 0, branch where it is 1."""
        self._numbers: dict[tuple[int, _Diagram, _Diagram], _Diagram] = {}
        self._differences: dict[tuple[_Diagram, _Diagram], _Diagram] = {}

    def node(self, variable: int, low: _Diagram, high: _Diagram) -> _Diagram:
        if low == high:
            return low
        key = (variable, low, high)
        number = self._numbers.get(key)
        if number is None:
            if len(self.nodes) > MOST_NODES or (len(self.nodes) % 256 == 0 and time.monotonic() >= self._deadline):
                raise CoverTooLong("the invariant would be too large")
            number = self._numbers[key] = len(self.nodes)
            self.nodes.append(key)
        return number

    def of_rows(self, rows: Sequence[Rows], count: int) -> _Diagram:
        """Rows in ascending order, none twice."""
        if not rows:
            return _EMPTY
        if rows[0] == (0, (1 << count) - 1):
            return _ALL
        half = 1 << (count - 1)
        low = [(first, min(last, half - 1)) for first, last in rows if first < half]
        high = [(max(first, half) - half, last - half) for first, last in rows if last >= half]
        return self.node(count - 1, self.of_rows(low, count - 1), self.of_rows(high, count - 1))

    def branches(self, diagram: _Diagram, variable: int) -> tuple[_Diagram, _Diagram]:
        own, low, high = self.nodes[diagram]
        return (low, high) if own == variable else (diagram, diagram)

    def without(self, left: _Diagram, right: _Diagram) -> _Diagram:
        """The states of `left` that are not in `right`."""
        if left in (_EMPTY, right) or right == _ALL:
            return _EMPTY
        if right == _EMPTY:
            return left
        key = (left, right)
        found = self._differences.get(key)
        if found is None:
            variable = max(self.nodes[left][0], self.nodes[right][0])
            (left_0, left_1), (right_0, right_1) = self.branches(left, variable), self.branches(right, variable)
            found = self.node(variable, self.without(left_0, right_0), self.without(left_1, right_1))
            self._differences[key] = found
        return found

    def both(self, left: _Diagram, right: _Diagram) -> _Diagram:
        return self.without(left, self.without(left, right))

    def either(self, left: _Diagram, right: _Diagram) -> _Diagram:
        return self.without(_ALL, self.without(self.without(_ALL, left), right))


class _Cover:
    """The cover's recursion, each pair of bounds worked out once."""

    def __init__(self, diagrams: _Diagrams) -> None:
        self._diagrams = diagrams
        self._known: dict[tuple[_Diagram, _Diagram], tuple[list[Cube], _Diagram]] = {}

    def between(self, lower: _Diagram, upper: _Diagram) -> tuple[list[Cube], _Diagram]:
        """Cubes whose union contains `lower` and stays within `upper`, and that union."""
        if lower == _EMPTY:
            return [], _EMPTY
        if upper == _ALL:
            return [()], _ALL
        key = (lower, upper)
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = self._split(lower, upper)
        return found

    def _split(self, lower: _Diagram, upper: _Diagram) -> tuple[list[Cube], _Diagram]:
        diagrams = self._diagrams
        variable = max(diagrams.nodes[lower][0], diagrams.nodes[upper][0])
        (lower_0, lower_1), (upper_0, upper_1) = (diagrams.branches(d, variable) for d in (lower, upper))
        cubes_0, union_0 = self.between(diagrams.without(lower_0, upper_1), upper_0)
        cubes_1, union_1 = self.between(diagrams.without(lower_1, upper_0), upper_1)
        rest = diagrams.either(diagrams.without(lower_0, union_0), diagrams.without(lower_1, union_1))
        cubes_both, union_both = self.between(rest, diagrams.both(upper_0, upper_1))
        cubes = [((variable, False), *cube) for cube in cubes_0]
        cubes += [((variable, True), *cube) for cube in cubes_1]
        low, high = diagrams.either(union_0, union_both), diagrams.either(union_1, union_both)
        return cubes + cubes_both, diagrams.node(variable, low, high)
