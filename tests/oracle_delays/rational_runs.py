"""Random runs in real time: every event at a rational time that the ranges permit (grammar/README.md, 33).

A run is drawn event by event. All that may happen next has an earliest time, all that must has a latest; the next event
is one of those that can still come first, at the earliest time, the latest, right beside another, or in between. So an
element's delay is any rational number in its closed range, and whatever goes away before it fires is absorbed.

It knows nothing of ticks, and shares with `timed_steps` no more than what a move does.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from random import Random

from oracle.targets import is_active

from oracle_delays.moves import Flips, Moves, Point
from verifier.circuit.netlist import FlipFlop, Input, InputClass, Latch, NetId, Netlist, Range
from verifier.claims.formula import TimingRule
from verifier.claims.run import Instant

Time = Fraction
LONG_AGO = Fraction(-1_000_000)


@dataclass(frozen=True)
class Moment:
    """An instant of a run in real time; where time has passed, the old values stand once more at the new time."""

    at: Time
    instant: Instant
    inputs_moved: bool
    breaches: frozenset[tuple[TimingRule, NetId]] = frozenset()


@dataclass(frozen=True)
class Event:
    """Something that may happen: an element fires, an input changes, or what is unsure becomes one value."""

    earliest: Time
    element: NetId | None = None
    inputs: tuple[Input, ...] = ()
    flips: Flips = frozenset()
    unsure: NetId | None = None


@dataclass
class RealRun:
    """A run under way."""

    netlist: Netlist
    moves: Moves
    random: Random
    point: Point
    now: Time = Fraction(0)
    excited_since: dict[NetId, Time] = field(default_factory=dict)
    input_changed: dict[str, Time] = field(default_factory=dict)
    hand_changed: Time = LONG_AGO
    net_changed: dict[NetId, Time] = field(default_factory=dict)
    sampled_at: dict[NetId, Time] = field(default_factory=dict)
    unsure_since: dict[NetId, Time] = field(default_factory=dict)
    moments: list[Moment] = field(default_factory=list)

    @classmethod
    def begin(cls, moves: Moves, random: Random, firsts: list[Point]) -> RealRun:
        run = cls(moves.netlist, moves, random, random.choice(firsts))
        run._note_excitation(frozenset())
        run._record(False, frozenset())
        return run

    # What may happen, and until when

    def events(self) -> list[Event]:
        found = [
            Event(since + self._delay(net).low, element=net, flips=frozenset({net}))
            for net, since in self.excited_since.items()
        ]
        for pins, flips in self.moves.input_changes():
            if not any(self._must_wait_for_quiet(pin) for pin in pins) or self.moves.is_quiet(self.point):
                earliest = max(self._earliest(pin) for pin in pins)
                found.append(Event(earliest, inputs=pins, flips=flips))
        found.extend(Event(since, unsure=net) for net, since in self.unsure_since.items())
        return found

    def latest(self) -> Time | None:
        """When something must have happened; None: never."""
        limits = [
            since + self._delay(net).high
            for net, since in self.excited_since.items()
            if not self.moves.is_undriven_pair(net, self.point.instant)
        ]
        for pin in self.netlist.inputs:
            if pin.input_class is InputClass.FREE_RUNNING:
                limits.append(self.input_changed.get(pin.name, Fraction(0)) + self._stretch(pin).high)
        for flip_flop in self.netlist.flip_flops:
            if flip_flop.output in self.unsure_since:
                longest = 0 if flip_flop.timing is None else flip_flop.timing.settling
                limits.append(self.unsure_since[flip_flop.output] + longest)
        return min(limits, default=None)

    def _delay(self, net: NetId) -> Range:
        takes = self.moves.drivers[net].takes
        assert takes is not None
        return takes.fall if self.point.instant[net] else takes.rise

    def _stretch(self, pin: Input) -> Range:
        found = pin.high if self.point.instant[pin.nets[0]] else pin.low
        assert found is not None
        return found

    def _must_wait_for_quiet(self, pin: Input) -> bool:
        return pin.input_class is InputClass.BY_HAND and pin.apart is None

    def _earliest(self, pin: Input) -> Time:
        if pin.input_class is InputClass.FREE_RUNNING:
            changed = self.input_changed.get(pin.name)
            return Fraction(0) if changed is None else changed + self._stretch(pin).low
        if pin.input_class is InputClass.BY_HAND and pin.apart is not None:
            return self.hand_changed + pin.apart
        return Fraction(0)

    # One event

    def go_on(self) -> bool:
        """One event further; False when nothing will ever happen again."""
        latest = self.latest()
        events = [event for event in self.events() if latest is None or event.earliest <= latest]
        if not events:
            assert latest is None, f"{self.netlist.name}: nothing can happen before {latest}"
            return False
        event = self.random.choice(events)
        at = self._time(event, latest, events)
        self._let_time_pass(at)
        if event.unsure is not None:
            self._resolve(event.unsure)
            return True
        flips = event.flips
        if event.element is not None and self.random.random() < 0.3:
            others = [e for e in events if e.element not in (None, event.element) and e.earliest <= at]
            flips = flips.union(*(other.flips for other in others if self.random.random() < 0.6))
        self._move(flips, event.inputs)
        return True

    def _time(self, event: Event, latest: Time | None, events: list[Event]) -> Time:
        first = max(event.earliest, self.now)
        last = first + self.random.choice((1, 2, 5, 12)) if latest is None else latest
        a_little = Fraction(1, self.random.choice((2, 3, 5, 7, 16, 97)))
        nearby = [e.earliest + shift for e in events for shift in (-a_little, Fraction(0), a_little)]
        fitting = [at for at in nearby if first <= at <= last]
        how = self.random.random()
        if how < 0.3:
            return first
        if how < 0.5 and latest is not None:
            return last
        if how < 0.65 and fitting:
            return self.random.choice(fitting)
        if how < 0.75:
            return min(first + a_little, last)
        if how < 0.85:
            return max(last - a_little, first)
        return first + (last - first) * Fraction(self.random.randrange(0, 13), 12)

    def _let_time_pass(self, at: Time) -> None:
        if at > self.now:
            self.now = at
            self._record(False, frozenset())

    def _resolve(self, output: NetId) -> None:
        place = self.moves.place_of[output]
        held = list(self.point.held)
        held[place] = self.random.random() < 0.5
        del self.unsure_since[output]
        self.point = Point(self.point.instant, tuple(held))
        self._note_excitation(frozenset())

    def _move(self, flips: Flips, inputs: tuple[Input, ...]) -> None:
        old = self.point.instant
        points = sorted(self.moves.after(self.point, flips), key=lambda point: point.held)
        self.point = self.random.choice(points)
        breaches = self._check_storage(old, flips)
        for pin in inputs:
            self.input_changed[pin.name] = self.now
            if pin.input_class is InputClass.BY_HAND:
                self.hand_changed = self.now
        for net in flips:
            self.net_changed[net] = self.now
        self._note_excitation(flips)
        self._record(bool(inputs), breaches)

    def _note_excitation(self, fired: Flips) -> None:
        excited = self.moves.excited(self.point)
        self.excited_since = {
            net: self.now if net in fired else self.excited_since.get(net, self.now) for net in sorted(excited)
        }

    def _record(self, inputs_moved: bool, breaches: frozenset[tuple[TimingRule, NetId]]) -> None:
        self.moments.append(Moment(self.now, self.point.instant, inputs_moved, breaches))

    # Set-up, hold and width, as the data sheet draws them

    def _check_storage(self, old: Instant, flips: Flips) -> frozenset[tuple[TimingRule, NetId]]:
        found: set[tuple[TimingRule, NetId]] = set()
        for flip_flop in self.netlist.flip_flops:
            found |= self._check_flip_flop(flip_flop, old, flips)
        for latch in self.netlist.latches:
            found |= self._check_latch(latch, old, flips)
        return frozenset(found)

    def _check_flip_flop(self, part: FlipFlop, old: Instant, flips: Flips) -> set[tuple[TimingRule, NetId]]:
        new, output = self.point.instant, part.output
        overruled = is_active(part.clear, new) or is_active(part.preset, new)
        has_edge = self.moves.has_edge(part, old, new) and not overruled
        found = self._check_data(part, part.data, has_edge, flips)
        timing = part.timing
        if timing is not None and timing.clock_width is not None and part.clock in flips:
            found |= {(TimingRule.CLOCK_WIDTH, output)} if self._stood(part.clock) < timing.clock_width else set()
        for level in (part.clear, part.preset):
            if level is not None and level.net in flips and is_active(level, old):
                width = None if timing is None else timing.clear_width
                if width is not None and self._stood(level.net) < width:
                    found.add((TimingRule.CLEAR_WIDTH, output))
        if overruled or has_edge:
            self.unsure_since.pop(output, None)
        if not overruled and {rule for rule, _ in found} & {TimingRule.SET_UP, TimingRule.HOLD}:
            self.unsure_since[output] = self.now
        return found

    def _check_latch(self, part: Latch, old: Instant, flips: Flips) -> set[tuple[TimingRule, NetId]]:
        closes = is_active(part.enable, old) and part.enable.net in flips
        found = self._check_data(part, (part.data,), closes, flips)
        width = None if part.timing is None else part.timing.clock_width
        if closes and width is not None and self._stood(part.enable.net) < width:
            found.add((TimingRule.CLOCK_WIDTH, part.output))
        return found

    def _check_data(
        self, part: FlipFlop | Latch, pins: tuple[NetId, ...], samples: bool, flips: Flips
    ) -> set[tuple[TimingRule, NetId]]:
        found: set[tuple[TimingRule, NetId]] = set()
        if samples:
            self.sampled_at[part.output] = self.now
        if part.timing is None:
            return found
        since_edge = self.now - self.sampled_at.get(part.output, LONG_AGO)
        for pin in pins:
            steady = Fraction(0) if pin in flips else self._stood(pin)
            if samples and part.timing.set_up is not None and steady < part.timing.set_up:
                found.add((TimingRule.SET_UP, part.output))
            if pin in flips and part.timing.hold is not None and since_edge < part.timing.hold:
                found.add((TimingRule.HOLD, part.output))
        return found

    def _stood(self, net: NetId) -> Time:
        return self.now - self.net_changed.get(net, LONG_AGO)


def random_run(moves: Moves, random: Random, firsts: list[Point], most_events: int) -> list[Moment]:
    """Some run of the circuit from one of its first instants."""
    run = RealRun.begin(moves, random, firsts)
    for _ in range(most_events):
        if not run.go_on():
            break
    return run.moments
