"""Every step of the timed view in whole ns, and every move of the any-delay view (grammar/README.md, 32 and 33).

By plain enumeration: a step goes from a state to all its successors, one tick or one move further.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from oracle.targets import is_active

from oracle_delays.moves import Flips, Moves, Point, subsets
from verifier.circuit.netlist import FlipFlop, Input, InputClass, Latch, Level, NetId, Netlist, Range
from verifier.claims.formula import TimingRule
from verifier.claims.run import Instant

Breach = tuple[TimingRule, NetId]


class NoDelayError(Exception):
    """An element or a free-running input has no times."""


@dataclass(frozen=True)
class State:
    """A point with everything that time has left behind; the any-delay view has all of it empty."""

    point: Point
    ages: tuple[int | None, ...] = ()
    """Of each element's excitation; None: at its target."""
    phases: tuple[tuple[bool, int], ...] = ()
    """Of each free-running input: whether it has ever changed, and how long it has stood."""
    since_hand: int = 0
    since_change: tuple[int, ...] = ()
    """Of each watched net, up to the longest time that is asked about."""
    since_edge: tuple[int, ...] = ()
    """Of each storage part with figures: since it last sampled or closed."""
    unsure: tuple[int | None, ...] = ()
    """Of each flip-flop."""


@dataclass(frozen=True)
class Step:
    """What a claim may know of a step beside the instant it leads to."""

    elapsed: int
    inputs_moved: bool
    breaches: frozenset[Breach] = frozenset()


class AnyDelaySteps:
    """The step relation without time."""

    def __init__(self, netlist: Netlist) -> None:
        self.moves = Moves(netlist)

    def first(self) -> list[tuple[State, Step]]:
        return [(State(point), Step(0, False)) for point in self.moves.first()]

    def after(self, state: State) -> list[tuple[State, Step]]:
        point = state.point
        reached = [(flips, False) for flips in self.firings(point)]
        if self.moves.is_quiet(point):
            reached.extend((flips, True) for _, flips in self.moves.input_changes())
        return [
            (State(new), Step(1, inputs_moved))
            for flips, inputs_moved in reached
            for new in self.moves.after(point, flips)
        ]

    def firings(self, point: Point) -> list[Flips]:
        return [frozenset(chosen) for chosen in subsets(sorted(self.moves.excited(point)))]


