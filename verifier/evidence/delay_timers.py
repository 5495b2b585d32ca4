"""The timers of the timed view: ages of excitations, times of inputs, set-up and hold (grammar/README.md, 33).

They say what is ready, when time may not pass, and which flip-flops become unsure. Which moves there are is not said
here.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from verifier.circuit.netlist import Driver, FlipFlop, InputClass, NetId, Netlist, Range, Timing
from verifier.claims.run import Instant
from verifier.evidence.delayed_elements import may_stay_excited, moving_elements, samples


@dataclass(frozen=True, kw_only=True)
class Timers:
    """Everything but values that what comes next hangs on, in ns. Timers that only ask for a least time stop there."""

    ages: tuple[int | None, ...]
    """For each moving element, by output net; None: it is not excited."""
    running: tuple[Range, ...]
    """For each free-running bit: in how many ns it may change, and must have."""
    since_by_hand: int
    """Since any input by hand changed."""
    steady: tuple[int, ...]
    """For each watched data pin: since it changed."""
    since_edge: tuple[int, ...]
    """For each flip-flop: since it sampled."""
    unsure: tuple[int | None, ...]
    """For each flip-flop: how long it may stay unsure; None: it is not."""


class TimerRules:
    """How the timers of one netlist start, run and stop."""

    def __init__(self, netlist: Netlist) -> None:
        """Raises ValueError when an element has no delay or a free-running input no times."""
        self._netlist = netlist
        self._elements = moving_elements(netlist)
        self._delays = [_delay(netlist, element) for element in self._elements]
        self._periods = _periods(netlist)
        self.running = tuple(self._periods)
        """The free-running bits, in the order of `Timers.running`."""
        by_hand = [pin for pin in netlist.inputs if pin.input_class is InputClass.BY_HAND]
        self._by_hand = frozenset(net for pin in by_hand for net in pin.nets)
        self._longest_apart = max((pin.apart or 0 for pin in by_hand), default=0)
        self._timings = [flip_flop.timing or Timing() for flip_flop in netlist.flip_flops]
        self._watched = _watched(netlist)

    def at_start(self, values: Instant, excited: Sequence[bool]) -> Timers:
        """Everything has been as it is for long; excitation begins now."""
        return Timers(
            ages=tuple(0 if is_excited else None for is_excited in excited),
            running=tuple(Range(0, self._period(net, values).high) for net in self.running),
            since_by_hand=self._longest_apart,
            steady=tuple(self._watched.values()),
            since_edge=tuple(map(_hold, self._timings)),
            unsure=(None,) * len(self._timings),
        )

    # What is ready

    def is_ready(self, timers: Timers, index: int, values: Instant) -> bool:
        """The element with this index may fire."""
        age = timers.ages[index]
        return age is not None and age >= self._delay_now(index, values).low

    def may_change(self, timers: Timers, net: NetId) -> bool:
        """The free-running bit may change."""
        return timers.running[self.running.index(net)].low == 0

    def passes(self, timers: Timers, values: Instant) -> bool:
        """One ns may pass before anything else happens."""
        if 0 in timers.unsure or any(window.high == 0 for window in timers.running):
            return False
        return not any(
            age is not None and age >= self._delay_now(index, values).high and not may_stay_excited(element, values)
            for index, (element, age) in enumerate(zip(self._elements, timers.ages, strict=True))
        )

    def becomes_unsure(self, timers: Timers, index: int, before: Instant, after: Instant) -> bool:
        """The move makes a data pin of this flip-flop violate its set-up or hold, or stand exactly on the bound.

        A pin that moves together with the clock is 0 ns away from the edge, before it as well as after it.
        """
        flip_flop, timing = self._netlist.flip_flops[index], self._timings[index]
        set_up, hold = _set_up(flip_flop), _hold(timing)
        is_edge = samples(flip_flop, before, after)
        for pin in flip_flop.data:
            moves = before[pin] != after[pin]
            if is_edge and set_up > (0 if moves else self._steady(timers, pin)):
                return True
            if moves and hold > (0 if is_edge else timers.since_edge[index]):
                return True
        return False

    def settling(self, index: int) -> int:
        return self._timings[index].settling

    # How they run

    def after_move(
        self, timers: Timers, before: Instant, after: Instant, excited: Sequence[bool], unsure: tuple[int | None, ...]
    ) -> Timers:
        changed = {net for net, (old, new) in enumerate(zip(before, after, strict=True)) if old != new}
        edges = [samples(flip_flop, before, after) for flip_flop in self._netlist.flip_flops]
        return Timers(
            ages=self._ages(timers, excited, changed),
            running=tuple(
                self._period(net, after) if net in changed else window
                for net, window in zip(self.running, timers.running, strict=True)
            ),
            since_by_hand=timers.since_by_hand if changed.isdisjoint(self._by_hand) else 0,
            steady=tuple(
                0 if pin in changed else since for pin, since in zip(self._watched, timers.steady, strict=True)
            ),
            since_edge=tuple(0 if edge else since for edge, since in zip(edges, timers.since_edge, strict=True)),
            unsure=unsure,
        )

    def after_settling(self, timers: Timers, excited: Sequence[bool], unsure: tuple[int | None, ...]) -> Timers:
        """What some flip-flops hold has become sure; no net has moved."""
        return replace(timers, ages=self._ages(timers, excited, ()), unsure=unsure)

    def after_tick(self, timers: Timers, values: Instant) -> Timers:
        """Pre: `passes`."""
        return Timers(
            ages=tuple(
                None if age is None else min(age + 1, self._delay_now(index, values).high)
                for index, age in enumerate(timers.ages)
            ),
            running=tuple(Range(max(window.low - 1, 0), window.high - 1) for window in timers.running),
            since_by_hand=min(timers.since_by_hand + 1, self._longest_apart),
            steady=tuple(
                min(since + 1, most) for since, most in zip(timers.steady, self._watched.values(), strict=True)
            ),
            since_edge=tuple(
                min(since + 1, _hold(timing)) for since, timing in zip(timers.since_edge, self._timings, strict=True)
            ),
            unsure=tuple(None if left is None else left - 1 for left in timers.unsure),
        )

    def _ages(self, timers: Timers, excited: Sequence[bool], changed: Collection[NetId]) -> tuple[int | None, ...]:
        """An excitation goes on only where it was there before and the element did not fire."""
        return tuple(
            None if not is_excited else 0 if age is None or element.output in changed else age
            for element, age, is_excited in zip(self._elements, timers.ages, excited, strict=True)
        )

    def _delay_now(self, index: int, values: Instant) -> Range:
        """The delay of the way on which the element is, if it is excited."""
        delay = self._delays[index]
        return delay[1] if values[self._elements[index].output] else delay[0]

    def _period(self, net: NetId, values: Instant) -> Range:
        low, high = self._periods[net]
        return high if values[net] else low

    def _steady(self, timers: Timers, pin: NetId) -> int:
        return next((since for watched, since in zip(self._watched, timers.steady, strict=True) if watched == pin), 0)


def _delay(netlist: Netlist, element: Driver) -> tuple[Range, Range]:
    """Of rising and of falling."""
    if element.takes is None:
        raise ValueError(f"{netlist.nets[element.output].name} has no delay, which the timed view needs")
    return element.takes.rise, element.takes.fall


def _periods(netlist: Netlist) -> dict[NetId, tuple[Range, Range]]:
    """For each free-running bit how long it stays low and high."""
    found: dict[NetId, tuple[Range, Range]] = {}
    for pin in netlist.inputs:
        if pin.input_class is InputClass.FREE_RUNNING:
            if pin.low is None or pin.high is None:
                raise ValueError(f"free-running {pin.name} has no times, which the timed view needs")
            found.update((net, (pin.low, pin.high)) for net in pin.nets)
    return found


def _watched(netlist: Netlist) -> dict[NetId, int]:
    """The data pins of flip-flops with a set-up, and the longest of these that asks for them."""
    found: dict[NetId, int] = {}
    for flip_flop in netlist.flip_flops:
        set_up = _set_up(flip_flop)
        if set_up:
            found.update((pin, max(found.get(pin, 0), set_up)) for pin in flip_flop.data)
    return dict(sorted(found.items()))


def _set_up(flip_flop: FlipFlop) -> int:
    """Nearer than this many ns before the edge is too near to be sure; 0: never."""
    set_up = None if flip_flop.timing is None else flip_flop.timing.set_up
    return set_up + 1 if set_up else 0


def _hold(timing: Timing) -> int:
    return timing.hold + 1 if timing.hold else 0
