"""Depth-first search over the ways in which the parts of a circuit can settle, one part after the other.

It only walks: which ways a part has is asked of the caller, who sees the values of all earlier parts when asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from verifier.evidence.budget import Budget
from verifier.evidence.settling_order import Part


@dataclass(frozen=True, kw_only=True)
class Way:
    """One way for a part to settle."""

    values: tuple[bool, ...]
    """For each element of the part."""
    carried: tuple[bool, ...] = ()
    """The value each element carried into the round, where it is a storage element or in a loop."""
    restless: tuple[bool, ...] = ()
    """Whether each element is restless in the round; empty when none is."""
    raced: bool = False
    oscillated: bool = False


@dataclass(frozen=True)
class Happened:
    raced: bool = False
    oscillated: bool = False

    def joined_with(self, other: Way | Happened) -> Happened:
        return Happened(self.raced or other.raced, self.oscillated or other.oscillated)


def settlings(
    parts: Sequence[Part],
    settle: Callable[[Part, Way], None],
    ways_of: Callable[[int], Iterator[Way]],
    budget: Budget,
) -> Iterator[Happened]:
    """Yields once for every combination of ways, each part's way having been given to `settle`.

    `ways_of(i)` is asked anew whenever an earlier part has settled in another way. Later parts may be left over from
    before at that time; settling order keeps anyone from reading them.
    """
    if not parts:
        yield Happened()
        return
    pending = [ways_of(0)]
    happened = [Happened()]
    while pending:
        way = next(pending[-1], None)
        if way is None:
            pending.pop()
            happened.pop()
            continue
        settle(parts[len(pending) - 1], way)
        so_far = happened[-1].joined_with(way)
        if len(pending) < len(parts):
            pending.append(ways_of(len(pending)))
            happened.append(so_far)
        else:
            budget.spend()
            yield so_far
