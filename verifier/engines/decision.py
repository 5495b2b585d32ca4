"""What an engine can answer. Three answers, never two: no function here or above returns a verdict as a bool."""

from __future__ import annotations

from dataclasses import dataclass

from verifier.logic.transition_system import Counterexample, Invariant, TransitionSystem


@dataclass(frozen=True, kw_only=True)
class Reached:
    """`bad` can happen, or there is a fair endless run; this is the shortest way to it."""

    counterexample: Counterexample
    engine: str
    loop_from: int | None = None
    """For an endless run: the frames from this one on are repeated for ever."""


@dataclass(frozen=True, kw_only=True)
class Unreachable:
    """`bad` can never happen, or there is no fair endless run; the invariant says why."""

    invariant: Invariant
    engine: str
    about: TransitionSystem | None = None
    """The system the invariant is an invariant of, where that is not the one that was asked about (endless runs)."""


@dataclass(frozen=True, kw_only=True)
class Undecided:
    """Neither was found in time; no run of up to `searched_to` frames is bad."""

    reason: str
    searched_to: int
    engine: str


Decision = Reached | Unreachable | Undecided
