"""All that flips can do to a board from where it is: a graph whose nodes are sets of states, each flip an arc.

Where every state is known the sets have one member. A race leads to a set of several, and flips from there go on with
all of them, so that a printed list needs no branches: it is right whichever way the race went.
"""

from __future__ import annotations

from dataclasses import dataclass

from verifier.circuit.netlist import NetId
from verifier.claims.run import Instant
from verifier.evidence.checklist import Possible
from verifier.evidence.simulator import SimulationLimit
from verifier.workbench.settled_states import Move, SettledStates, switches
from verifier.workbench.tour import Arc

CHANGES_AT_MOST = 20_000
"""Arcs that are looked at; a list of as many rows is beyond anybody's patience."""


@dataclass(frozen=True, kw_only=True)
class BoardGraph:
    nodes: tuple[Possible, ...]
    """The first is where it begins."""
    arcs: tuple[Arc, ...]
    flips: tuple[NetId, ...]
    """The input bit of each arc."""
    moves: tuple[Move, ...]
    """What each arc does."""
    complete: bool
    """False: the ceiling was met, and some arcs lead to sets that were not looked at; they are left out."""


def explored(states: SettledStates, start: Possible, ceiling: int = CHANGES_AT_MOST) -> BoardGraph:
    """The graph from `start`, breadth first, up to the ceiling.

    An arc must be walked when it leaves a known state, or a set with a member that is nowhere known.
    """
    flippable = switches(states.netlist)
    numbers = {start: 0}
    nodes = [start]
    found: list[tuple[int, int, NetId, Move]] = []
    complete = True
    # The list grows while it is walked through: breadth first.
    for tail, possible in enumerate(nodes):
        for flip in flippable:
            try:
                move = states.after(possible, flip)
            except SimulationLimit:
                complete = False
                continue
            if move is None:
                continue
            if move.possible not in numbers:
                if (len(nodes) + 1) * len(flippable) > ceiling:
                    complete = False
                    continue
                numbers[move.possible] = len(nodes)
                nodes.append(move.possible)
            found.append((tail, numbers[move.possible], flip, move))
    known = {state for possible in nodes if len(possible) == 1 for state in possible}
    return BoardGraph(
        nodes=tuple(nodes),
        arcs=tuple(Arc(tail, head, must=_is_needed(nodes[tail], known)) for tail, head, _, _ in found),
        flips=tuple(flip for _, _, flip, _ in found),
        moves=tuple(move for _, _, _, move in found),
        complete=complete,
    )


def _is_needed(possible: Possible, known: set[Instant]) -> bool:
    return len(possible) == 1 or not possible <= known
