"""The next thing to do at the board: the probe, and the flips, that split the suspects best.

A test is judged by the largest number of suspects that may be left after it, then by how many are left on average;
between equals the one with fewer flips is taken. A suspect that may read either way counts on both sides.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Hashable, Iterator, Sequence

from verifier.circuit.netlist import NetId
from verifier.evidence.checklist import Flip, Possible
from verifier.evidence.diagnosis import Reading, Test
from verifier.evidence.simulator import SimulationLimit
from verifier.workbench.board_faults import Suspect
from verifier.workbench.pin_levels import PinLevels
from verifier.workbench.settled_states import SettledStates, switches

MOST_FLIPS = 8
"""Of one test; more is beyond patience."""
SEQUENCES_TRIED = 400
SUSPECTS_COMPARED = 200
"""With more suspects than these the tests are chosen by the first of them."""

_Position = tuple[tuple[Flip, ...], Possible, tuple[Possible, ...]]
"""Flips made, where a sound board would be, and where each suspect may be."""


def best_probe(suspects: Sequence[Suspect], pins: PinLevels, visible: Container[NetId]) -> Test | None:
    """The wire that has no LED, or the pin, whose level tells most; None when none tells anything for certain."""
    compared = suspects[:SUSPECTS_COMPARED]
    tests = []
    for name, pin in pins.names.items():
        if pin.position is None and pin.output in visible:
            continue
        found: list[set[Reading]] = [
            {(level,) for state in suspect.possible for level in pins.at(pin, suspect.fault, state)}
            for suspect in compared
        ]
        tests.append(Test(flips=(), nets=(), probed=name, left=_left(found)))
    return _best(tests, len(compared))


def best_flips(
    suspects: Sequence[Suspect], sound: SettledStates, now: Possible, visible: Sequence[NetId]
) -> Test | None:
    """The fewest flips that tell anything for certain, and among those as few the best; None when none do.

    `now`: where a sound board would be; flips that would break a given there are not tried.
    """
    compared = suspects[:SUSPECTS_COMPARED]
    begin: _Position = ((), now, tuple(suspect.possible for suspect in compared))
    stage = [begin]
    met: set[Hashable] = {begin[1:]}
    tried = 0
    for _ in range(MOST_FLIPS):
        following: list[_Position] = []
        tests: list[Test] = []
        for flips, expected, positions in stage:
            for flip, expected_next, reached in _continued(compared, sound, expected, positions):
                tried += 1
                key = (expected_next, reached)
                if key in met or tried > SEQUENCES_TRIED:
                    continue
                met.add(key)
                following.append(((*flips, flip), expected_next, reached))
                left = _left([{tuple(s[net] for net in visible) for s in possible} for possible in reached])
                tests.append(Test(flips=(*flips, flip), nets=tuple(visible), left=left))
        found = _best(tests, len(compared))
        if found is not None:
            return found
        stage = following
    return None


def _continued(
    suspects: Sequence[Suspect], sound: SettledStates, expected: Possible, positions: Sequence[Possible]
) -> Iterator[tuple[Flip, Possible, tuple[Possible, ...]]]:
    for net in switches(sound.netlist):
        up = not next(iter(expected))[net]
        try:
            move = sound.after(expected, net)
            if move is None:
                continue
            reached = tuple(
                suspect.board.after(possible, Flip(net, up=up), {})
                for suspect, possible in zip(suspects, positions, strict=True)
            )
        except SimulationLimit:
            continue
        yield Flip(net, up=up), move.possible, reached


def _left(readings: Sequence[set[Reading]]) -> dict[Reading, tuple[int, ...]]:
    left: dict[Reading, list[int]] = defaultdict(list)
    for index, possible in enumerate(readings):
        for read in possible:
            left[read].append(index)
    return {read: tuple(left[read]) for read in sorted(left, key=str)}


def _best(tests: Sequence[Test], count: int) -> Test | None:
    return min((test for test in tests if test.worst < count), key=_cost, default=None)


def _cost(test: Test) -> tuple[int, float, int]:
    sizes = [len(left) for left in test.left.values()]
    return test.worst, sum(size**2 for size in sizes) / sum(sizes), len(test.flips)
