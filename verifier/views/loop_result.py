"""What a loop is given in a round and comes to, as literals; common to the exact and the three-valued way."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from verifier.circuit.netlist import NetId
from verifier.logic.bit_graph import TRUE, Literal

Chooser = Callable[[], Literal]
"""Makes a new free variable of the step: a choice that the circuit makes."""


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """What a race starts from."""

    start: Mapping[NetId, Literal]
    """Values of the members."""
    before: Mapping[NetId, Literal]
    """All nets one round earlier."""
    outside: Mapping[NetId, Literal]
    """Nets that come from outside, in this round."""
    restless: Mapping[NetId, Literal]
    """Those of them that may be restless (12.7)."""
    was_open: Sequence[Literal]
    """For each latch of the loop, whether its enable was active one round earlier."""
    watched: frozenset[NetId]
    """Members whose moves are asked for."""


@dataclass(frozen=True, kw_only=True)
class LoopResult:
    values: Mapping[NetId, Literal]
    several: Literal
    """More than one outcome."""
    unstable: Literal
    """At least one outcome is not stable."""
    rises: Mapping[NetId, Literal] = field(default_factory=dict)
    """Members of which that was asked, to "some move of the race takes it from 0 to 1"."""
    falls: Mapping[NetId, Literal] = field(default_factory=dict)
    possible: Literal = TRUE
    """0 where there is no outcome at all (power-up only)."""
