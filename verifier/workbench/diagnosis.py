"""A board disagreed with its checklist: which single faults explain it, and what to do next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from verifier.circuit.element_pins import element_pins
from verifier.circuit.fault import FaultClass, FaultKind, Technology
from verifier.circuit.netlist import NetId, Netlist
from verifier.circuit.single_faults import single_faults
from verifier.claims.run import Instant
from verifier.errors import CallError
from verifier.evidence.checklist import Checklist, Possible, PowerUp, Row
from verifier.evidence.diagnosis import Diagnosis, MeterLevel, Pin, SuspectedFault
from verifier.workbench.board_faults import Experience, FaultyBoard, Suspect, explanations, followed
from verifier.workbench.pin_levels import PinLevels
from verifier.workbench.readings import Further, Levels, Seen
from verifier.workbench.settled_states import SettledStates, heeded_givens, without_starts
from verifier.workbench.telling_apart import best_flips, best_probe

LIKELY_FIRST = (
    FaultKind.OPEN,
    FaultKind.SWAPPED_PINS,
    FaultKind.WRONG_GATE,
    FaultKind.NO_PULL_UP,
    FaultKind.WRONG_EDGE,
    FaultKind.BRIDGE,
    FaultKind.STUCK,
)
"""Common practice at a breadboard: a wire that makes no contact before one in the wrong hole, a wrong part before a
dead one."""


def diagnosis(
    checklist: Checklist,
    seen: Sequence[Seen],
    further: Sequence[Further] = (),
    *,
    technology: Technology = Technology.TTL,
    only_seen: bool = False,
) -> Diagnosis:
    """Every single fault that explains the readings, and the tests that split them best.

    All readings up to the last row in `seen` that it does not name are taken to be as the list has them; with
    `only_seen` they are taken not to have been made.

    Raises:
        CallError: a row that is not in the list, or a switch that stands there already.
    """
    last = max(saw.row for saw in seen)
    if checklist.power_up is PowerUp.AS_READ and min(saw.row for saw in seen) <= (checklist.known_from or 0):
        raise CallError(
            f"another reading up to step {checklist.known_from or 0} is no fault: a board may wake in other states",
            'ask for the list from what was read at power-up: --woke "count 0101"',
        )
    if last >= len(checklist.rows):
        raise CallError(f"there is no step {last}", f"the list ends with step {len(checklist.rows) - 1}")
    experiences = experiences_of(checklist, seen, further, only_seen=only_seen)
    design = checklist.design
    states = SettledStates(design.netlist, heeded_givens(design)[0])
    now = _sound_position(states, checklist.rows[last].possible, further)
    netlist = design.netlist if checklist.power_up is PowerUp.AS_WRITTEN else without_starts(design.netlist)
    classes = single_faults(netlist, technology)
    found = explanations(netlist, classes, experiences)
    suspects = sorted(found.suspects, key=lambda suspect: LIKELY_FIRST.index(suspect.fault.kind))
    visible = [net for column in checklist.read for net in column.nets]
    several = len(suspects) > 1
    return Diagnosis(
        checklist=checklist,
        technology=technology,
        last_row=last,
        further_steps=len(further),
        sound=_may_be_sound(netlist, experiences),
        suspects=tuple(_named(suspects)),
        not_followed=found.not_followed,
        faults_tried=sum(len(alike.faults) for alike in classes),
        probe=best_probe(suspects, PinLevels(netlist), visible) if several else None,
        flips=best_flips(suspects, states, now, visible) if several else None,
    )


def technology_named(name: str) -> Technology:
    """`ttl`, `cmos`. Raises ValueError for anything else."""
    return Technology(name)


def _named(suspects: Sequence[Suspect]) -> Iterator[SuspectedFault]:
    first_of: dict[FaultClass, int] = {}
    for position, suspect in enumerate(suspects):
        first = first_of.setdefault(suspect.alike, position)
        yield SuspectedFault(fault=suspect.fault, like=None if first == position else first)


def _may_be_sound(netlist: Netlist, experiences: Sequence[Experience]) -> bool:
    drivers = netlist.drivers

    def meter(pin: Pin, state: Instant) -> frozenset[MeterLevel]:
        net = pin.output if pin.position is None else element_pins(drivers[pin.output])[pin.position].net
        return frozenset({state[net]})

    return bool(followed(FaultyBoard(netlist), experiences, meter))


def experiences_of(
    checklist: Checklist, seen: Sequence[Seen], further: Sequence[Further] = (), *, only_seen: bool = False
) -> list[Experience]:
    """All that was done and read: the rows up to the last one in `seen`, then the further steps."""
    levels_at: dict[int, dict[NetId, bool]] = {}
    for saw in seen:
        levels_at.setdefault(saw.row, {}).update(saw.levels)
    made = []
    for row in checklist.rows[: max(levels_at) + 1]:
        expected = {} if only_seen else expected_levels(checklist, row)
        levels = {**expected, **levels_at.get(row.number, {})}
        inputs = input_levels(checklist, row) if row.flip is None else None
        made.append(Experience(flip=row.flip, levels=levels, inputs=inputs))
    return made + [Experience(flip=one.flip, levels=one.levels, pin=one.pin) for one in further]


def expected_levels(checklist: Checklist, row: Row) -> Levels:
    """What a sound board shows for certain."""
    return {
        net: level
        for column in checklist.read
        for net, level in zip(column.nets, row.reading(column), strict=True)
        if level is not None
    }


def input_levels(checklist: Checklist, row: Row) -> Levels:
    state: Instant = next(iter(row.possible))
    return {net: state[net] for net in checklist.design.netlist.input_nets}


def _sound_position(states: SettledStates, possible: Possible, further: Sequence[Further]) -> Possible:
    """Where a sound board would be after the further steps."""
    for one in further:
        if one.flip is None:
            continue
        name = states.netlist.nets[one.flip.net].name
        if next(iter(possible))[one.flip.net] == one.flip.up:
            raise CallError(
                f"{name} is {'up' if one.flip.up else 'down'} already", "flips go on from the last step read"
            )
        move = states.after(possible, one.flip.net)
        if move is None:
            raise CallError(f"flipping {name} here may break a given of {states.netlist.name}")
        possible = move.possible
    return possible
