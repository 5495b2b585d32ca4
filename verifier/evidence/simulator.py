"""The plain-Python simulator: every way a circuit can start, and every way a step can go, in the settled view.

A direct reading of grammar/README.md, section 12. It is the second opinion on the transition systems that the engines
see and shares nothing with them beyond the netlist. It explores explicitly and gives up, loudly, when there is too
much to look at. It judges no claim.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from verifier.circuit.netlist import Driver, FlipFlop, Gate, InputClass, Latch, NetId, Netlist, SetReset
from verifier.claims.run import Instant, StepEvents
from verifier.evidence.branching import Happened, Way, settlings
from verifier.evidence.budget import Budget, SimulationLimit
from verifier.evidence.race import LoopState, Race, RaceTable, stable_states
from verifier.evidence.rounds import EITHER, RoundEnd, RoundSearch, RoundStart, opened_latches
from verifier.evidence.sampling import Carrying, History, Sampling, forced_flip_flops
from verifier.evidence.settling_order import Part, settling_order
from verifier.evidence.three_valued import (
    Ternary,
    asynchronous_target,
    gate_value,
    is_active,
    nets_that_may_glitch,
    set_reset_target,
    target,
)

__all__ = ["Outcome", "SimulationLimit", "Simulator"]

STATES_OF_ONE_STEP = 1_000_000


@dataclass(frozen=True)
class Outcome:
    """One way a step can go."""

    instant: Instant
    events: StepEvents

    @property
    def sort_key(self) -> tuple[Instant, bool, bool, list[NetId]]:
        return self.instant, self.events.raced, self.events.oscillated, sorted(self.events.may_glitch)


@dataclass(frozen=True, kw_only=True)
class _Path:
    """A step as far as round `number`: paths that agree in all this go on alike."""

    number: int
    values: Instant
    """`v[number]`; with number 0 the instant before the step."""
    history: History
    bases: tuple[tuple[NetId, tuple[bool, ...]], ...]
    opened: frozenset[NetId]
    """Outputs of the latches that opened in the last round."""
    happened: Happened


class Simulator:
    """Every possible first instant and step of one netlist. `limit` bounds what one call looks at."""

    def __init__(self, netlist: Netlist, *, limit: int = STATES_OF_ONE_STEP) -> None:
        self.netlist = netlist
        self._limit = limit
        self._order = settling_order(netlist)
        self._elements = [element for part in self._order.parts for element in part.elements]
        self._races = RaceTable()
        storage = (*netlist.flip_flops, *netlist.latches, *netlist.set_resets)
        self._most_rounds = 2 * len(storage) + 2

    # The first instant (12.4)

    def first_instants(
        self, inputs: Mapping[NetId, bool], wanted: Mapping[NetId, bool] | None = None
    ) -> Iterator[tuple[Instant, StepEvents]]:
        """Every possible first instant with these inputs, one at a time, 0 before 1 where either is possible.

        `wanted` leaves out those in which some other net has not the value it gives.

        Raises:
            ValueError: an input has no value.
            SimulationLimit: too much to look at before the next one.
        """
        missing = [self.netlist.nets[net].name for net in self.netlist.input_nets if net not in inputs]
        if missing:
            raise ValueError(f"no value for the inputs {', '.join(missing)}")
        search = _FirstInstants(self.netlist, self._order.parts, wanted or {}, Budget(self._limit))
        for instant, happened in search.instants(inputs):
            yield instant, StepEvents(raced=happened.raced, oscillated=happened.oscillated)

    def is_first_instant(self, instant: Instant) -> StepEvents | None:
        """What happens at this first instant; None when it is not possible."""
        inputs = {net: instant[net] for net in self.netlist.input_nets}
        found = next(self.first_instants(inputs, dict(enumerate(instant))), None)
        return None if found is None else found[1]

    # One step (12.1 to 12.3)

    def permitted_change(self, old_instant: Instant, new_instant: Instant) -> bool:
        """The inputs change as their classes allow."""
        changed = [
            pin.input_class
            for pin in self.netlist.inputs
            if pin.input_class is not InputClass.FLOATING and any(old_instant[n] != new_instant[n] for n in pin.nets)
        ]
        if InputClass.STRAPPED in changed:
            return False
        if InputClass.BY_HAND in changed or not self.netlist.inputs_may_change_together:
            return len(changed) <= 1
        return True

    def step(self, instant: Instant, new_inputs: Mapping[NetId, bool]) -> tuple[Outcome, ...]:
        """Every way the step can go when these inputs take these values, in ascending order; others stay.

        Raises:
            ValueError: a net in `new_inputs` is no input.
            SimulationLimit: too much to look at.
        """
        inputs = {net: instant[net] for net in self.netlist.input_nets}
        if not new_inputs.keys() <= inputs.keys():
            raise ValueError(f"not inputs: {sorted(new_inputs.keys() - inputs.keys())}")
        return self._outcomes(instant, {**inputs, **new_inputs}, None)

    def outcomes_leading_to(self, instant: Instant, new_instant: Instant) -> tuple[Outcome, ...]:
        """The outcomes, with different events, of a step from one instant to the other; none: it is not possible."""
        inputs = {net: new_instant[net] for net in self.netlist.input_nets}
        return self._outcomes(instant, inputs, new_instant)

    def _outcomes(
        self, instant: Instant, inputs: Mapping[NetId, bool], expected: Instant | None
    ) -> tuple[Outcome, ...]:
        budget = Budget(self._limit)
        pending = [self._before_round_1(instant)]
        met = set(pending)
        found: set[Outcome] = set()
        while pending:
            path = pending.pop()
            for following, is_finished in self._continued(path, inputs, expected, budget):
                if following in met:
                    continue
                met.add(following)
                if not is_finished:
                    pending.append(following)
                elif expected in (None, following.values):
                    found.add(self._finished(following))
        return tuple(sorted(found, key=lambda outcome: outcome.sort_key))

    def _before_round_1(self, instant: Instant) -> _Path:
        forced = frozenset(forced_flip_flops(self.netlist, instant))
        history = History(first=instant, forced=forced)
        return _Path(number=0, values=instant, history=history, bases=(), opened=frozenset(), happened=Happened())

    def _continued(
        self, path: _Path, inputs: Mapping[NetId, bool], expected: Instant | None, budget: Budget
    ) -> Iterator[tuple[_Path, bool]]:
        """The path with one more round, in every way that round can go, and whether the step ends there."""
        number = path.number + 1
        start = RoundStart(number=number, before=path.values, inputs=inputs, bases=dict(path.bases), opened=path.opened)
        search = RoundSearch(self.netlist, self._order, start, races=self._races, budget=budget, expected=expected)
        for end in search.ends():
            history = path.history.followed_by(self.netlist, path.values, end)
            for carrying in self._carryings(path, start, end, budget):
                is_due = end.is_followed or carrying.is_felt
                is_finished = not is_due or number == self._most_rounds
                following = _Path(
                    number=number,
                    values=end.values,
                    history=history,
                    bases=() if is_finished else tuple(sorted(carrying.bases.items())),
                    opened=frozenset(opened_latches(self.netlist, path.values, end.values)),
                    happened=path.happened.joined_with(end.happened).joined_with(
                        Happened(raced=carrying.is_felt, oscillated=is_due and is_finished)
                    ),
                )
                yield following, is_finished

    def _carryings(self, path: _Path, start: RoundStart, end: RoundEnd, budget: Budget) -> Iterator[Carrying]:
        """The ways to go on after a round that ended like this."""
        if not end.is_followed and not end.restless:
            return iter([Carrying({}, is_felt=False)])
        sampling = Sampling(
            self.netlist, self._order, path.history, start=start, end=end, races=self._races, budget=budget
        )
        return sampling.carryings()

    def _finished(self, path: _Path) -> Outcome:
        may_glitch = nets_that_may_glitch(self._elements, path.history.first, path.values, path.history.moved)
        events = StepEvents(raced=path.happened.raced, oscillated=path.happened.oscillated, may_glitch=may_glitch)
        return Outcome(path.values, events)


class _FirstInstants:
    """The search for first instants."""

    def __init__(self, netlist: Netlist, parts: Sequence[Part], wanted: Mapping[NetId, bool], budget: Budget) -> None:
        self._parts = parts
        self._wanted = wanted
        self._budget = budget
        self._values = [False] * len(netlist.nets)

    def instants(self, inputs: Mapping[NetId, bool]) -> Iterator[tuple[Instant, Happened]]:
        if any(self._wanted.get(net, value) != value for net, value in inputs.items()):
            return
        for net, value in inputs.items():
            self._values[net] = value
        for happened in settlings(self._parts, self._settle, self._ways_of, self._budget):
            yield tuple(self._values), happened

    def _settle(self, part: Part, way: Way) -> None:
        for net, value in zip(part.nets, way.values, strict=True):
            self._values[net] = value

    def _ways_of(self, index: int) -> Iterator[Way]:
        part = self._parts[index]
        for way in self._ways_of_loop(part) if part.is_loop else self._ways_of_lone(part.elements[0]):
            if self._is_wanted(part, way.values):
                yield way

    def _is_wanted(self, part: Part, state: Sequence[Ternary]) -> bool:
        """False only when a known value is not the wanted one."""
        return all(value in (None, self._wanted.get(net, value)) for net, value in zip(part.nets, state, strict=True))

    def _ways_of_lone(self, element: Driver) -> Iterator[Way]:
        values = self._values
        if isinstance(element, Gate):
            yield Way(values=(gate_value(element.kind, [values[pin] for pin in element.inputs]) is True,))
        elif isinstance(element, SetReset) and values[element.set] and values[element.reset]:
            yield from (Way(values=(value,), raced=True) for value in EITHER)
        else:
            owns = EITHER if element.start is None else (element.start,)
            targets = {_storage_target(element, values, own) for own in owns}
            yield from (Way(values=(value,)) for value in sorted(targets))

    def _ways_of_loop(self, part: Part) -> Iterator[Way]:
        def admits(values: Sequence[Ternary]) -> bool:
            state = [values[net] for net in part.nets]
            return self._is_wanted(part, state) and not any(_breaks_start(member, values) for member in part.elements)

        surroundings = list(self._values)
        has_state = False
        for state in stable_states(part.elements, surroundings, admits, self._budget):
            has_state = True
            yield Way(values=state)
        anything = stable_states(part.elements, surroundings, lambda values: True, self._budget)
        if not has_state and next(anything, None) is None:
            yield from (Way(values=state, oscillated=True) for state in self._unrest(part, surroundings))

    def _unrest(self, part: Part, surroundings: Sequence[Ternary]) -> list[LoopState]:
        """For a loop without a stable state: the wanted states that it can visit for ever. Starts do not bind here."""
        candidates = self._candidates(part)
        race = Race(part.elements, surroundings, budget=self._budget)
        return sorted(race.lasting_states(candidates) & set(candidates))

    def _candidates(self, part: Part) -> list[LoopState]:
        states: list[LoopState] = [()]
        for net in part.nets:
            values = (self._wanted[net],) if net in self._wanted else EITHER
            states = [(*state, value) for state in states for value in values]
            self._budget.spend(len(states))
        return states


def _storage_target(element: FlipFlop | Latch | SetReset, values: Sequence[bool], own: bool) -> bool:
    """The value at the first instant outside loops; not for a set-reset latch with both pins active."""
    if isinstance(element, Latch):
        return values[element.data] if is_active(element.enable, values) else own
    if isinstance(element, SetReset):
        return set_reset_target(values[element.set], values[element.reset], own=own, both=None) is True
    return asynchronous_target(element, values, own) is True


def _breaks_start(member: Driver, values: Sequence[Ternary]) -> bool:
    """The member has a start, stands at the other value, and its pins do not decide that."""
    own = values[member.output]
    if member.start is None or own is None or own is member.start:
        return False
    if isinstance(member, Gate):
        return True
    high, low = (_target_from(member, values, value) for value in (True, False))
    return high is not None and low is not None and high is not low


def _target_from(member: Driver, values: Sequence[Ternary], own: bool) -> Ternary:
    """The member's target if it stood at `own`; a pin on its own output sees that too."""
    changed = list(values)
    changed[member.output] = own
    return target(member, changed, own)
