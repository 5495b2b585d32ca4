"""Which single faults explain what was read on a board: each is followed through the steps, wherever it may lead.

A board with a fault is a set of states too: all that it may have woken in and still reads as it was read. When the set
is empty the fault explains the readings no longer. Where a pin floats it may take either value in a flip, and change
any number of times by itself before the readings are made.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

from verifier.circuit.fault import Fault, FaultClass
from verifier.circuit.faulty import faulty
from verifier.circuit.netlist import InputClass, NetId, Netlist
from verifier.claims.run import Instant
from verifier.evidence.checklist import Flip, Possible
from verifier.evidence.diagnosis import MeterLevel, Pin
from verifier.evidence.simulator import SimulationLimit, Simulator
from verifier.workbench.pin_levels import Meter, PinLevels
from verifier.workbench.readings import Levels
from verifier.workbench.settled_states import STATES_AT_ONCE

LOOKED_AT_IN_ONE_STEP = 100_000
STEPS_OF_ONE_FAULT = 20_000
"""Of the simulator, for one fault; ten seconds or so. Pins that float in loops may ask for more."""


@dataclass(frozen=True, kw_only=True)
class Experience:
    """One step that was made on the board and what was read after it."""

    flip: Flip | None
    """None: switched on, or nothing flipped where `inputs` is None."""
    levels: Levels
    inputs: Levels | None = None
    """At a power-up: how they were set."""
    pin: tuple[Pin, MeterLevel] | None = None
    """A pin that was probed, and what the meter found."""


@dataclass(frozen=True)
class Suspect:
    """A fault that explains all that was read, and where the board may be then."""

    fault: Fault
    alike: FaultClass
    board: FaultyBoard
    possible: Possible


@dataclass(frozen=True)
class Explanations:
    suspects: tuple[Suspect, ...]
    not_followed: tuple[Fault, ...]
    """There was too much to look at, so they are not ruled out."""


class FaultyBoard:
    """The states in which a board with one fault may be."""

    def __init__(self, netlist: Netlist) -> None:
        self._simulator = Simulator(netlist, limit=LOOKED_AT_IN_ONE_STEP)
        pins = [pin for pin in netlist.inputs if pin.input_class is InputClass.FLOATING]
        self._floating = [net for pin in pins for net in pin.nets]
        self._reached: dict[tuple[Instant, NetId | None], Possible] = {}
        self._steps_left = STEPS_OF_ONE_FAULT

    def woken(self, inputs: Levels, levels: Levels) -> Possible:
        """The states it may be in after a power-up with these inputs, if these levels were read.

        Raises:
            SimulationLimit: too many, here and below.
        """
        # What floats may have moved on since, so its readings narrow down nothing beforehand.
        wanted = {} if self._floating else {net: level for net, level in levels.items() if net not in inputs}
        found: set[Instant] = set()
        for values in product((False, True), repeat=len(self._floating)):
            setting = {**inputs, **dict(zip(self._floating, values, strict=True))}
            for instant, _ in self._simulator.first_instants(setting, wanted):
                found.add(instant)
                _check_size(found)
        return reading(self._drifted(found), levels)

    def after(self, possible: Iterable[Instant], flip: Flip | None, levels: Levels) -> Possible:
        """The states it may be in after the flip (or a wait), if these levels were read."""
        reached: set[Instant] = set()
        for state in possible:
            reached |= self._after_one(state, None if flip is None else flip.net)
            _check_size(reached)
        return reading(reached, levels)

    def _after_one(self, state: Instant, flipped: NetId | None) -> Possible:
        key = (state, flipped)
        if key not in self._reached:
            change = {} if flipped is None else {flipped: not state[flipped]}
            self._reached[key] = (
                self._drifted(self._stepped(state, change)) if change or self._floating else frozenset({state})
            )
        return self._reached[key]

    def _stepped(self, state: Instant, change: Mapping[NetId, bool]) -> set[Instant]:
        self._steps_left -= 1
        if self._steps_left < 0:
            raise SimulationLimit(f"more than {STEPS_OF_ONE_FAULT} steps")
        return {
            outcome.instant
            for values in product((False, True), repeat=len(self._floating))
            for outcome in self._simulator.step(state, {**change, **dict(zip(self._floating, values, strict=True))})
        }

    def _drifted(self, found: set[Instant]) -> Possible:
        """With all that comes of floating pins changing by themselves."""
        reached = set(found)
        pending = list(found) if self._floating else []
        while pending:
            new = self._stepped(pending.pop(), {}) - reached
            reached |= new
            _check_size(reached)
            pending += new
        return frozenset(reached)


def explanations(netlist: Netlist, faults: Iterable[FaultClass], experiences: Sequence[Experience]) -> Explanations:
    """The faults with which some run reads exactly as it was read. The netlist is that of a sound board."""
    pins = PinLevels(netlist)
    without_pins = [replace(experience, pin=None) for experience in experiences]
    suspects: list[Suspect] = []
    not_followed: list[Fault] = []
    for alike in faults:
        try:
            # Nets with a name tell the faults of a class not apart; pins and nets without one may.
            if not followed(FaultyBoard(faulty(netlist, alike.representative)), without_pins):
                continue
        except SimulationLimit:
            not_followed += alike.faults
            continue
        for fault in alike.faults:
            board = FaultyBoard(faulty(netlist, fault))
            try:
                possible = followed(board, experiences, pins.meter(fault))
            except SimulationLimit:
                not_followed.append(fault)
                continue
            if possible:
                suspects.append(Suspect(fault, alike, board, possible))
    return Explanations(tuple(suspects), tuple(not_followed))


def followed(board: FaultyBoard, experiences: Sequence[Experience], meter: Meter | None = None) -> Possible:
    """Where the board may be after all this; nowhere, if it cannot have read so. Pins are asked of the meter."""
    possible: Possible = frozenset()
    for experience in experiences:
        if experience.inputs is not None:
            possible = board.woken(experience.inputs, experience.levels)
        else:
            possible = board.after(possible, experience.flip, experience.levels)
        if experience.pin is not None and meter is not None:
            pin, level = experience.pin
            possible = frozenset(state for state in possible if level in meter(pin, state))
        if not possible:
            break
    return possible


def reading(possible: Iterable[Instant], levels: Levels) -> Possible:
    """Those of the states in which these levels are read."""
    return frozenset(state for state in possible if all(state[net] == level for net, level in levels.items()))


def _check_size(states: set[Instant]) -> None:
    if len(states) > STATES_AT_ONCE:
        raise SimulationLimit(f"more than {STATES_AT_ONCE} states")
