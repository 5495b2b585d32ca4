"""What readings on a board say about its faults, as plain data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from verifier.circuit.fault import Fault, Technology
from verifier.circuit.netlist import NetId
from verifier.evidence.checklist import Checklist, Flip

MeterLevel = bool | None
NO_FIRM_LEVEL = None
"""What a meter finds at a pin that no wire reaches: about 1.4 V with TTL, anything with CMOS (common practice)."""

Reading = tuple[MeterLevel, ...]


@dataclass(frozen=True)
class Pin:
    """A place to probe: an input pin of a part, or the wire that a part drives."""

    output: NetId
    """The net that the part drives."""
    position: int | None
    """Of the pin in `element_pins`; None: the driven wire itself, wherever it is easiest to reach."""


@dataclass(frozen=True, kw_only=True)
class Test:
    """Something to do at the board and, for each reading that may come of it, the suspects that are left."""

    flips: tuple[Flip, ...]
    """None in a probe."""
    nets: tuple[NetId, ...]
    """What is read after the last flip; nothing in a probe."""
    probed: str = ""
    """What is probed: the name of a net or of a pin."""
    left: Mapping[Reading, tuple[int, ...]]
    """Positions in `Diagnosis.suspects`; a suspect that may read either way stands at both."""

    @property
    def worst(self) -> int:
        return max(map(len, self.left.values()))


@dataclass(frozen=True, kw_only=True)
class SuspectedFault:
    fault: Fault
    like: int | None
    """Position of the first suspect that does the same at every net with a name, for ever; None: this is the first."""


@dataclass(frozen=True, kw_only=True)
class Diagnosis:
    checklist: Checklist
    technology: Technology
    last_row: int
    """The last row that was made on the board."""
    further_steps: int
    """Flips and probes made after that row."""
    sound: bool
    """A board without a fault may read like this too."""
    suspects: tuple[SuspectedFault, ...]
    """The likeliest kind first."""
    not_followed: tuple[Fault, ...]
    """Not ruled out: there was too much to look at."""
    faults_tried: int
    probe: Test | None
    flips: Test | None
