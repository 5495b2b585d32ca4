"""What the engines of the delay views read: bits that take time to change, timers, moves (reference, part IV).

A state has a value for every bit (elements, sources, followers), for every element the *age* of its excitation in ns,
and for every timer a number of ns. All literals are over one `BitGraph`. Their variables are of four kinds:

- `bit.before` and `bit.now`: the bit before and after a move or tick;
- `reading.variable`: 1 when a timer has reached a number of ns in the state *before* the move or tick;
- `choices`: free in every move and tick;
- `tick`: 1 in a tick, 0 in a move. Whatever may read `choices` may read it.

One **instant** follows another by a *move* (one source move, or a non-empty set of elements that are ready) or by a
*tick* of one ns. The order in which an instant comes about:

1. sources and elements get their values `now` (in a tick: those of `before`);
2. followers, in the order of the tuple: `now` is their `next`, which may read every `before`, the `now` of sources,
   elements and earlier followers, readings and choices;
3. `bad` is looked at; it may read everything that followers may, and all followers' `now`;
4. ages: an element is *excited* when its bit `now` differs from its `target`, or its `optional` is 1 (both over `now`
   alone). Not excited: no age. Excited and fired in this move, or not excited before: age 0. Otherwise its age before;
   a tick adds 1, up to the longest delay;
5. timers: 0 where `reset` (read like `bad`) is 1; otherwise the number before, and a tick adds 1, up to `most`.

An element is *ready* when it is excited and its age is at least the shortest delay for the way it would go (`rise` when
its bit is 0). It is *due* when it is excited, `optional` is 0 and its age is the longest. A tick needs that no element
is due and that `holds_time` (over `now` of the last instant, and readings) is 0. Firing means that the bit turns over;
the elements of one move fire together, each judged by the state before it.

Without delays (`timed` False) there are no ticks, ages or readings, and every excited element is ready.
"""

from __future__ import annotations

from dataclasses import dataclass

from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal


@dataclass(frozen=True)
class Bit:
    name: str
    before: Literal
    """Positive literal of the variable for the value before a move or tick."""
    now: Literal


@dataclass(frozen=True)
class Delay:
    """A closed range of whole ns."""

    low: int
    high: int


@dataclass(frozen=True, kw_only=True)
class DelayedElement:
    bit: Bit
    target: Literal
    """Over the `now` of bits."""
    rise: Delay
    fall: Delay
    optional: Literal = FALSE
    """Over the `now` of bits: excited whatever the target, but never due."""


@dataclass(frozen=True, kw_only=True)
class Follower:
    """A bit that takes no time: what a flip-flop holds inside, what a claim remembers."""

    bit: Bit
    next: Literal


@dataclass(frozen=True)
class Reading:
    at_least: int
    variable: Literal


@dataclass(frozen=True, kw_only=True)
class Timer:
    name: str
    most: int
    """It stops counting here."""
    reset: Literal
    start: int
    """Its value at a first instant,"""
    readings: tuple[Reading, ...]
    reset_at_first: Literal = FALSE
    """but 0 where this is 1, over the `now` of sources, elements and followers."""


@dataclass(frozen=True, kw_only=True)
class SourceMove:
    """These sources turn over together."""

    bits: tuple[Bit, ...]
    enabled: Literal
    """Over `now` of the last instant, and readings."""


@dataclass(frozen=True, kw_only=True)
class DelaySystem:
    graph: BitGraph
    timed: bool
    sources: tuple[Bit, ...]
    elements: tuple[DelayedElement, ...]
    followers: tuple[Follower, ...]
    timers: tuple[Timer, ...]
    moves: tuple[SourceMove, ...]
    first: Literal
    """Over `now` of sources, elements and followers: a possible first instant. Every excited element has age 0."""
    bad_at_first: Literal
    """Over the same variables."""
    bad: Literal
    permitted_at_first: Literal = TRUE
    permitted: Literal = TRUE
    """Read like `bad`: a move or tick where it is 0 does not happen."""
    holds_time: Literal = FALSE
    choices: tuple[Literal, ...] = ()
    tick: Literal | None = None
    """Positive literal of a variable; None: nothing asks for it."""


@dataclass(frozen=True)
class DelayedInstant:
    """One instant of a counterexample."""

    at: int
    """ns since the first instant; 0 throughout without delays."""
    values: tuple[bool, ...]
    """Sources, then elements, then followers, in their order."""
    fired: tuple[int, ...]
    """Places in `elements` of what fired in the move that led here; empty for all other instants."""
