"""The plain-Python simulator of the delay views: every first state, every move from a state, and whether a run is one.

A direct reading of grammar/README.md, sections 30 to 33. It is the second opinion on the systems that the engines see
and shares nothing with them beyond the netlist. It judges no claim.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from functools import partial
from itertools import product

from verifier.circuit.netlist import FlipFlop, Input, InputClass, NetId, Netlist
from verifier.claims.run import Instant, Run
from verifier.errors import InternalDisagreement
from verifier.evidence.budget import Budget
from verifier.evidence.delay_start import DelayStart
from verifier.evidence.delay_timers import TimerRules, Timers
from verifier.evidence.delayed_elements import (
    EITHER,
    forced_value,
    is_excited,
    may_stay_excited,
    moving_elements,
    sampled_values,
    samples,
)

STATES_OF_ONE_CALL = 1_000_000


@dataclass(frozen=True)
class DelayState:
    """An instant and all that is hidden in it."""

    values: Instant
    holding: frozenset[NetId]
    """Outputs of the flip-flops that hold a 1."""
    timers: Timers | None = None
    """None in the any-delay view."""


class MoveKind(Enum):
    INPUT_CHANGE = "input change"
    FIRINGS = "firings"
    TICK = "tick"


@dataclass(frozen=True)
class Move:
    kind: MoveKind
    nets: frozenset[NetId] = frozenset()
    """The nets that turn over; none in a tick."""


@dataclass(frozen=True)
class _Held:
    """What a flip-flop holds after a move."""

    value: bool
    unsure: int | None
    """How long it may stay unsure, in ns."""


class DelaySimulator:
    """Every first state and every move of one netlist; `limit` bounds what one call looks at.

    What an unsure flip-flop holds becomes sure without a move of its own: wherever a state is given, so are the states
    in which that has just happened.
    """

    def __init__(self, netlist: Netlist, timed: bool, *, limit: int = STATES_OF_ONE_CALL) -> None:
        """Raises ValueError when the view is timed and something has no delay or no times."""
        self.netlist = netlist
        self.timed = timed
        self.limit = limit
        self._elements = moving_elements(netlist)
        self._start = DelayStart(netlist)
        self._rules = TimerRules(netlist) if timed else None

    # The first instant (31)

    def first_states(
        self, inputs: Mapping[NetId, bool], wanted: Mapping[NetId, bool] | None = None
    ) -> Iterator[DelayState]:
        """Every possible first state with these inputs, 0 before 1 where either is possible.

        `wanted` leaves out those in which some other net has not the value it gives.

        Raises:
            ValueError: an input has no value.
            SimulationLimit: too much to look at.
        """
        for instant in self._start.first_instants(inputs, wanted or {}, Budget(self.limit)):
            yield self._state_at_start(instant)

    def first_state(self, instant: Instant) -> DelayState | None:
        """The first state at this instant; None when the circuit cannot start like this."""
        return self._state_at_start(instant) if self._start.is_first(instant) else None

    def _state_at_start(self, instant: Instant) -> DelayState:
        holding = frozenset(flip_flop.output for flip_flop in self.netlist.flip_flops if instant[flip_flop.output])
        timers = None if self._rules is None else self._rules.at_start(instant, self._excited(instant, holding))
        return DelayState(instant, holding, timers)

    # What may happen (30)

    def successors(self, state: DelayState) -> Iterator[tuple[Move, DelayState]]:
        """Every move from the state, in every way it can go, and the tick where time may pass."""
        for kind, nets in self._moves(state):
            for following in self._moved(state, nets):
                yield Move(kind, nets), following
        for following in self._ticked(state):
            yield Move(MoveKind.TICK), following

    def firings(self, state: DelayState) -> Iterator[DelayState]:
        """The states after one set of firings."""
        for nets in _subsets(self._ready(state)):
            yield from self._moved(state, nets)

    def input_changes(self, state: DelayState) -> Iterator[tuple[Move, tuple[DelayState, ...]]]:
        """Every permitted input change and the states it may lead to."""
        for nets in self._input_sets(state):
            yield Move(MoveKind.INPUT_CHANGE, nets), tuple(self._moved(state, nets))

    def is_quiet(self, state: DelayState) -> bool:
        """No element is excited, save set-reset latches with both pins active."""
        return not self.obliged(state)

    def obliged(self, state: DelayState) -> frozenset[NetId]:
        """The outputs of the elements that are excited and cannot stay so for ever."""
        return frozenset(
            element.output
            for element in self._elements
            if is_excited(element, state.values, state.holding) and not may_stay_excited(element, state.values)
        )

    def _excited(self, values: Instant, holding: frozenset[NetId]) -> list[bool]:
        return [is_excited(element, values, holding) for element in self._elements]

    def _ready(self, state: DelayState) -> list[NetId]:
        """The outputs of the elements that may fire."""
        if self._rules is None or state.timers is None:
            excited = self._excited(state.values, state.holding)
            return [element.output for element, ready in zip(self._elements, excited, strict=True) if ready]
        timers, rules = state.timers, self._rules
        return [e.output for i, e in enumerate(self._elements) if rules.is_ready(timers, i, state.values)]

    def _moves(self, state: DelayState) -> Iterator[tuple[MoveKind, frozenset[NetId]]]:
        yield from ((MoveKind.INPUT_CHANGE, nets) for nets in self._input_sets(state))
        yield from ((MoveKind.FIRINGS, nets) for nets in _subsets(self._ready(state)))

    # Input changes (12.1, 32, 33)

    def _input_sets(self, state: DelayState) -> Iterator[frozenset[NetId]]:
        """Every set of input bits that may turn over in one move."""
        changeable = [(pin, self._changeable_bits(state, pin)) for pin in self.netlist.inputs]
        if not self.netlist.inputs_may_change_together:
            for _, bits in changeable:
                yield from _subsets(bits)
            return
        yield from _subsets([n for pin, bits in changeable if pin.input_class is not InputClass.BY_HAND for n in bits])
        for pin, bits in changeable:
            if pin.input_class is InputClass.BY_HAND:
                yield from _subsets(bits)

    def _changeable_bits(self, state: DelayState, pin: Input) -> list[NetId]:
        """The bits of the input that may turn over now, if no other input is in the way."""
        if pin.input_class is InputClass.STRAPPED:
            return []
        if self._rules is None or state.timers is None:
            return list(pin.nets) if self.is_quiet(state) else []
        timers, rules = state.timers, self._rules
        if pin.input_class is InputClass.FREE_RUNNING:
            return [net for net in pin.nets if rules.may_change(timers, net)]
        if pin.input_class is InputClass.BY_HAND:
            may_change = self.is_quiet(state) if pin.apart is None else timers.since_by_hand >= pin.apart
            return list(pin.nets) if may_change else []
        return list(pin.nets)

    def _permits(self, state: DelayState, changed: Collection[NetId]) -> bool:
        """These input bits may turn over in one move."""
        pins = [pin for pin in self.netlist.inputs if not set(pin.nets).isdisjoint(changed)]
        is_alone = not self.netlist.inputs_may_change_together or any(
            pin.input_class is InputClass.BY_HAND for pin in pins
        )
        if is_alone and len(pins) > 1:
            return False
        return set(changed) <= {net for pin in pins for net in self._changeable_bits(state, pin)}

    # One move

    def _moved(self, state: DelayState, nets: Collection[NetId]) -> Iterator[DelayState]:
        """The states after these nets have turned over: one for everything the flip-flops may hold then."""
        values = tuple(value != (net in nets) for net, value in enumerate(state.values))
        flip_flops = self.netlist.flip_flops
        for held in product(*(self._held_after(state, i, values) for i in range(len(flip_flops)))):
            holding = _holding(flip_flops, [after.value for after in held])
            if self._rules is None or state.timers is None:
                yield DelayState(values, holding)
                continue
            unsure = tuple(after.unsure for after in held)
            excited = self._excited(values, holding)
            timers = self._rules.after_move(state.timers, state.values, values, excited, unsure)
            yield from self._settlings(DelayState(values, holding, timers))

    def _held_after(self, state: DelayState, index: int, values: Instant) -> Sequence[_Held]:
        flip_flop = self.netlist.flip_flops[index]
        own = flip_flop.output in state.holding
        forced = forced_value(flip_flop, values)
        if forced is not None:
            return [_Held(forced, None)]
        is_sampling = samples(flip_flop, state.values, values)
        taken = sorted(sampled_values(flip_flop, own, state.values, values)) if is_sampling else [own]
        if self._rules is None or state.timers is None:
            return [_Held(value, None) for value in taken]
        if not self._rules.becomes_unsure(state.timers, index, state.values, values):
            unsure = None if is_sampling else state.timers.unsure[index]
            return [_Held(value, unsure) for value in taken]
        # It may become sure at once: then its output sees nothing but the value that comes of it.
        staying = [_Held(value, self._rules.settling(index)) for value in taken]
        return [*staying, *(_Held(value, None) for value in EITHER)]

    def _settlings(self, state: DelayState) -> Iterator[DelayState]:
        """The state, and those in which some unsure flip-flops have become sure, of either value."""
        yield state
        if self._rules is None or state.timers is None or not self._has_doubts(state):
            return
        flip_flops, before = self.netlist.flip_flops, state.timers.unsure
        ways = [
            [_Held(f.output in state.holding, left), *(_Held(v, None) for v in (EITHER if left is not None else ()))]
            for f, left in zip(flip_flops, before, strict=True)
        ]
        for held in product(*ways):
            unsure = tuple(after.unsure for after in held)
            if unsure != before:
                holding = _holding(flip_flops, [after.value for after in held])
                excited = self._excited(state.values, holding)
                timers = self._rules.after_settling(state.timers, excited, unsure)
                yield replace(state, holding=holding, timers=timers)

    def _has_doubts(self, state: DelayState) -> bool:
        """Some flip-flop is unsure, so that a move that shows nowhere may make it sure."""
        return state.timers is not None and any(left is not None for left in state.timers.unsure)

    def _ticked(self, state: DelayState) -> Iterator[DelayState]:
        if self._rules is None or state.timers is None or not self._rules.passes(state.timers, state.values):
            return
        timers = self._rules.after_tick(state.timers, state.values)
        yield from self._settlings(replace(state, timers=timers))

    # A run

    def follow(self, run: Run) -> frozenset[DelayState]:
        """Every state in which the circuit may be at the last instant of the run.

        Between two instants that differ, as many ticks pass as there are ns between them, and then the move comes. Two
        instants that do not differ are apart by ticks alone, or by a flip-flop that becomes sure. In the any-delay
        view, times are not looked at.

        Raises:
            InternalDisagreement: these instants cannot follow one another, or the first cannot be one.
            SimulationLimit: there is too much to look at.
            ValueError: the run is endless or has no times.
        """
        if run.loop_from is not None or (self.timed and run.times is None):
            raise ValueError("an endless run or one without times is not followed")
        times = run.times if self.timed and run.times is not None else (0,) * len(run)
        budget = Budget(self.limit)
        first = self.first_state(run.instants[0]) if run.instants else None
        if first is None or times[0] != 0:
            raise self._disagreement(0, "the circuit cannot start like this")
        states = {first}
        for i in range(1, len(run)):
            states = self._after_ticks(states, times[i] - times[i - 1], budget)
            if not states:
                raise self._disagreement(i, f"time may not pass until {times[i]} ns without a move")
            if run.instants[i] != run.instants[i - 1]:
                states = _all_after(states, partial(self._reaching, run.instants[i]), budget)
            elif times[i] == times[i - 1]:
                if not any(map(self._has_doubts, states)):
                    raise self._disagreement(i, "nothing happens")
                states = _all_after(states, self._settlings, budget)
            if not states:
                raise self._disagreement(i, "no move leads here")
        return frozenset(states)

    def _after_ticks(self, states: set[DelayState], ticks: int, budget: Budget) -> set[DelayState]:
        for _ in range(ticks):
            following = _all_after(states, self._ticked, budget)
            if following == states:
                break  # Nothing is under way: more ticks change nothing.
            states = following
        return states

    def _reaching(self, values: Instant, state: DelayState) -> Iterator[DelayState]:
        """The states with these values after one move."""
        changed = {net for net, (old, new) in enumerate(zip(state.values, values, strict=True)) if old != new}
        inputs = set(self.netlist.input_nets)
        if changed <= inputs:
            may_happen = self._permits(state, changed)
        else:
            may_happen = changed.isdisjoint(inputs) and changed <= set(self._ready(state))
        if may_happen:
            yield from self._moved(state, changed)

    def _disagreement(self, instant: int, what: str) -> InternalDisagreement:
        return InternalDisagreement(f"{self.netlist.name}, instant {instant} of the run: {what}")


def _holding(flip_flops: Sequence[FlipFlop], values: Sequence[bool]) -> frozenset[NetId]:
    return frozenset(flip_flop.output for flip_flop, value in zip(flip_flops, values, strict=True) if value)


def _all_after(
    states: Iterable[DelayState], step: Callable[[DelayState], Iterator[DelayState]], budget: Budget
) -> set[DelayState]:
    found: set[DelayState] = set()
    for state in states:
        budget.spend()
        for following in step(state):
            budget.spend()
            found.add(following)
    return found


def _subsets(nets: Sequence[NetId]) -> Iterator[frozenset[NetId]]:
    """Every non-empty set of these nets."""
    for code in range(1, 1 << len(nets)):
        yield frozenset(net for bit, net in enumerate(nets) if code >> bit & 1)
