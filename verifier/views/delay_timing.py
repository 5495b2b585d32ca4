"""What storage parts ask of their pins in the timed view, and what a breach does: `grammar/README.md`, 33."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from verifier.circuit.netlist import FlipFlop, Latch, NetId, Timing
from verifier.claims.formula import TimingRule
from verifier.logic.bit_graph import FALSE, TRUE, Literal
from verifier.logic.delay_system import Follower, Reading, SourceMove, Timer
from verifier.views.delay_elements import DelayedNets
from verifier.views.gate_logic import level_literal


class TimerBench:
    """Makes timers; a reading is a literal that is 1 when so many ns had passed before the move or tick."""

    def __init__(self, nets: DelayedNets) -> None:
        self._graph = nets.graph
        self._made: list[tuple[str, int, Literal, int, dict[int, Literal]]] = []

    def readings(self, name: str, reset: Literal, amounts: list[int], start: int | None = None) -> list[Literal]:
        """A timer that is 0 at every instant with `reset`; it starts at its end, or at `start`."""
        most = max(amounts)
        name = f"{name} {len(self._made)}"  # words of a claim make several timers of one kind
        variables = {n: self._graph.variable(f"{name} {n} ns") for n in sorted(set(amounts)) if n > 0}
        self._made.append((name, most, reset, most if start is None else start, variables))
        return [variables.get(amount, TRUE) for amount in amounts]

    def timers(self, later: Mapping[Literal, Literal], at_first: Mapping[Literal, Literal]) -> tuple[Timer, ...]:
        """All of them, with literals replaced by their images in what resets them, later and at the first instant."""
        return tuple(
            Timer(
                name=name,
                most=most,
                reset=self._graph.substitute([reset], later)[0],
                reset_at_first=self._graph.substitute([reset], at_first)[0],
                start=start,
                readings=tuple(Reading(amount, variable) for amount, variable in variables.items()),
            )
            for name, most, reset, start, variables in self._made
        )

    def at_first(self) -> dict[Literal, Literal]:
        """What every reading is at the first instant."""
        return {
            variable: TRUE if start >= amount else FALSE
            for _, _, _, start, variables in self._made
            for amount, variable in variables.items()
        }


@dataclass(frozen=True, kw_only=True)
class StorageTiming:
    """The figures of one storage part as literals: 1 at an instant that breaches them."""

    breaches: Mapping[TimingRule, Literal]
    unsure: Literal = FALSE
    """In this move, what the flip-flop holds becomes either value."""
    followers: tuple[Follower, ...] = ()
    resolving: tuple[SourceMove, ...] = ()
    """The moves in which what it holds becomes sure."""
    holds_time: Literal = FALSE
    """Time waits for such a move."""


def breach_of(nets: DelayedNets, part: FlipFlop | Latch, rule: TimingRule, bench: TimerBench) -> Literal:
    """That one figure is breached, seen from the pins alone. Pre: the part has the figure."""
    every = part.timing or Timing()
    one = Timing(**{rule.value: getattr(every, rule.value)})
    if isinstance(part, FlipFlop):
        return _flip_flop_breaches(nets, part, one, bench).get(rule, FALSE)
    return _latch_breaches(nets, part, one, bench).get(rule, FALSE)


def flip_flop_timing(nets: DelayedNets, flip_flop: FlipFlop, timing: Timing, bench: TimerBench) -> StorageTiming:
    graph, name = nets.graph, nets.netlist.nets[flip_flop.output].name
    breaches = _flip_flop_breaches(nets, flip_flop, timing, bench)
    # One ns wider: a breach between whole ns may stand on the bound when times are moved to whole ns (33).
    wider = Timing(set_up=timing.set_up and timing.set_up + 1, hold=timing.hold and timing.hold + 1)
    samples = nets.samples(flip_flop)
    near = graph.any_of(_data_breaches(nets, flip_flop.data, samples, wider, f"{name} near", bench).values())
    if near == FALSE:
        return StorageTiming(breaches=breaches)
    return _unsure_for_some_time(nets, flip_flop, timing.settling, near, breaches, bench)


def _flip_flop_breaches(
    nets: DelayedNets, flip_flop: FlipFlop, timing: Timing, bench: TimerBench
) -> dict[TimingRule, Literal]:
    graph, name = nets.graph, nets.netlist.nets[flip_flop.output].name
    breaches: dict[TimingRule, Literal] = {}
    if timing.set_up or timing.hold:
        breaches = _data_breaches(nets, flip_flop.data, nets.samples(flip_flop), timing, f"{name} data", bench)
    if timing.clock_width:
        changed = nets.changed(flip_flop.clock)
        (wide,) = bench.readings(f"{name} clock", changed, [timing.clock_width])
        breaches[TimingRule.CLOCK_WIDTH] = graph.conjunction(changed, wide ^ 1)
    if timing.clear_width:
        narrow = []
        for pin in (flip_flop.clear, flip_flop.preset):
            if pin is not None:
                ends = graph.conjunction(nets.changed(pin.net), level_literal(pin, nets.before))
                (wide,) = bench.readings(f"{name} {pin.net}", nets.changed(pin.net), [timing.clear_width])
                narrow.append(graph.conjunction(ends, wide ^ 1))
        if narrow:
            breaches[TimingRule.CLEAR_WIDTH] = graph.any_of(narrow)
    return breaches


def latch_timing(nets: DelayedNets, latch: Latch, timing: Timing, bench: TimerBench) -> StorageTiming:
    return StorageTiming(breaches=_latch_breaches(nets, latch, timing, bench))


def _latch_breaches(nets: DelayedNets, latch: Latch, timing: Timing, bench: TimerBench) -> dict[TimingRule, Literal]:
    graph, name = nets.graph, nets.netlist.nets[latch.output].name
    was_open, is_open = level_literal(latch.enable, nets.before), level_literal(latch.enable, nets.now)
    closes = graph.conjunction(was_open, is_open ^ 1)
    breaches: dict[TimingRule, Literal] = {}
    if timing.set_up or timing.hold:
        breaches = _data_breaches(nets, (latch.data,), closes, timing, f"{name} data", bench)
    if timing.clock_width:
        (wide,) = bench.readings(f"{name} enable", nets.changed(latch.enable.net), [timing.clock_width])
        breaches[TimingRule.CLOCK_WIDTH] = graph.conjunction(closes, wide ^ 1)
    return breaches


def _data_breaches(
    nets: DelayedNets, pins: tuple[NetId, ...], takes: Literal, timing: Timing, name: str, bench: TimerBench
) -> dict[TimingRule, Literal]:
    """`takes` is 1 in a move that takes the data in."""
    graph, changed = nets.graph, nets.data_changed(pins)
    found: dict[TimingRule, Literal] = {}
    if timing.set_up:
        (steady,) = bench.readings(f"{name} steady", changed, [timing.set_up])
        unsteady = graph.disjunction(changed, steady ^ 1)
        found[TimingRule.SET_UP] = graph.conjunction(takes, unsteady)
    if timing.hold:
        (long_ago,) = bench.readings(f"{name} taken", takes, [timing.hold])
        soon = graph.disjunction(takes, long_ago ^ 1)
        found[TimingRule.HOLD] = graph.conjunction(changed, soon)
    return found


def _unsure_for_some_time(
    nets: DelayedNets,
    flip_flop: FlipFlop,
    settling: int,
    breached: Literal,
    breaches: Mapping[TimingRule, Literal],
    bench: TimerBench,
) -> StorageTiming:
    """Unsure is when `doubt` and `resolved` differ; a move of its own turns `resolved` over, and time waits for it."""
    graph, name = nets.graph, nets.netlist.nets[flip_flop.output].name
    doubt, resolved = nets.bit(f"{name} doubt"), nets.bit(f"{name} resolved")
    was_unsure = graph.exclusive_or(doubt.before, resolved.before)
    resolves = graph.exclusive_or(resolved.before, resolved.now)
    forced = _forced(nets, flip_flop)
    sure = graph.any_of([nets.samples(flip_flop), forced, resolves])
    kept = graph.select(sure, resolved.now, doubt.before)
    begins = graph.all_of([breached, forced ^ 1, graph.disjunction(was_unsure ^ 1, sure)])
    (too_long,) = bench.readings(f"{name} unsure", breached, [settling])
    is_unsure = graph.exclusive_or(doubt.now, resolved.now)
    return StorageTiming(
        breaches=breaches,
        unsure=graph.conjunction(was_unsure, resolves),
        followers=(Follower(bit=doubt, next=graph.exclusive_or(kept, begins)),),
        resolving=(SourceMove(bits=(resolved,), enabled=is_unsure),),
        holds_time=graph.conjunction(is_unsure, too_long),
    )


def _forced(nets: DelayedNets, flip_flop: FlipFlop) -> Literal:
    clear, preset = level_literal(flip_flop.clear, nets.now), level_literal(flip_flop.preset, nets.now)
    return nets.graph.disjunction(clear, preset)
