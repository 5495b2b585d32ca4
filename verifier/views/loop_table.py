"""What a small loop can do, worked out exactly: the general multiple winner model as a table.

J. A. Brzozowski, C.-J. H. Seger, "Asynchronous Circuits", Springer 1995: any non-empty set of excited members may
fire at once; the outcomes are the states of the reachable non-transient cycles (a stable state is one of them). The
rules for latches, set-reset latches and flip-flops in a loop are those of `grammar/README.md`, 12.2 and 12.4.

A state of the loop is an integer: bit `i` is member `i`, followed by one bit for every seen enable. A surrounding is
an integer too: one bit for every outside net, followed by one for every latch that was open before the round.

The table has `2 ** (members + outside nets + latches)` rows, and twice that for every outside net that may be restless
(12.7), so it is for small loops; see `is_small`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from verifier.circuit.loops import Component
from verifier.circuit.netlist import Driver, FlipFlop, Gate, GateKind, Latch, Level, NetId, SetReset
from verifier.logic.components import strongly_connected_components

State = int
Surrounding = int
Target = Callable[[State, Surrounding], bool]
Reader = Callable[[State, Surrounding], bool]

MOST_ROWS = 1 << 13
MOST_MOVES = 400_000
"""Bounds of what is worked out as a table: about a second of work at the most."""


@dataclass(frozen=True)
class Outcomes:
    """Everything that one race can lead to."""

    states: tuple[State, ...]
    """Sorted; never empty."""
    oscillates: bool
    """True when one of them is not stable."""
    rises: State = 0
    """Members that some move of the race takes from 0 to 1."""
    falls: State = 0


class LoopTable:
    """Outcomes of every race of one loop, and its possible power-up states.

    `held` are members whose value is given from outside instead (grammar/README.md, 12.3).
    """

    def __init__(self, component: Component, held: frozenset[NetId] = frozenset()) -> None:
        self.members: tuple[Driver, ...] = tuple(m for m in component.members if m.output not in held)
        inside = {member.output: index for index, member in enumerate(self.members)}
        self.outside: tuple[NetId, ...] = (*component.outside_nets, *(m for m in component.outputs if m in held))
        self.latches: tuple[Latch, ...] = tuple(m for m in self.members if isinstance(m, Latch))
        self.seen: tuple[Latch, ...] = tuple(m for m in self.latches if m.enable.net not in inside)
        self._inside: Mapping[NetId, int] = inside
        self._outside_index = {net: index for index, net in enumerate(self.outside)}

    @property
    def state_bits(self) -> int:
        return len(self.members) + len(self.seen)

    @property
    def surrounding_bits(self) -> int:
        return len(self.outside) + len(self.latches)

    def is_small(self, restless: int = 0) -> bool:
        """Whether the table is, when so many outside nets may be restless."""
        rows = 1 << (len(self.members) + self.surrounding_bits)
        small = rows <= MOST_ROWS and 3**self.state_bits << self.surrounding_bits <= MOST_MOVES
        return small and rows << restless <= 4 * MOST_ROWS

    def race_outcomes(self, restless: Sequence[NetId] = ()) -> dict[tuple[State, Surrounding], Outcomes]:
        """Outcomes for every state of the members and every surrounding; seen enables start as their latch was.

        Above the other bits of a surrounding stands one for each of the `restless` nets: 1 where it is restless.
        The order is that of the surroundings as numbers, and of the states as numbers for each of them.
        """
        targets = [*(self._target(member) for member in self.members), *(self._enable(latch) for latch in self.seen)]
        goals = [_target_states(targets, surrounding) for surrounding in range(1 << self.surrounding_bits)]
        calm = [_outcomes_from_every_state(of_surrounding) for of_surrounding in goals]
        places = [self._outside_index[net] for net in restless]
        result: dict[tuple[State, Surrounding], Outcomes] = {}
        for chosen in range(1 << len(places)):
            free = sum(1 << place for number, place in enumerate(places) if chosen >> number & 1)
            for surrounding, outcomes in enumerate(calm):
                if free:
                    around = [goals[surrounding & ~free | value] for value in _subsets(free)]
                    outcomes = _outcomes_with_restless_nets(around, outcomes)
                seen_at_first = self._seen_at_first(surrounding)
                row = surrounding | chosen << self.surrounding_bits
                for state in range(1 << len(self.members)):
                    result[state, row] = self._of_members(outcomes(state | seen_at_first))
        return result

    def power_up_states(self) -> dict[Surrounding, Outcomes]:
        """The states at the first instant, for every value of the outside nets."""
        targets = [self._target(member, at_power_up=True) for member in self.members]
        result: dict[Surrounding, Outcomes] = {}
        for surrounding in range(1 << len(self.outside)):
            goals = _target_states(targets, surrounding)
            stable = [state for state, goal in enumerate(goals) if state == goal]
            if stable:
                kept = tuple(state for state in stable if self._obeys_starts(state, surrounding))
                result[surrounding] = Outcomes(kept, oscillates=False)
            else:
                cycles = [cycle for cycle in _move_components(goals) if not _is_transient(cycle, goals)]
                result[surrounding] = Outcomes(tuple(sorted({s for c in cycles for s in c})), oscillates=True)
        return result

    def _seen_at_first(self, surrounding: Surrounding) -> State:
        state = 0
        for position, latch in enumerate(self.seen, start=len(self.members)):
            was_open = surrounding >> (len(self.outside) + self.latches.index(latch)) & 1
            state |= was_open << position
        return state

    def _of_members(self, outcomes: Outcomes) -> Outcomes:
        mask = (1 << len(self.members)) - 1
        states = tuple(sorted({state & mask for state in outcomes.states}))
        return Outcomes(states, outcomes.oscillates, outcomes.rises & mask, outcomes.falls & mask)

    def _obeys_starts(self, state: State, surrounding: Surrounding) -> bool:
        for index, member in enumerate(self.members):
            if member.start is None or bool(state >> index & 1) == member.start:
                continue
            if isinstance(member, Gate):
                return False
            target = self._target(member, at_power_up=True)
            if target(state | 1 << index, surrounding) != target(state & ~(1 << index), surrounding):
                return False
        return True

    def _reader(self, net: NetId) -> Reader:
        if net in self._inside:
            inside = self._inside[net]
            return lambda state, surrounding: bool(state >> inside & 1)
        outside = self._outside_index[net]
        return lambda state, surrounding: bool(surrounding >> outside & 1)

    def _level(self, level: Level | None) -> Reader:
        if level is None:
            return lambda state, surrounding: False
        read = self._reader(level.net)
        return read if level.active_high else lambda state, surrounding: not read(state, surrounding)

    def _enable(self, latch: Latch) -> Target:
        return self._level(latch.enable)

    def _target(self, member: Driver, at_power_up: bool = False) -> Target:
        match member:
            case Gate():
                return _gate_target(member.kind, [self._reader(net) for net in member.inputs])
            case Latch():
                return self._latch_target(member, at_power_up)
            case SetReset():
                return _set_reset_target(
                    self._reader(member.output), self._reader(member.set), self._reader(member.reset)
                )
            case FlipFlop():
                own, clear, preset = self._reader(member.output), self._level(member.clear), self._level(member.preset)
                return lambda s, e: preset(s, e) or (own(s, e) and not clear(s, e))

    def _latch_target(self, latch: Latch, at_power_up: bool) -> Target:
        own, data, enable = self._reader(latch.output), self._reader(latch.data), self._enable(latch)
        if at_power_up:
            return lambda s, e: data(s, e) if enable(s, e) else own(s, e)
        was_open = len(self.outside) + self.latches.index(latch)
        if latch in self.seen:
            seen = len(self.members) + self.seen.index(latch)
            return lambda s, e: data(s, e) if e >> was_open & 1 and s >> seen & 1 else own(s, e)
        return lambda s, e: data(s, e) if e >> was_open & 1 and enable(s, e) else own(s, e)


def gate_value(kind: GateKind, values: list[bool]) -> bool:
    """The function of a gate."""
    match kind:
        case GateKind.LOW:
            return False
        case GateKind.HIGH:
            return True
        case GateKind.BUFFER:
            return values[0]
        case GateKind.NOT:
            return not values[0]
        case GateKind.AND:
            return all(values)
        case GateKind.OR:
            return any(values)
        case GateKind.NAND:
            return not all(values)
        case GateKind.NOR:
            return not any(values)
        case GateKind.XOR:
            return sum(values) % 2 == 1
        case GateKind.XNOR:
            return sum(values) % 2 == 0
        case GateKind.MAJORITY:
            return 2 * sum(values) > len(values)
        case GateKind.SELECT:
            return values[1] if values[0] else values[2]


def _gate_target(kind: GateKind, readers: list[Reader]) -> Target:
    return lambda s, e: gate_value(kind, [read(s, e) for read in readers])


def _set_reset_target(own: Reader, set_pin: Reader, reset_pin: Reader) -> Target:
    def target(state: State, surrounding: Surrounding) -> bool:
        setting, resetting = set_pin(state, surrounding), reset_pin(state, surrounding)
        if setting and resetting:
            return not own(state, surrounding)
        return setting or (own(state, surrounding) and not resetting)

    return target


def _target_states(targets: list[Target], surrounding: Surrounding) -> list[State]:
    """For every state, the state in which every member has its target."""
    return [
        sum(target(state, surrounding) << position for position, target in enumerate(targets))
        for state in range(1 << len(targets))
    ]


def _subsets(positions: int) -> Iterator[int]:
    """Every set of these bits, the full one first, the empty one last."""
    chosen = positions
    while chosen:
        yield chosen
        chosen = (chosen - 1) & positions
    yield 0


def _successors(state: State, goal: State) -> Iterator[State]:
    """Every state that one move leads to: any non-empty set of excited members fires."""
    return (state ^ fired for fired in _subsets(state ^ goal) if fired)


def _move_components(goals: list[State]) -> Iterator[list[State]]:
    """Strongly connected components of the graph of moves, each after all that it can reach."""
    return strongly_connected_components(range(len(goals)), lambda state: _successors(state, goals[state]))


def _is_transient(component: list[State], goals: list[State]) -> bool:
    """True when no run of moves stays in the component for ever.

    A lone unstable state is left at once (no member is excited towards its own value). In a larger component a member
    that is excited with one target throughout would have to fire, and its firing leaves the component.
    """
    if len(component) == 1:
        return goals[component[0]] != component[0]
    always_excited = -1
    same_high = same_low = -1
    for state in component:
        always_excited &= state ^ goals[state]
        same_high &= goals[state]
        same_low &= ~goals[state]
    return always_excited & (same_high | same_low) != 0


OutcomesFrom = Callable[[State], Outcomes]


def _outcomes_from_every_state(goals: list[State]) -> OutcomesFrom:
    """Outcomes by state, nothing around the loop moving."""

    def lasting(component: list[State]) -> Outcomes:
        stays = not _is_transient(component, goals)
        return Outcomes(tuple(component) if stays else (), oscillates=stays and len(component) > 1)

    return _gathered([goals], lasting)


def _outcomes_with_restless_nets(around: list[list[State]], calm: OutcomesFrom) -> OutcomesFrom:
    """Outcomes by state when any move may see any of these surroundings, and in the end that of `calm`."""

    def afterwards(component: list[State]) -> Outcomes:
        found = [calm(state) for state in component]
        states = {state for outcomes in found for state in outcomes.states}
        return Outcomes(tuple(states), any(outcomes.oscillates for outcomes in found))

    return _gathered(around, afterwards)


def _gathered(around: list[list[State]], of_component: Callable[[list[State]], Outcomes]) -> OutcomesFrom:
    """For every state, what `of_component` says of all components that moves can reach from it, with these moves."""

    def successors(state: State) -> Iterator[State]:
        return (after for goals in around for after in _successors(state, goals[state]))

    component_of: dict[State, int] = {}
    reached: list[Outcomes] = []
    for number, component in enumerate(strongly_connected_components(range(len(around[0])), successors)):
        own = of_component(component)
        states, oscillates, rises, falls = set(own.states), own.oscillates, 0, 0
        for state in component:
            component_of[state] = number
            for goals in around:
                rises |= goals[state] & ~state
                falls |= state & ~goals[state]
        for lower in {component_of[after] for state in component for after in successors(state)} - {number}:
            below = reached[lower]
            states |= set(below.states)
            oscillates, rises, falls = oscillates or below.oscillates, rises | below.rises, falls | below.falls
        reached.append(Outcomes(tuple(sorted(states)), oscillates, rises, falls))
    return lambda state: reached[component_of[state]]
