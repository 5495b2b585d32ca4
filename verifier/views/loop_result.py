"""What a loop comes to in a round, as literals; the common answer of the exact and the three-valued way."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from verifier.circuit.netlist import NetId
from verifier.logic.bit_graph import TRUE, Literal

Chooser = Callable[[], Literal]
"""Makes a new free variable of the step: a choice that the circuit makes."""


@dataclass(frozen=True, kw_only=True)
class LoopResult:
    values: Mapping[NetId, Literal]
    several: Literal
    """More than one outcome."""
    unstable: Literal
    """At least one outcome is not stable."""
    possible: Literal = TRUE
    """0 where there is no outcome at all (power-up only)."""
