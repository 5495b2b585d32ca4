"""From power-up, when nobody knows where the board is, to a state that is known: a synchronising sequence.

The flips are found breadth first over sets of states, beginning with all that the board may be in at power-up for each
setting of its inputs, so that no shorter sequence leads to one single state (Kohavi 1978 draws the same search as a
tree; from memory). Where no flips do that for every board, readings are made on the way: a list then goes on with the
boards that read like one that it names.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from verifier.circuit.netlist import NetId
from verifier.claims.run import Instant
from verifier.evidence.checklist import Possible
from verifier.evidence.simulator import SimulationLimit
from verifier.workbench.settled_states import SettledStates, switches

STATES_LOOKED_AT = 30_000
"""Members of all sets together; a second or two for a small circuit, half a minute for a large one."""


@dataclass(frozen=True)
class Beginning:
    """How a list begins: the inputs at power-up, the flips to a known state, and where the board may be on the way."""

    inputs: Mapping[NetId, bool]
    flips: tuple[NetId, ...]
    stages: tuple[Possible, ...]
    """At power-up and after each flip."""

    @classmethod
    def at(cls, inputs: Mapping[NetId, bool], possible: Possible) -> Beginning:
        return cls(inputs, (), (possible,))

    @property
    def end(self) -> Possible:
        return self.stages[-1]

    @property
    def is_known(self) -> bool:
        return len(self.end) == 1


def synchronising(states: SettledStates, sources: Iterable[tuple[Mapping[NetId, bool], Possible]]) -> Beginning | None:
    """The shortest beginning after which the state is known; None: there is none, or it takes too long to find.

    Each source is a setting of the inputs and all that the board may be in then; empty ones are passed over.
    """
    pending: deque[Beginning] = deque()
    met: set[Possible] = set()
    budget = STATES_LOOKED_AT
    for inputs, possible in sources:
        budget -= len(possible)
        if len(possible) == 1:
            return Beginning.at(inputs, possible)
        if possible and possible not in met and budget > 0:
            met.add(possible)
            pending.append(Beginning.at(inputs, possible))
    while pending and budget > 0:
        so_far = pending.popleft()
        for switch in switches(states.netlist):
            budget -= len(so_far.end)
            try:
                move = states.after(so_far.end, switch)
            except SimulationLimit:
                continue
            if move is None or move.possible in met:
                continue
            met.add(move.possible)
            following = Beginning(so_far.inputs, (*so_far.flips, switch), (*so_far.stages, move.possible))
            if following.is_known:
                return following
            pending.append(following)
    return None


def told_by_readings(
    states: SettledStates,
    sources: Iterable[tuple[Mapping[NetId, bool], Possible]],
    read: Sequence[NetId],
    is_welcome: Callable[[Instant], bool],
) -> list[Beginning]:
    """The shortest beginnings after which the state is known of those boards that read alike all the way.

    Only those that end in a welcome state. A stage holds the boards that still read as the list says.
    """
    pending = deque(
        Beginning.at(inputs, block) for inputs, possible in sources for block in blocks_that_read_alike(possible, read)
    )
    met = {beginning.end for beginning in pending}
    found = [beginning for beginning in pending if _ends_well(beginning, is_welcome)]
    budget = STATES_LOOKED_AT
    while pending and budget > 0:
        so_far = pending.popleft()
        if found and len(so_far.flips) >= len(found[0].flips):
            break
        for switch in switches(states.netlist):
            budget -= len(so_far.end)
            try:
                move = states.after(so_far.end, switch)
            except SimulationLimit:
                continue
            for block in blocks_that_read_alike(move.possible if move else frozenset(), read):
                if block in met:
                    continue
                met.add(block)
                following = Beginning(so_far.inputs, (*so_far.flips, switch), (*so_far.stages, block))
                pending.append(following)
                if _ends_well(following, is_welcome):
                    found.append(following)
    return found


def _ends_well(beginning: Beginning, is_welcome: Callable[[Instant], bool]) -> bool:
    return beginning.is_known and all(is_welcome(state) for state in beginning.end)


def blocks_that_read_alike(possible: Possible, read: Sequence[NetId]) -> list[Possible]:
    """The states, those with the same readings together, in the order of the readings."""
    blocks: dict[tuple[bool, ...], set[Instant]] = defaultdict(set)
    for state in possible:
        blocks[tuple(state[net] for net in read)].add(state)
    return [frozenset(blocks[reading]) for reading in sorted(blocks)]
