"""A checklist for a real board as plain data: what to flip, row by row, and where the board may be at rest after it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum

from verifier.circuit.netlist import NetId
from verifier.claims.claim import Design
from verifier.claims.run import Instant

Possible = frozenset[Instant]
"""The states at rest in which the board may be; a known state is a set of one."""

Bits = tuple[bool | None, ...]
"""A reading of several nets, lowest bit first; None: either value."""


@dataclass(frozen=True, kw_only=True)
class Column:
    """An input, an output or a net with an LED: what is set or read on the board."""

    name: str
    nets: tuple[NetId, ...]
    """Lowest bit first."""
    is_input: bool


@dataclass(frozen=True)
class Flip:
    """One switch moved to the other side."""

    net: NetId
    up: bool


@dataclass(frozen=True, kw_only=True)
class Row:
    """One step on the board: a flip, or a power-up where there is none."""

    number: int
    flip: Flip | None
    possible: Possible
    """Where a sound board may be after it. At a power-up all have the same inputs, those to be set before."""
    may_race: bool = False
    """More than one outcome, or a loop that may never come to rest."""
    covers: bool = False
    """It makes an input change that no row above made from the same state."""

    def reading(self, column: Column) -> Bits:
        return bits_read(self.possible, column.nets)


def bits_read(possible: Iterable[Instant], nets: Sequence[NetId]) -> Bits:
    """What is read in all of these states; None where they differ."""
    states = tuple(possible)
    return tuple(states[0][net] if len({state[net] for state in states}) == 1 else None for net in nets)


class PowerUp(Enum):
    """What is taken for granted about the state in which a board wakes."""

    ANY = "any"
    """Nothing; the starts of the file are not relied on."""
    AS_WRITTEN = "as written"
    """The starts of the file, which something on the board must bring about."""
    AS_READ = "as read"
    """Nothing, but certain readings were made."""


@dataclass(frozen=True)
class Coverage:
    """What the rows visit, out of what was found to be reachable from the first known state."""

    states: int
    states_visited: int
    changes: int
    """Pairs of a reachable settled state and a permitted flip."""
    changes_made: int
    complete: bool
    """False when there were too many to find all of them."""


@dataclass(frozen=True, kw_only=True)
class Checklist:
    design: Design
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    power_up: PowerUp
    reading_was_given: bool = False
    """With `AS_READ`: the call said what was read. Otherwise the list names a reading, for boards that read so."""
    other_waking: Instant | None = None
    """Where the list names a reading: a state in which another board may wake, with the same inputs."""
    known_from: int | None
    """Number of the first row after which the state is known; None: it never is."""
    coverage: Coverage
    at_least: int
    """No list that goes on from the same known state and visits as much can have fewer rows after it."""
    notes: tuple[str, ...]
    """What a reader must know: assumptions, what is left out, what to put in an input's place."""

    @property
    def inputs(self) -> tuple[Column, ...]:
        return tuple(column for column in self.columns if column.is_input)

    @property
    def read(self) -> tuple[Column, ...]:
        """The columns that are read, not set."""
        return tuple(column for column in self.columns if not column.is_input)
