"""Few large cubes that cover a set of states exactly.

S. Minato, "Fast generation of irredundant sum-of-products forms from binary decision diagrams", SASIMI 1992, after
E. Morreale 1970; here on truth tables: integers of `2 ** count` bits, bit `k` for the row in which variable `i` has the
value that bit `i` of `k` has. It keeps no state and knows nothing of systems.

(V1) The union of the cubes is exactly the function. (V2) Without any one of them it is not.

The time is about that of going through the table once for each variable and each cube that comes out.
"""

from __future__ import annotations

import math
import time

TruthTable = int
Cube = tuple[tuple[int, bool], ...]
"""Variables with their values; those not named are free."""
Rows = tuple[int, int]
"""The first and the last of some rows of a truth table that follow one another."""

SMALL = 6
"""Tables of so few variables are not worth a look at the clock."""


class CoverTooLong(Exception):
    """The deadline passed before the cover was found."""


def irredundant_cover(function: TruthTable, count: int, deadline: float = math.inf) -> list[Cube]:
    """Cubes whose union is the function of `count` variables. Recursion is at most `count` deep.

    Raises CoverTooLong at the deadline, a time of `time.monotonic`.
    """
    return _cover(function, function, count, deadline)[0]


def _cover(lower: TruthTable, upper: TruthTable, count: int, deadline: float) -> tuple[list[Cube], TruthTable]:
    """Cubes whose union contains `lower` and stays within `upper`, and that union."""
    everything = (1 << (1 << count)) - 1
    if lower == 0:
        return [], 0
    if upper == everything:
        return [()], everything
    if count > SMALL and time.monotonic() >= deadline:
        raise CoverTooLong("the time for a cover ran out")
    half = 1 << (count - 1)
    mask = (1 << half) - 1
    lower_0, lower_1 = lower & mask, lower >> half
    upper_0, upper_1 = upper & mask, upper >> half
    cubes_0, union_0 = _cover(lower_0 & ~upper_1, upper_0, count - 1, deadline)
    cubes_1, union_1 = _cover(lower_1 & ~upper_0, upper_1, count - 1, deadline)
    rest = (lower_0 & ~union_0) | (lower_1 & ~union_1)
    cubes_both, union_both = _cover(rest, upper_0 & upper_1, count - 1, deadline)
    variable = count - 1
    cubes = [((variable, False), *cube) for cube in cubes_0]
    cubes += [((variable, True), *cube) for cube in cubes_1]
    return cubes + cubes_both, (union_0 | union_both) | (union_1 | union_both) << half
