"""Why gates and storage fired in a run of a delay view: when their excitation began, and which of their pins began it.

What excites an element stands in `grammar/README.md`, section 30. It is replayed here from the netlist and the run
alone. What a flip-flop holds cannot always be told from a run: where it may be either value, its output counts as
excited from the first instant at which it may have been.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from verifier.circuit.loops import dependences
from verifier.circuit.netlist import Driver, FlipFlop, NetId, Netlist, Timing
from verifier.claims.formula import KeepsTiming, TimingRule
from verifier.claims.run import Instant, Run
from verifier.claims.timed_meaning import evaluate_in_time, with_every_tick
from verifier.evidence.delayed_elements import (
    EITHER,
    forced_value,
    is_excited,
    moving_elements,
    sampled_values,
    samples,
)

SETTLING_RULES = (TimingRule.SET_UP, TimingRule.HOLD)


@dataclass(frozen=True)
class Cause:
    """What excited an element that fires."""

    since: int
    """The instant at which the excitation began; 0: it was there from the start."""
    pins: tuple[NetId, ...] = ()
    """Those of its pins that changed at that instant."""
    unsure: bool = False
    """A breach of set-up or hold at that instant left open what the flip-flop holds."""


@dataclass(frozen=True)
class Firing:
    net: NetId
    cause: Cause | None
    """None: nothing in the run excites it."""


def firings(netlist: Netlist, run: Run) -> tuple[tuple[Firing, ...], ...]:
    """For each instant of the run the elements that fired there, by output net."""
    tracks = [_track(netlist, element, run) for element in moving_elements(netlist)]
    fired: list[tuple[Firing, ...]] = [()]
    for i in range(1, len(run)):
        fired.append(
            tuple(
                Firing(track.net, track.cause)
                for track in tracks
                if run.instants[i][track.net] != run.instants[i - 1][track.net]
            )
        )
        for track in tracks:
            track.follow(i)
    return tuple(fired)


def _track(netlist: Netlist, element: Driver, run: Run) -> _Track:
    if isinstance(element, FlipFlop):
        return _FlipFlopTrack(element, run, _breaches(netlist, element, run))
    return _Track(element, run)


class _Track:
    """One element along the run: `cause` is what excites it at the instant that was followed last."""

    def __init__(self, element: Driver, run: Run) -> None:
        self._element, self._run = element, run
        self.net = element.output
        self.cause = Cause(0) if self._excited(run.instants[0]) else None

    def follow(self, i: int) -> None:
        """Goes on to instant `i`. Pre: the one followed last is `i - 1`."""
        before, after = self._run.instants[i - 1], self._run.instants[i]
        has_fired = before[self.net] != after[self.net]
        began = self._move(i, before, after)
        if not self._excited(after):
            self.cause = None
        elif has_fired or self.cause is None:
            self.cause = began

    def _move(self, i: int, before: Instant, after: Instant) -> Cause:
        """Takes the move in; what an excitation that begins with it comes of."""
        return Cause(i, _changed(dependences(self._element), before, after))

    def _excited(self, values: Instant) -> bool:
        return is_excited(self._element, values, frozenset())


@dataclass
class _Held:
    """What a flip-flop may hold."""

    values: set[bool]
    doubt: Cause | None = None
    """The breach of set-up or hold that it may still not have settled from."""
    until: int = field(default=0)
    """The time in ns by which it has settled."""


class _FlipFlopTrack(_Track):
    """Its output follows what it holds, and that is not among the values of a run."""

    def __init__(self, flip_flop: FlipFlop, run: Run, breaches: frozenset[int]) -> None:
        self._flip_flop, self._breaches = flip_flop, breaches
        self._held = _Held({run.instants[0][flip_flop.output]})
        super().__init__(flip_flop, run)

    def _move(self, i: int, before: Instant, after: Instant) -> Cause:
        flip_flop, held = self._flip_flop, self._held
        now = 0 if self._run.times is None else self._run.times[i]
        self._rule_out(now, before)
        if held.doubt is not None and now > held.until:
            held.doubt = None
        if before[self.net] != after[self.net] and held.doubt is None:
            held.values = {after[self.net]}  # it moves to nothing but what it holds
        forced = forced_value(flip_flop, after)
        if forced is not None:
            self._held = _Held({forced})
            return Cause(i, _changed(dependences(flip_flop), before, after))
        clock = _changed((flip_flop.clock,), before, after)
        if samples(flip_flop, before, after):
            taken = [sampled_values(flip_flop, own, before, after) for own in held.values]
            held = self._held = _Held(set().union(*taken))
        if i in self._breaches:
            pins = _changed((flip_flop.clock, *flip_flop.data), before, after)
            settling = (flip_flop.timing or Timing()).settling
            held = self._held = _Held(set(EITHER), Cause(i, pins, unsure=True), now + settling)
        return held.doubt or Cause(i, clock)

    def _rule_out(self, now: int, before: Instant) -> None:
        """Where it may be excited, but would have had to fire by now, it holds what its output has."""
        held, times, delay, own = self._held, self._run.times, self._flip_flop.takes, before[self.net]
        if len(held.values) == 1 or self.cause is None or times is None or delay is None:
            return
        excited_by = max(times[self.cause.since], held.until)
        if now > excited_by + (delay.fall if own else delay.rise).high:
            held.values, self.cause = {own}, None

    def _excited(self, values: Instant) -> bool:
        return (not values[self.net]) in self._held.values


def _breaches(netlist: Netlist, flip_flop: FlipFlop, run: Run) -> frozenset[int]:
    """The instants of the run, ticks not counted, at which set-up or hold of the flip-flop is breached."""
    timing = flip_flop.timing
    if run.times is None or timing is None:
        return frozenset()
    figures = (timing.set_up, timing.hold)
    asked = [rule for rule, figure in zip(SETTLING_RULES, figures, strict=True) if figure]
    kept = [evaluate_in_time(KeepsTiming(rule=rule, storage=flip_flop.output), run, netlist) for rule in asked]
    listed = with_every_tick(run).listed
    return frozenset(i for i, place in enumerate(listed) if not all(values[place] for values in kept))


def _changed(nets: Iterable[NetId], before: Instant, after: Instant) -> tuple[NetId, ...]:
    return tuple(dict.fromkeys(net for net in nets if before[net] != after[net]))