class TimedSteps:
    """The step relation in whole ns."""

    def __init__(self, netlist: Netlist) -> None:
        self.netlist = netlist
        self.moves = Moves(netlist)
        self.free_running = [pin for pin in netlist.inputs if pin.input_class is InputClass.FREE_RUNNING]
        self.longest_apart = max((pin.apart or 0 for pin in netlist.inputs), default=0)
        parts: tuple[FlipFlop | Latch, ...] = (*netlist.flip_flops, *netlist.latches)
        self.watched_parts = [part for part in parts if part.timing is not None]
        self.longest_since = self._longest_since()
        self.watched_nets = sorted(self.longest_since)
        self._refuse()

    def _refuse(self) -> None:
        for net in self.moves.elements:
            if self.moves.drivers[net].takes is None:
                raise NoDelayError(self.netlist.nets[net].name)
        for pin in self.free_running:
            if pin.high is None or pin.low is None:
                raise NoDelayError(pin.name)

    def _longest_since(self) -> dict[NetId, int]:
        found: dict[NetId, int] = {}
        for part in self.watched_parts:
            timing = part.timing
            assert timing is not None
            for net, figure in (
                *((pin, timing.set_up and timing.set_up + 1) for pin in data_pins(part)),
                (clock_net(part), timing.clock_width),
                *((level.net, timing.clear_width) for level in asynchronous_levels(part)),
            ):
                if figure is not None:
                    found[net] = max(found.get(net, 0), figure)
        return found

    # Times

    def delay(self, net: NetId, point: Point) -> Range:
        """The delay of an excited element, the way it is going."""
        takes = self.moves.drivers[net].takes
        assert takes is not None
        return takes.fall if point.instant[net] else takes.rise

    def stretch(self, pin: Input, instant: Instant, has_changed: bool) -> Range:
        """How long a free-running input stands at the value it has."""
        found = pin.high if instant[pin.nets[0]] else pin.low
        assert found is not None
        return found if has_changed else Range(0, found.high)

    # Steps

    def first(self) -> list[tuple[State, Step]]:
        return [(self._first_state(point), Step(0, False)) for point in self.moves.first()]

    def _first_state(self, point: Point) -> State:
        excited = self.moves.excited(point)
        return State(
            point,
            ages=tuple(0 if net in excited else None for net in self.moves.elements),
            phases=tuple((False, 0) for _ in self.free_running),
            since_hand=self.longest_apart,
            since_change=tuple(self.longest_since[net] for net in self.watched_nets),
            since_edge=tuple(self._hold(part) for part in self.watched_parts),
            unsure=tuple(None for _ in self.netlist.flip_flops),
        )

    def _hold(self, part: FlipFlop | Latch) -> int:
        return part.timing.hold + 1 if part.timing is not None and part.timing.hold else 0

    def after(self, state: State) -> list[tuple[State, Step]]:
        moved = [
            (new, Step(0, inputs_moved, breaches))
            for flips, pins in self.possible_flips(state)
            for inputs_moved in (bool(pins),)
            for new, breaches in self._moved(state, flips, pins)
        ]
        resolved = [(new, Step(0, False)) for new in self._resolved(state)]
        if not self.may_tick(state):
            return moved + resolved
        return [*moved, *resolved, (self._ticked(state), Step(1, False))]

    def possible_flips(self, state: State) -> list[tuple[Flips, tuple[Input, ...]]]:
        point = state.point
        ready = [
            net
            for net, age in zip(self.moves.elements, state.ages, strict=True)
            if age is not None and age >= self.delay(net, point).low
        ]
        found: list[tuple[Flips, tuple[Input, ...]]] = [(frozenset(chosen), ()) for chosen in subsets(ready)]
        for pins, flips in self.moves.input_changes():
            if all(self._may_change(pin, state) for pin in pins):
                found.append((flips, pins))
        return found

    def _may_change(self, pin: Input, state: State) -> bool:
        if pin.input_class is InputClass.FREE_RUNNING:
            has_changed, stood = state.phases[self.free_running.index(pin)]
            return stood >= self.stretch(pin, state.point.instant, has_changed).low
        if pin.input_class is InputClass.BY_HAND:
            return self.moves.is_quiet(state.point) if pin.apart is None else state.since_hand >= pin.apart
        return True

    def may_tick(self, state: State) -> bool:
        point = state.point
        for net, age in zip(self.moves.elements, state.ages, strict=True):
            obliged = age is not None and not self.moves.is_undriven_pair(net, point.instant)
            if obliged and age is not None and age >= self.delay(net, point).high:
                return False
        for pin, (has_changed, stood) in zip(self.free_running, state.phases, strict=True):
            if stood >= self.stretch(pin, point.instant, has_changed).high:
                return False
        return not any(
            age is not None and age >= settling(flip_flop)
            for flip_flop, age in zip(self.netlist.flip_flops, state.unsure, strict=True)
        )

    def _ticked(self, state: State) -> State:
        return State(
            state.point,
            ages=tuple(
                None if age is None else min(age + 1, self.delay(net, state.point).high)
                for net, age in zip(self.moves.elements, state.ages, strict=True)
            ),
            phases=tuple((has_changed, stood + 1) for has_changed, stood in state.phases),
            since_hand=min(state.since_hand + 1, self.longest_apart),
            since_change=tuple(
                min(since + 1, self.longest_since[net])
                for net, since in zip(self.watched_nets, state.since_change, strict=True)
            ),
            since_edge=tuple(
                min(since + 1, self._hold(part))
                for part, since in zip(self.watched_parts, state.since_edge, strict=True)
            ),
            unsure=tuple(None if age is None else age + 1 for age in state.unsure),
        )

    def _moved(self, state: State, flips: Flips, pins: tuple[Input, ...]) -> list[tuple[State, frozenset[Breach]]]:
        old = state.point.instant
        new = tuple(value != (net in flips) for net, value in enumerate(old))
        breaches = frozenset(self._breaches(state, flips, new))
        near = frozenset(self._breaches(state, flips, new, margin=1))
        since_hand = 0 if any(pin.input_class is InputClass.BY_HAND for pin in pins) else state.since_hand
        waited = replace(
            state,
            phases=tuple(
                (True, 0) if pin in pins else phase for pin, phase in zip(self.free_running, state.phases, strict=True)
            ),
            since_hand=since_hand,
            since_change=tuple(
                0 if net in flips else since for net, since in zip(self.watched_nets, state.since_change, strict=True)
            ),
            since_edge=tuple(
                0 if ends_sampling(self.moves, part, old, new) else since
                for part, since in zip(self.watched_parts, state.since_edge, strict=True)
            ),
            unsure=tuple(
                self._unsure_after(flip_flop, age, old, new, near)
                for flip_flop, age in zip(self.netlist.flip_flops, state.unsure, strict=True)
            ),
        )
        return [(self._at(waited, point, flips), breaches) for point in self.moves.after(state.point, flips)]

    def _at(self, state: State, point: Point, flips: Flips = frozenset()) -> State:
        """The state once the circuit stands there: what is excited goes on ageing, unless it has just fired."""
        excited = self.moves.excited(point)
        ages = tuple(
            None if net not in excited else 0 if age is None or net in flips else age
            for net, age in zip(self.moves.elements, state.ages, strict=True)
        )
        return replace(state, point=point, ages=ages)

    def _resolved(self, state: State) -> list[State]:
        """What an unsure flip-flop holds becomes either value."""
        found = []
        for place, age in enumerate(state.unsure):
            for value in (False, True) if age is not None else ():
                held = (*state.point.held[:place], value, *state.point.held[place + 1 :])
                unsure = (*state.unsure[:place], None, *state.unsure[place + 1 :])
                found.append(self._at(replace(state, unsure=unsure), Point(state.point.instant, held)))
        return found

    # Set-up, hold and width

    def _breaches(self, state: State, flips: Flips, new: Instant, margin: int = 0) -> list[Breach]:
        """`margin` ns wider for set-up and hold: what is not sure (33)."""
        old = state.point.instant
        since = dict(zip(self.watched_nets, state.since_change, strict=True))
        found: list[Breach] = []
        for part, edge_age in zip(self.watched_parts, state.since_edge, strict=True):
            timing, output = part.timing, part.output
            assert timing is not None
            samples = ends_sampling(self.moves, part, old, new)
            for pin in data_pins(part):
                steady = 0 if pin in flips else since.get(pin, 0)
                if samples and timing.set_up and steady < timing.set_up + margin:
                    found.append((TimingRule.SET_UP, output))
                after_edge = 0 if samples else edge_age
                if pin in flips and timing.hold and after_edge < timing.hold + margin:
                    found.append((TimingRule.HOLD, output))
            if timing.clock_width is not None and ends_clock_pulse(part, old, new):
                narrow = since[clock_net(part)] < timing.clock_width
                found.extend([(TimingRule.CLOCK_WIDTH, output)] if narrow else [])
            for level in asynchronous_levels(part):
                ends = is_active(level, old) and not is_active(level, new)
                if timing.clear_width is not None and ends and since[level.net] < timing.clear_width:
                    found.append((TimingRule.CLEAR_WIDTH, output))
        return found

    def _unsure_after(
        self, flip_flop: FlipFlop, age: int | None, old: Instant, new: Instant, breaches: frozenset[Breach]
    ) -> int | None:
        if is_active(flip_flop.preset, new) or is_active(flip_flop.clear, new):
            return None
        rules = {rule for rule, output in breaches if output == flip_flop.output}
        if rules & {TimingRule.SET_UP, TimingRule.HOLD}:
            return 0
        return None if self.moves.has_edge(flip_flop, old, new) else age


