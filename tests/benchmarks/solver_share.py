"""How much of a decision of this project's is spent inside z3: a probe for `measuring.measured`.

Every function of z3's that the session uses is replaced by one that reads the clock before and after. That costs
about 0.2 us a call, which counts as time outside. It is wall time, as the clock of processor time costs more than
most calls: compare it with the wall time of the whole.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from benchmarks.measuring import SolverTime
from verifier.logic.z3_library import _SIGNATURES, load_library

CHECK = "Z3_solver_check_assumptions"


def probe() -> Callable[[], SolverTime]:
    spent = dict.fromkeys(_SIGNATURES, 0.0)
    library = load_library()
    for name in _SIGNATURES:
        setattr(library, name, _timed(getattr(library, name), name, spent))

    def seconds() -> SolverTime:
        checks = spent[CHECK]
        return SolverTime(checks=checks, other_calls=sum(spent.values()) - checks)

    return seconds


def _timed(function: Callable[..., Any], name: str, spent: dict[str, float]) -> Callable[..., Any]:
    clock = time.perf_counter

    def call(*arguments: Any) -> Any:
        begin = clock()
        try:
            return function(*arguments)
        finally:
            spent[name] += clock() - begin

    return call
