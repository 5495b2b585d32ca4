"""The textbook meaning of a formula on a finite run of a delay view (grammar/README.md, 20 and 33).

What `meaning.py` says of every word stays as it is; here stand the words that count ns, the glitches of these views and
the claims that are always there for storage parts. Direct and slow on purpose, as there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from verifier.circuit.netlist import Edge, FlipFlop, Latch, Level, NetId, Netlist, Timing
from verifier.claims.formula import (
    PATTERNS,
    Always,
    Bound,
    Formula,
    KeepsTiming,
    LeadsTo,
    NeverGlitches,
    Pulses,
    PulsesLast,
    Settles,
    TimingRule,
    Unit,
    WithinTheLast,
)
from verifier.claims.meaning import Values, ValuesOf, amount_of, evaluate_bottom_up, values_on_finite_run
from verifier.claims.run import Instant, Run, StepEvents


@dataclass(frozen=True)
class EveryTick:
    """A run with all its ticks written down."""

    run: Run
    listed: tuple[int, ...]
    """For each instant of the run it was made from: which one that is now."""


def with_every_tick(run: Run) -> EveryTick:
    """The run in which no two neighbouring instants are more than 1 ns apart, and a move takes no time.

    Where several ns lie between two neighbours, everything stays until the last of them has passed, and then the move
    comes. A run without times has no ticks.
    """
    if run.times is None or not run.instants:
        return EveryTick(run, tuple(range(len(run))))
    instants, events, times = [run.instants[0]], [run.events[0]], [run.times[0]]
    listed = [0]
    for i in range(1, len(run)):
        for time in range(run.times[i - 1] + 1, run.times[i] + 1):
            instants.append(run.instants[i - 1])
            events.append(StepEvents())
            times.append(time)
        if run.instants[i] != run.instants[i - 1] or run.times[i] == run.times[i - 1]:
            instants.append(run.instants[i])
            events.append(run.events[i])
            times.append(run.times[i])
        else:
            events[-1] = run.events[i]
        listed.append(len(instants) - 1)
    return EveryTick(Run(tuple(instants), tuple(events), times=tuple(times)), tuple(listed))


def evaluate_in_time(formula: Formula, run: Run, netlist: Netlist) -> Values:
    """The value of the formula at every instant of the run, ticks included: `with_every_tick(run)` has as many.

    A pattern is 0 at the instants that break it: `F leads to G within N ns` at the first instant that is later.

    Raises:
        ValueError: a word needs instants after the run, the run has no times for a word that counts ns or times for one
            that counts steps, a pattern does not stand outermost, or there is no such storage part or figure.
    """
    full = with_every_tick(run).run
    return evaluate_bottom_up(formula, lambda node, of: _values(node, of, full, netlist))


def first_breach_in_time(claim_formula: Formula, run: Run, netlist: Netlist) -> int | None:
    """The first instant, ticks included, at which the run breaks a `must` of this formula; None if it does not."""
    judged = claim_formula.operand if isinstance(claim_formula, Always) else claim_formula
    if judged is not claim_formula and isinstance(judged, PATTERNS):
        raise ValueError(f"a pattern stands outermost: {type(judged).__name__}")
    return next((i for i, value in enumerate(evaluate_in_time(judged, run, netlist)) if not value), None)


def repeated_changes(run: Run, input_nets: frozenset[NetId]) -> tuple[frozenset[NetId], ...]:
    """For each instant the nets that change there and have changed before since the last input change.

    Before the first input change, since the first instant. In the any-delay view inputs wait for quiet; where they do
    not, a quiet in between makes no difference, as after it nothing moves until an input has.
    """
    found: list[frozenset[NetId]] = []
    changed_before: set[NetId] = set()
    for i in range(len(run)):
        changed = _changed(run, i)
        if not changed.isdisjoint(input_nets):
            changed_before = set()
            found.append(frozenset())
        else:
            found.append(frozenset(changed & changed_before))
            changed_before |= changed
    return tuple(found)


def _values(node: Formula, of: ValuesOf, run: Run, netlist: Netlist) -> Values:
    match node:
        case Settles():
            raise ValueError("a finite run of a delay view does not decide `settles`")
        case NeverGlitches(signal=signal):
            repeated = repeated_changes(run, frozenset(netlist.input_nets))
            return tuple(int(nets.isdisjoint(signal.nets)) for nets in repeated)
        case WithinTheLast(bound=Bound(unit=Unit.NANOSECONDS) as bound):
            return _within_the_last(bound, of(node.operand), _times(run))
        case LeadsTo(bound=Bound(unit=Unit.NANOSECONDS) as bound):
            return _leads_to(bound, of(node.left), of(node.right), _times(run))
        case WithinTheLast(bound=Bound(unit=Unit.STEPS)) | LeadsTo(bound=Bound(unit=Unit.STEPS)) if run.times:
            raise ValueError("no claim of the timed view counts steps")
        case PulsesLast():
            return _pulses_last(node, run)
        case KeepsTiming():
            broken = _timing_breaches(node, run, netlist)
            return tuple(int(i not in broken) for i in range(len(run)))
        case _:
            return values_on_finite_run(node, of, run)


def _times(run: Run) -> tuple[int, ...]:
    if run.times is None:
        raise ValueError("a run without times does not decide what counts ns")
    return run.times


def _within_the_last(bound: Bound, held: Values, times: tuple[int, ...]) -> Values:
    most = amount_of(bound)
    return tuple(
        int(any(held[j] and times[i] - times[j] <= most for j in range(i + 1))) for i in range(len(held))
    )  # fmt: skip


def _leads_to(bound: Bound, trigger: Values, goal: Values, times: tuple[int, ...]) -> Values:
    most = amount_of(bound)
    broken: set[int] = set()
    for i in range(len(times)):
        if trigger[i]:
            too_late = next((j for j in range(i, len(times)) if times[j] - times[i] > most), None)
            if too_late is not None and not any(goal[j] for j in range(i, too_late)):
                broken.add(too_late)
    return tuple(int(i not in broken) for i in range(len(times)))


def _pulses_last(node: PulsesLast, run: Run) -> Values:
    if node.at_least.unit is not Unit.NANOSECONDS:
        raise ValueError(f"pulses last ns, not {node.at_least.unit.value}")
    least, times = amount_of(node.at_least), _times(run)
    # A high pulse is over when the net falls.
    ends = {Pulses.BOTH: (False, True), Pulses.HIGH: (False,), Pulses.LOW: (True,)}[node.pulses]

    def is_broken(i: int) -> bool:
        over = {net for net in _changed(run, i).intersection(node.signal.nets) if run.instants[i][net] in ends}
        return any(_is_short(run, times, net, i, least) for net in over)

    return tuple(int(not is_broken(i)) for i in range(len(run)))


def _is_short(run: Run, times: tuple[int, ...], net: NetId, i: int, least: int) -> bool:
    """The net changes at instant i, and its last change before was less than `least` ns ago."""
    last = _last_change(run, net, i - 1)
    return last is not None and times[i] - times[last] < least


def _last_change(run: Run, net: NetId, i: int) -> int | None:
    """The last instant up to i at which the net changes."""
    return next((j for j in range(i, 0, -1) if run.instants[j][net] != run.instants[j - 1][net]), None)


def _changed(run: Run, i: int) -> set[NetId]:
    """The nets that change at instant i; at the first instant nothing does."""
    pairs = zip(run.instants[max(i - 1, 0)], run.instants[i], strict=True)
    return {net for net, (old, new) in enumerate(pairs) if old != new}


# What storage parts ask of their pins


def _timing_breaches(node: KeepsTiming, run: Run, netlist: Netlist) -> set[int]:
    storage = netlist.drivers.get(node.storage)
    if not isinstance(storage, FlipFlop | Latch):
        raise ValueError(f"net {node.storage} is not the output of a flip-flop or a latch")
    figure = _figure(node.rule, storage.timing or Timing())
    if figure is None:
        raise ValueError(f"{netlist.nets[node.storage].name} has no {node.rule.value}")
    match node.rule:
        case TimingRule.SET_UP:
            return set(_set_up_breaches(storage, run, figure))
        case TimingRule.HOLD:
            return set(_hold_breaches(storage, run, figure))
        case TimingRule.CLOCK_WIDTH:
            return set(_short_pulses(_clock_levels(storage), run, figure))
        case TimingRule.CLEAR_WIDTH if isinstance(storage, FlipFlop):
            levels = [level for level in (storage.clear, storage.preset) if level is not None]
            return set(_short_pulses(levels, run, figure))
        case _:
            raise ValueError("a latch has no clear")


def _figure(rule: TimingRule, timing: Timing) -> int | None:
    return {
        TimingRule.SET_UP: timing.set_up,
        TimingRule.HOLD: timing.hold,
        TimingRule.CLOCK_WIDTH: timing.clock_width,
        TimingRule.CLEAR_WIDTH: timing.clear_width,
    }[rule]


def _data(storage: FlipFlop | Latch) -> tuple[NetId, ...]:
    return storage.data if isinstance(storage, FlipFlop) else (storage.data,)


def _clock_levels(storage: FlipFlop | Latch) -> list[Level]:
    """The levels whose pulses are judged: both of a clock, the active one of an enable."""
    if isinstance(storage, Latch):
        return [storage.enable]
    return [Level(storage.clock, active_high=True), Level(storage.clock, active_high=False)]


def _set_up_breaches(storage: FlipFlop | Latch, run: Run, set_up: int) -> Iterator[int]:
    """The edges that come less than `set_up` ns after a data pin has changed, in the same move included."""
    times = _times(run)
    for i in range(1, len(run)):
        if _takes(storage, run.instants[i - 1], run.instants[i]):
            changes = (_last_change(run, pin, i) for pin in _data(storage))
            if any(last is not None and times[i] - times[last] < set_up for last in changes):
                yield i


def _hold_breaches(storage: FlipFlop | Latch, run: Run, hold: int) -> Iterator[int]:
    """The changes of a data pin less than `hold` ns after an edge, in the same move included."""
    times = _times(run)
    edges = [i for i in range(1, len(run)) if _takes(storage, run.instants[i - 1], run.instants[i])]
    for i in range(1, len(run)):
        if not _changed(run, i).isdisjoint(_data(storage)) and any(
            edge <= i and times[i] - times[edge] < hold for edge in edges
        ):
            yield i


def _short_pulses(levels: list[Level], run: Run, width: int) -> Iterator[int]:
    """The instants at which an active pulse of one of these levels ends that was shorter."""
    times = _times(run)
    for i in range(1, len(run)):
        ending = [level.net for level in levels if _ends(level, run.instants[i - 1], run.instants[i])]
        if any(_is_short(run, times, net, i, width) for net in ending):
            yield i


def _ends(level: Level, before: Instant, after: Instant) -> bool:
    return before[level.net] == level.active_high != after[level.net]


def _takes(storage: FlipFlop | Latch, before: Instant, after: Instant) -> bool:
    """A flip-flop samples, or a latch closes, in the move from one instant to the other."""
    if isinstance(storage, Latch):
        return _ends(storage.enable, before, after)
    forcing = [level for level in (storage.clear, storage.preset) if level is not None]
    if any(after[level.net] == level.active_high for level in forcing):
        return False
    return _ends(Level(storage.clock, active_high=storage.edge is Edge.FALL), before, after)
