"""Every possible first instant (grammar/README.md, 12.4), by plain enumeration."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

from oracle.races import Race, State
from oracle.targets import (
    Part,
    Structure,
    asynchronous_target,
    gate_target,
    is_active,
    set_reset_targets,
)
from verifier.circuit.netlist import FlipFlop, Gate, NetId, SetReset, Storage
from verifier.claims.run import Instant

Choice = tuple[dict[NetId, bool], bool]
"""Values so far, and whether something raced (outside loops) or oscillates (in them)."""


@dataclass(frozen=True)
class FirstInstant:
    instant: Instant
    raced: bool
    oscillated: bool


def first_instants(structure: Structure) -> frozenset[FirstInstant]:
    pins = structure.netlist.input_nets
    found: set[FirstInstant] = set()
    for bits in product((False, True), repeat=len(pins)):
        found.update(_with_inputs(structure, dict(zip(pins, bits, strict=True))))
    return frozenset(found)


def _with_inputs(structure: Structure, inputs: dict[NetId, bool]) -> Iterator[FirstInstant]:
    branches: list[tuple[dict[NetId, bool], bool, bool]] = [({}, False, False)]
    for part in structure.parts:
        following: list[tuple[dict[NetId, bool], bool, bool]] = []
        for values, raced, oscillated in branches:
            if part.is_loop:
                for more, unstable in _loop(structure, part, values):
                    following.append(({**values, **more}, raced, oscillated or unstable))
                continue
            net = part.members[0]
            if net in inputs:
                following.append(({**values, net: inputs[net]}, raced, oscillated))
                continue
            possible, races = _single(structure, net, values)
            following.extend(({**values, net: value}, raced or races, oscillated) for value in possible)
        branches = following
    for values, raced, oscillated in branches:
        yield FirstInstant(tuple(values[net] for net in range(len(values))), raced, oscillated)


def _single(structure: Structure, net: NetId, values: dict[NetId, bool]) -> tuple[set[bool], bool]:
    element = structure.drivers[net]
    if isinstance(element, Gate):
        return {gate_target(element, values)}, False
    starts = {False, True} if element.start is None else {element.start}
    possible: set[bool] = set()
    for own in starts:
        possible |= _targets(element, values, own)
    races = isinstance(element, SetReset) and values[element.set] and values[element.reset]
    return possible, races


def _targets(element: Storage, values: dict[NetId, bool], own: bool) -> set[bool]:
    if isinstance(element, FlipFlop):
        return {asynchronous_target(element, values, own)}
    if isinstance(element, SetReset):
        return set_reset_targets(element, values, own)
    return {values[element.data] if is_active(element.enable, values) else own}


def _loop(structure: Structure, loop: Part, values: dict[NetId, bool]) -> list[Choice]:
    """The states of the loop that may be there at power-up, each with whether it oscillates."""
    race = Race(structure, loop, values, was_enabled=None)
    stable = [state for state in race.all_states() if race.targets(state) == state]
    if stable:
        states = [state for state in stable if _obeys_starts(structure, loop, race, state)]
    else:
        states = [outcome.values for outcome in race.outcomes(race.all_states())]
    return [(dict(zip(loop.members, state, strict=True)), not stable) for state in states]


def _obeys_starts(structure: Structure, loop: Part, race: Race, state: State) -> bool:
    for index, net in enumerate(loop.members):
        element = structure.drivers[net]
        if element.start is None or state[index] == element.start:
            continue
        if isinstance(element, Gate) or not _is_decided(race, state, index):
            return False
    return True


def _is_decided(race: Race, state: State, index: int) -> bool:
    """The pins decide the value: its target is the same whatever the member's own value."""
    other = (*state[:index], not state[index], *state[index + 1 :])
    return race.targets(state)[index] == race.targets(other)[index]
