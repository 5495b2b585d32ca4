"""What readings on a board say about its faults, as plain data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from verifier.circuit.fault import FaultClass, Technology
from verifier.circuit.netlist import NetId
from verifier.evidence.checklist import Checklist, Flip

Reading = tuple[bool, ...]


@dataclass(frozen=True, kw_only=True)
class Test:
    """Something to do at the board and, for each reading that may come of it, the suspects that are left."""

    flips: tuple[Flip, ...]
    """None: a probe of the board as it is."""
    nets: tuple[NetId, ...]
    """What is read after the last flip."""
    left: Mapping[Reading, tuple[int, ...]]
    """Positions in `Diagnosis.suspects`; a suspect that may read either way stands at both."""

    @property
    def worst(self) -> int:
        return max(map(len, self.left.values()))


@dataclass(frozen=True, kw_only=True)
class Diagnosis:
    checklist: Checklist
    technology: Technology
    last_row: int
    """The last row that was made on the board."""
    further_steps: int
    """Steps made after that row."""
    sound: bool
    """A board without a fault may read like this too."""
    suspects: tuple[FaultClass, ...]
    """The likeliest kind first."""
    not_followed: tuple[FaultClass, ...]
    """Not ruled out: there was too much to look at."""
    faults_tried: int
    probe: Test | None
    flips: Test | None
