"""What an engine can answer. Three answers, never two: no function here or above returns a verdict as a bool."""

from __future__ import annotations

from dataclasses import dataclass

from verifier.logic.transition_system import Counterexample, Invariant


@dataclass(frozen=True, kw_only=True)
class Reached:
    """`bad` can happen; this is the shortest way to it."""

    counterexample: Counterexample
    engine: str


@dataclass(frozen=True, kw_only=True)
class Unreachable:
    """`bad` can never happen; the invariant says why."""

    invariant: Invariant
    engine: str


@dataclass(frozen=True, kw_only=True)
class Undecided:
    """Neither was found in time; no run of up to `searched_to` frames is bad."""

    reason: str
    searched_to: int
    engine: str


Decision = Reached | Unreachable | Undecided
