"""The race of one loop (grammar/README.md, 12.2): every order of firing, spelled out state by state.

A state gives a value to every variable: the members of the loop and, for latches enabled from outside, the enable that
they see.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass
from itertools import product

import networkx as nx

from oracle.targets import (
    Part,
    Structure,
    asynchronous_target,
    gate_target,
    set_reset_targets,
)
from verifier.circuit.netlist import Gate, Latch, NetId, SetReset
from verifier.claims.run import Instant

Variable = NetId | tuple[str, NetId]
"""A member's net, or `("seen", latch)`: the enable that this latch sees."""
State = tuple[bool, ...]


@dataclass(frozen=True)
class LoopOutcome:
    values: tuple[bool, ...]
    """One value a member, in the order of `Part.members`."""
    stable: bool


@dataclass(frozen=True)
class Reached:
    """Where moves from the start can lead, restless nets from outside standing at either value before each of them."""

    states: frozenset[State]
    risen: frozenset[NetId]
    """Members that some of these moves take from 0 to 1."""
    fallen: frozenset[NetId]


@dataclass(frozen=True)
class Raced:
    """All that the race of one loop can come to."""

    start: Mapping[NetId, bool]
    reached: Reached
    outcomes: frozenset[LoopOutcome]

    def is_restless(self, net: NetId, before: Instant, after: Mapping[NetId, bool]) -> bool:
        """A member, when `after` is the outcome that was taken."""
        if self.start[net] != before[net] and self.start[net] != after[net]:
            return True
        return net in (self.reached.fallen if after[net] else self.reached.risen)


def moves(state: State, targets: State) -> set[State]:
    """Where one move can lead: every non-empty set of excited variables takes its targets."""
    choices = [{value, target} for value, target in zip(state, targets, strict=True)]
    return set(product(*choices)) - {state}


class Race:
    """One loop among fixed values from outside.

    `was_enabled` says of each latch of the loop whether its enable was active before; None when there is no before
    (the first instant: a latch is open when its enable is active, and no enable is seen late). `restless` are nets from
    outside.
    """

    def __init__(
        self,
        structure: Structure,
        loop: Part,
        outside: Mapping[NetId, bool],
        was_enabled: Mapping[NetId, bool] | None,
        held: NetId | None = None,
        restless: Set[NetId] = frozenset(),
    ) -> None:
        self.structure = structure
        self.loop = loop
        self.outside = outside
        self.was_enabled = was_enabled
        self.held = held
        self.restless = sorted(restless)
        self.variables: tuple[Variable, ...] = (*loop.members, *self._late_enables())

    def _late_enables(self) -> Iterable[Variable]:
        if self.was_enabled is None:
            return
        for net in self.loop.members:
            element = self.structure.drivers[net]
            if isinstance(element, Latch) and element.enable.net not in self.loop.members:
                yield ("seen", net)

    def start(self, members: Mapping[NetId, bool], enables_before: Mapping[NetId, bool]) -> State:
        """`enables_before` gives the old value of the enable net of each latch."""
        return tuple(
            enables_before[variable[1]] if isinstance(variable, tuple) else members[variable]
            for variable in self.variables
        )

    def all_states(self) -> Iterable[State]:
        return product((False, True), repeat=len(self.variables))

    def targets(self, state: State, outside: Mapping[NetId, bool] | None = None) -> State:
        present = dict(zip(self.variables, state, strict=True))
        around = self.outside if outside is None else outside
        return tuple(self.target(variable, present, around) for variable in self.variables)

    def target(self, variable: Variable, present: Mapping[Variable, bool], outside: Mapping[NetId, bool]) -> bool:
        own = present[variable]
        if variable == self.held:
            return own
        if isinstance(variable, tuple):
            latch = self.structure.drivers[variable[1]]
            assert isinstance(latch, Latch)
            return outside[latch.enable.net]
        values: dict[NetId, bool] = {**outside, **{net: present[net] for net in self.loop.members}}
        element = self.structure.drivers[variable]
        if isinstance(element, Gate):
            return gate_target(element, values)
        if isinstance(element, Latch):
            return values[element.data] if self._is_open(element, present, values) else own
        if isinstance(element, SetReset):
            wanted = set_reset_targets(element, values, own)
            return wanted.pop() if len(wanted) == 1 else not own
        return asynchronous_target(element, values, own)

    def _is_open(self, latch: Latch, present: Mapping[Variable, bool], values: Mapping[NetId, bool]) -> bool:
        if self.was_enabled is None:
            return values[latch.enable.net] == latch.enable.active_high
        late: Variable = ("seen", latch.output)
        seen = present[late] if late in present else values[latch.enable.net]
        return self.was_enabled[latch.output] and seen == latch.enable.active_high

    def reached(self, start: State) -> Reached:
        picks = product((False, True), repeat=len(self.restless))
        surroundings = [{**self.outside, **dict(zip(self.restless, picked, strict=True))} for picked in picks]
        states = {start}
        risen: set[NetId] = set()
        fallen: set[NetId] = set()
        pending = [start]
        while pending:
            state = pending.pop()
            after = {other for outside in surroundings for other in moves(state, self.targets(state, outside))}
            self.structure.work.spend(len(surroundings) + len(after))
            for other in after:
                for index, net in enumerate(self.loop.members):
                    if state[index] != other[index]:
                        (risen if other[index] else fallen).add(net)
            pending.extend(after - states)
            states |= after
        return Reached(frozenset(states), frozenset(risen), frozenset(fallen))

    def outcomes(self, starts: Iterable[State]) -> set[LoopOutcome]:
        """What a run of moves from one of the starts can visit for ever."""
        graph, targets = self._moves_from(starts)
        found: set[LoopOutcome] = set()
        for component in nx.strongly_connected_components(graph):
            if len(component) == 1:
                found.update(self._outcome(state, True) for state in component if state == targets[state])
            elif not self._is_transient(component, targets):
                found.update(self._outcome(state, False) for state in component)
        return found

    def _moves_from(self, starts: Iterable[State]) -> tuple[nx.DiGraph, dict[State, State]]:
        graph = nx.DiGraph()
        targets: dict[State, State] = {}
        pending = list(starts)
        while pending:
            state = pending.pop()
            if state in targets:
                continue
            targets[state] = self.targets(state)
            graph.add_node(state)
            after = moves(state, targets[state])
            self.structure.work.spend(1 + len(after))
            graph.add_edges_from((state, other) for other in after)
            pending.extend(after)
        return graph, targets

    def _is_transient(self, component: set[State], targets: Mapping[State, State]) -> bool:
        """Some variable is excited all the time, always to the same target, and never fires inside."""
        for index in range(len(self.variables)):
            values = {state[index] for state in component}
            wanted = {targets[state][index] for state in component}
            excited = all(state[index] != targets[state][index] for state in component)
            if excited and len(wanted) == 1 and len(values) == 1:
                return True
        return False

    def _outcome(self, state: State, stable: bool) -> LoopOutcome:
        return LoopOutcome(state[: len(self.loop.members)], stable)
