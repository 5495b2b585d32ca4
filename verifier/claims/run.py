"""A run, finite or endless: the value of every net at every instant, and what happened on the way there. Plain data."""

from __future__ import annotations

from dataclasses import dataclass, field

from verifier.circuit.netlist import NetId

Instant = tuple[bool, ...]
"""Value of each net, indexed by `NetId`."""


@dataclass(frozen=True, kw_only=True)
class StepEvents:
    """What the step that leads to an instant did beside changing values (grammar/README.md, 12.2 to 12.6)."""

    raced: bool = False
    oscillated: bool = False
    may_glitch: frozenset[NetId] = field(default_factory=frozenset)


@dataclass(frozen=True)
class Run:
    """`events[i]` belongs to the step from instant `i - 1` to `i`; `events[0]` to the first instant itself."""

    instants: tuple[Instant, ...]
    events: tuple[StepEvents, ...]
    loop_from: int | None = None
    """Instants from this one on are repeated for ever; None: a finite run."""
    times: tuple[int, ...] | None = None
    """Delay views: ns since instant 0, for each instant, never falling; None in the settled view."""

    def __post_init__(self) -> None:
        if len(self.instants) != len(self.events):
            raise ValueError(f"{len(self.instants)} instants but {len(self.events)} step events")
        if self.times is not None and len(self.times) != len(self.instants):
            raise ValueError(f"{len(self.instants)} instants but {len(self.times)} times")
        if self.loop_from is not None and not 0 <= self.loop_from < len(self.instants):
            raise ValueError(f"{len(self.instants)} instants, the loop cannot start at {self.loop_from}")

    def __len__(self) -> int:
        return len(self.instants)
