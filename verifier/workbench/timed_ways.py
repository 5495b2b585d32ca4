"""How a claim of the timed view comes to its verdict: three ways of looking take turns, each turn twice as long.

- All states: exact, and a run that it finds is the earliest. It has most of the time.
- Samples of the states: they can only give a run.
- Parts of the circuit: a few elements as they are, the rest free (`views/delay_cut.py`). They can only prove. Where a
  part can breach the claim, what moved freely on the way becomes part of it (counterexample-guided refinement: Clarke,
  Grumberg, Jha, Lu, Veith, "Counterexample-guided abstraction refinement", CAV 2000).

What remains at last is for a bounded search from event to event, which can only give a run.
"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable

from verifier.claims.claim import Claim, ClaimKind
from verifier.claims.trigger import watched
from verifier.engines.bounded_search import search
from verifier.engines.decision import Reached, Undecided
from verifier.engines.delay_reachability import DelayedReached, DelayedUnreachable, StateSearch
from verifier.engines.delay_sampling import Samples
from verifier.errors import InternalDisagreement
from verifier.evidence.closure import recheck_states
from verifier.evidence.replay import Unconfirmed
from verifier.evidence.verdict import ClaimResult, Verdict
from verifier.logic.delay_system import DelayedInstant, DelaySystem
from verifier.views.delay_cut import everything_behind, leaves_nothing_out, nets_asked_about
from verifier.views.delayed import DelayedModel, PartSystem
from verifier.views.event_frames import event_system

MEMORY_BYTES = 1 << 30
MEMORY_OF_A_PART = 1 << 28
FIRST_TURN_SECONDS = 0.06
TURNS_OF_ALL_STATES = 8
"""Its turns are so many times as long as those of the others."""
SHARE_OF_EVENTS = 0.15
FIRST_HORIZON = 64
"""ns that the first samples go."""
MOST_FRAMES = 200

Confirm = Callable[[str, tuple[DelayedInstant, ...]], ClaimResult]
"""From the engine and a run to a result: the second opinion has followed the run."""


class TimedWays:
    """One claim, until a deadline of `time.monotonic`."""

    def __init__(
        self,
        model: DelayedModel,
        claim: Claim,
        deadline: float,
        depth: int | None,
        on_progress: Callable[[int], None] | None,
        confirm: Confirm,
    ) -> None:
        self._model = model
        self._claim = claim
        self._deadline = deadline
        self._depth = depth
        self._on_progress = on_progress
        self._confirm = confirm
        self._system = model.system(claim)
        self._all_states = StateSearch(self._system, memory_bytes=MEMORY_BYTES, depth=depth, progress=on_progress)
        self._samples: Samples | None = None
        self._parts = Parts(model, claim, depth)

    def result(self) -> ClaimResult:
        """Raises InternalDisagreement when the second opinion is another one."""
        reserve, turn = self._left * SHARE_OF_EVENTS, FIRST_TURN_SECONDS
        found: ClaimResult | None = None
        while found is None:
            left = self._left - reserve
            if left <= 0.0 or self._nothing_to_go_on_with:
                return self._by_events()
            found = self._by_all_states(min(left, turn * TURNS_OF_ALL_STATES))
            found = found or self._by_parts(min(left, turn)) or self._by_samples(min(left, turn))
            turn *= 2
        return found

    @property
    def _left(self) -> float:
        return max(self._deadline - time.monotonic(), 0.0)

    @property
    def _nothing_to_go_on_with(self) -> bool:
        """All states have been given up, and so have parts; samples never end, and are not worth all the time."""
        return self._all_states.has_ended and self._parts.has_ended

    def _by_all_states(self, limit: float) -> ClaimResult | None:
        match self._all_states.go_on(limit):
            case DelayedReached(instants=instants, engine=engine):
                return self._confirm(engine, instants)
            case DelayedUnreachable() as unreachable:
                return self._judged_again(self._system, unreachable, unreachable.engine)
            case Undecided():
                return None

    def _judged_again(self, system: DelaySystem, found: DelayedUnreachable, engine: str) -> ClaimResult:
        try:
            recheck_states(system, found.states, limit_seconds=max(self._left, 1.0))
        except Unconfirmed as unconfirmed:
            return undecided(self._claim, engine, f"a proof could not be confirmed: {unconfirmed}")
        return dataclasses.replace(proved(self._claim, engine), states=found.states.count)

    def _by_parts(self, limit: float) -> ClaimResult | None:
        found = self._parts.go_on(limit)
        if found is None:
            return None
        part, unreachable = found
        result = self._judged_again(part.system, unreachable, f"{unreachable.engine}, {self._parts.told}")
        return result if result.verdict is not Verdict.UNDECIDED else None

    def _by_samples(self, limit: float) -> ClaimResult | None:
        if self._samples is None:
            self._samples = Samples(self._system, horizon=FIRST_HORIZON, depth=self._depth)
        found = self._samples.go_on(limit)
        return None if found is None else self._confirm(found.engine, found.instants)

    def _by_events(self) -> ClaimResult:
        """A search for a run, from event to event. It proves nothing."""
        gave_up = self._all_states.go_on(0.0)
        reason = gave_up.reason if isinstance(gave_up, Undecided) else ""
        otherwise = undecided(self._claim, gave_up.engine, reason)
        events = event_system(self._model.system(self._claim))
        depth = MOST_FRAMES if self._depth is None else self._depth
        match search(events.system.cone_of_influence(), depth, self._left):
            case Reached(counterexample=found, engine=engine):
                try:
                    return self._confirm(f"{engine}, from event to event", events.instants_of(found))
                except InternalDisagreement:  # what a claim remembers of the ns within a jump was not looked at
                    return otherwise
            case Undecided(searched_to=frames):
                more = f"; no run of up to {frames} moves and waits was found either" if frames else ""
                return dataclasses.replace(otherwise, reason=reason + more)
            case _:
                return otherwise


class Parts:
    """Larger and larger parts of the circuit, until one cannot breach the claim."""

    def __init__(self, model: DelayedModel, claim: Claim, depth: int | None) -> None:
        self._model = model
        self._claim = claim
        self._depth = depth
        formula, givens = watched(claim), [given.formula for given in model.design.givens]
        self._formulas = (formula, *givens)
        netlist = model.design.netlist
        asked, of_givens = nets_asked_about(netlist, [formula]), nets_asked_about(netlist, givens)
        self._elements = len(netlist.drivers)
        self._everything = everything_behind(netlist, (*asked, *of_givens))
        self._kept = self._everything & frozenset(asked)
        self._part: PartSystem | None = None
        self._search: StateSearch | None = None
        self.has_ended = False

    @property
    def told(self) -> str:
        return f"{len(self._kept)} of {self._elements} elements looked at, the rest free"

    def go_on(self, limit: float) -> tuple[PartSystem, DelayedUnreachable] | None:
        deadline = time.monotonic() + limit
        while not self.has_ended:
            if self._part is None or self._search is None:
                if leaves_nothing_out(self._model.design.netlist, self._kept, self._formulas):
                    break
                self._part = self._model.part_system(self._claim, self._kept)
                self._search = StateSearch(self._part.system, memory_bytes=MEMORY_OF_A_PART, depth=self._depth)
            match self._search.go_on(max(deadline - time.monotonic(), 0.0)):
                case DelayedUnreachable() as unreachable:
                    self.has_ended = True
                    return self._part, unreachable
                case DelayedReached(instants=instants):
                    suspects = (self._part.moved(instants) or frozenset(self._part.freed)) & self._everything
                    self._kept |= suspects
                    self._part = self._search = None
                    self.has_ended = not suspects
                case Undecided():
                    self.has_ended = self._search.has_ended
                    return None
        self.has_ended = True
        return None


def proved(claim: Claim, engine: str) -> ClaimResult:
    """A claim that nothing can breach, or a `can` that nothing can fulfil."""
    verdict = Verdict.IMPOSSIBLE if claim.kind is ClaimKind.CAN else Verdict.PROVED
    return ClaimResult(claim=claim, verdict=verdict, engine=engine, seconds=0.0)


def undecided(claim: Claim, engine: str, reason: str) -> ClaimResult:
    return ClaimResult(claim=claim, verdict=Verdict.UNDECIDED, engine=engine, seconds=0.0, reason=reason)
