"""One loop by itself: its stable states, and where a race of its members can end.

The general multiple winner model (Brzozowski and Seger 1995), by explicit search from given states, everything around
the loop held (grammar/README.md, 12.2 and 12.4). What the outcomes do to the rest of the circuit is not said here.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from itertools import product

from verifier.circuit.netlist import Driver, Latch, NetId
from verifier.claims.run import Instant
from verifier.evidence.budget import Budget
from verifier.evidence.components import strongly_connected_components
from verifier.evidence.pulses import is_taken_away
from verifier.evidence.settling_order import combinational_pins
from verifier.evidence.three_valued import Ternary, is_active, latch_target, target

LoopState = tuple[bool, ...]
"""One value for each member, in the order of the members."""


@dataclass(frozen=True)
class RaceOutcome:
    state: LoopState
    is_stable: bool


@dataclass(frozen=True)
class RaceEnd:
    outcomes: tuple[RaceOutcome, ...]
    """In ascending order of their states."""
    falling: LoopState
    """For each member: some move of the race takes it from 1 to 0."""
    rising: LoopState
    """For each member: some move takes it from 0 to 1."""

    def restless_members(self, start: LoopState, before: LoopState, after: LoopState) -> tuple[bool, ...]:
        """Which members of a loop that raced from `start` to `after` moved more often than `before` and `after` show.

        Grammar/README.md, 12.7.
        """
        rows = zip(start, before, after, self.falling, self.rising, strict=True)
        return tuple(
            is_taken_away(first, old, new) or (falling if new else rising) for first, old, new, falling, rising in rows
        )


class Race:
    """The moves of a loop's members in one round, or (without `before`) at the first instant.

    A state is a number: bit i is the value of member i, and above the members there is one bit for each latch whose
    enable, outside the loop, has just gone away: 1 while the latch still sees it active.
    """

    def __init__(
        self,
        members: Sequence[Driver],
        surroundings: Sequence[Ternary],
        *,
        budget: Budget,
        before: Instant | None = None,
        held: NetId | None = None,
        restless: Collection[NetId] = (),
    ) -> None:
        """`surroundings` are the values of all nets; the nets of `restless` come from outside and may leave them."""
        self._members = members
        self._restless = restless
        self._budget = budget
        self._held = held
        # Values of all nets; those of the members are overwritten with each state that is looked at.
        self._values: list[Ternary] = list(surroundings)
        latches = [member for member in members if isinstance(member, Latch)]
        # Latches that hold whatever their enable does: it was not active when the round began.
        self._holding = {
            latch.output for latch in latches if before is not None and not is_active(latch.enable, before)
        }
        inside = {member.output for member in members}
        closing = [
            latch.output
            for latch in latches
            if latch.output not in self._holding
            and latch.enable.net not in inside
            and surroundings[latch.enable.net] is not latch.enable.active_high
        ]
        # A latch whose enable stays as it was sees no change, so only the closing ones need a bit of their own.
        self._seen_bit = {} if before is None else {net: len(members) + i for i, net in enumerate(closing)}

    def end(self, start: LoopState) -> RaceEnd:
        """Where the runs of moves from `start` can end, and what moves on the way."""
        first = _packed(start) | sum(1 << bit for bit in self._seen_bit.values())
        excited = self._explored([first], self._restless)
        falling = rising = 0
        for state, mask in excited.items():
            falling |= mask & state
            rising |= mask & ~state
        if self._restless:
            # The states in which the surroundings may come to rest: a race with all of them at their last values.
            excited = self._explored([*excited])
        outcomes = sorted(self._lasting(excited), key=lambda outcome: outcome.state)
        return RaceEnd(tuple(outcomes), self._unpacked(falling), self._unpacked(rising))

    def lasting_states(self, starts: Sequence[LoopState]) -> set[LoopState]:
        """The states, stable or not, that a run of moves from one of the starts can visit for ever."""
        excited = self._explored([_packed(start) for start in starts])
        return {outcome.state for outcome in self._lasting(excited)}

    def _lasting(self, excited: Mapping[int, int]) -> Iterator[RaceOutcome]:
        """`excited` is what `_explored` gives."""
        moves = {state: [state ^ winners for winners in _subsets(mask)] for state, mask in excited.items()}
        for component in strongly_connected_components(moves):
            is_stable = len(component) == 1
            if excited[component[0]] == 0 or not (is_stable or _is_transient(component, excited)):
                for state in component:
                    yield RaceOutcome(self._unpacked(state), is_stable)

    def _explored(self, starts: Iterable[int], restless: Collection[NetId] = ()) -> dict[int, int]:
        """Every reachable state to the set of members that are excited in it, at some values of the restless nets."""
        excited: dict[int, int] = {}
        pending = list(starts)
        while pending:
            state = pending.pop()
            if state in excited:
                continue
            excited[state] = 0
            for mask in self._excited_sets(state, restless):
                self._budget.spend(len(self._members) + (1 << mask.bit_count()))
                excited[state] |= mask
                pending.extend(state ^ winners for winners in _subsets(mask))
        return excited

    def _excited_sets(self, state: int, restless: Collection[NetId]) -> Iterator[int]:
        """The excited members, once for all values at which the restless nets may stand."""
        settled = [self._values[net] for net in restless]
        for standing in product((False, True), repeat=len(settled)):
            for net, value in zip(restless, standing, strict=True):
                self._values[net] = value
            yield self._excited(state)
        for net, last in zip(restless, settled, strict=True):
            self._values[net] = last

    def _excited(self, state: int) -> int:
        for i, member in enumerate(self._members):
            self._values[member.output] = bool(state >> i & 1)
        mask = sum(1 << bit for bit in self._seen_bit.values() if state >> bit & 1)
        for i, member in enumerate(self._members):
            if member.output != self._held and self._target(member, state) is not self._values[member.output]:
                mask |= 1 << i
        return mask

    def _target(self, member: Driver, state: int) -> Ternary:
        own = self._values[member.output]
        if not isinstance(member, Latch):
            return target(member, self._values, own)
        if member.output in self._holding:
            return own
        bit = self._seen_bit.get(member.output)
        if bit is None:
            return target(member, self._values, own)
        return latch_target(bool(state >> bit & 1), self._values[member.data], own)

    def _unpacked(self, state: int) -> LoopState:
        return tuple(bool(state >> i & 1) for i in range(len(self._members)))


class RaceTable:
    """Remembers where races end: the rounds of one step ask for the same race again and again.

    Measured on a random circuit with an oscillating loop and 732 ways through its rounds: half of the time was races.
    """

    _MOST_ENTRIES = 10_000

    def __init__(self) -> None:
        self._known: dict[tuple[object, ...], RaceEnd] = {}

    def end(
        self,
        members: Sequence[Driver],
        surroundings: Sequence[Ternary],
        start: LoopState,
        *,
        before: Instant,
        held: NetId | None,
        restless: AbstractSet[NetId],
        budget: Budget,
    ) -> RaceEnd:
        """Where `Race(members, surroundings, ...)` ends when it begins at `start`.

        Nets in `restless` that are not around the loop do not count.
        """
        inside = [member.output for member in members]
        pins = [pin for member in members for pin in combinational_pins(member) if pin not in inside]
        around = tuple(surroundings[pin] for pin in pins)
        enables = tuple(before[member.enable.net] for member in members if isinstance(member, Latch))
        moving = tuple(sorted(restless & set(pins))) if restless else ()
        key = (tuple(inside), start, around, enables, held if held in inside else None, moving)
        found = self._known.get(key)
        if found is None:
            if len(self._known) >= self._MOST_ENTRIES:
                self._known.clear()
            race = Race(members, surroundings, budget=budget, before=before, held=held, restless=moving)
            found = self._known[key] = race.end(start)
        return found


def _packed(state: LoopState) -> int:
    return sum(1 << i for i, value in enumerate(state) if value)


def _subsets(mask: int) -> Iterator[int]:
    """Every non-empty subset of the bits."""
    subset = mask
    while subset:
        yield subset
        subset = (subset - 1) & mask


def _is_transient(component: Sequence[int], excited: Mapping[int, int]) -> bool:
    """Some member is excited in all states, with the same target in all: it has to fire sooner or later.

    Being excited it stands at the opposite of its target, so its target is the same in all states when its value is.
    """
    always_excited, ones, zeros = -1, -1, -1
    for state in component:
        always_excited &= excited[state]
        ones &= state
        zeros &= ~state
    return always_excited & (ones | zeros) != 0


def stable_states(
    members: Sequence[Driver],
    surroundings: Sequence[Ternary],
    admits: Callable[[Sequence[Ternary]], bool],
    budget: Budget,
) -> Iterator[LoopState]:
    """The states in which every member has its target (open latches: enable active), in ascending order.

    `admits` may refuse states. It is asked early, with members still X, and must not refuse what may yet be admitted.
    """
    values = list(surroundings)
    for member in members:
        values[member.output] = None
    pending = [values]
    while pending:
        budget.spend(len(members))
        guess = pending.pop()
        if not _implied(members, guess) or not admits(guess):
            continue
        unknown = next((member.output for member in members if guess[member.output] is None), None)
        if unknown is None:
            yield tuple(guess[member.output] is True for member in members)
            continue
        for value in (True, False):
            pending.append([*guess[:unknown], value, *guess[unknown + 1 :]])


def _implied(members: Sequence[Driver], values: list[Ternary]) -> bool:
    """Fills in what the known members imply; False when that is a contradiction."""
    changed = True
    while changed:
        changed = False
        for member in members:
            own = values[member.output]
            wanted = target(member, values, own)
            if wanted is not None and own is not None and wanted is not own:
                return False
            if wanted is not None and own is None:
                values[member.output] = wanted
                changed = True
    return True