def data_pins(part: FlipFlop | Latch) -> tuple[NetId, ...]:
    return part.data if isinstance(part, FlipFlop) else (part.data,)


def clock_net(part: FlipFlop | Latch) -> NetId:
    return part.clock if isinstance(part, FlipFlop) else part.enable.net


def asynchronous_levels(part: FlipFlop | Latch) -> list[Level]:
    if isinstance(part, Latch):
        return []
    return [level for level in (part.clear, part.preset) if level is not None]


def settling(flip_flop: FlipFlop) -> int:
    return 0 if flip_flop.timing is None else flip_flop.timing.settling


def ends_sampling(moves: Moves, part: FlipFlop | Latch, old: Instant, new: Instant) -> bool:
    """A clock edge that samples; of a latch, its enable becomes inactive."""
    if isinstance(part, Latch):
        return is_active(part.enable, old) and not is_active(part.enable, new)
    held = is_active(part.clear, new) or is_active(part.preset, new)
    return moves.has_edge(part, old, new) and not held


def ends_clock_pulse(part: FlipFlop | Latch, old: Instant, new: Instant) -> bool:
    """A high or a low pulse of a clock, an active one of an enable."""
    if isinstance(part, Latch):
        return is_active(part.enable, old) and not is_active(part.enable, new)
    return old[part.clock] != new[part.clock]
