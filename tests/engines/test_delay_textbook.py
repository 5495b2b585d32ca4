"""Circuits whose behaviour in time stands in textbooks, and the limits of the search.

Sources, all from memory: N. Weste, D. Harris, "CMOS VLSI Design" (ring oscillators: a period of twice the summed
delay); J. Brzozowski, C.-J. Seger, "Asynchronous Circuits" (1995; inertial delays, cross-coupled gates that oscillate);
D. Muller, W. Bartky, "A theory of asynchronous circuits" (1959; the C-element).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import pairwise

import pytest

from verifier.engines.decision import Undecided
from verifier.engines.delay_reachability import DelayedReached, DelayedUnreachable, decide_delayed
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.logic.delay_system import Bit, Delay, DelayedElement, DelaySystem, Reading, SourceMove, Timer


@dataclass
class Bench:
    """Wires up a system piece by piece."""

    timed: bool = True
    graph: BitGraph = field(default_factory=BitGraph)
    sources: list[Bit] = field(default_factory=list)
    elements: list[DelayedElement] = field(default_factory=list)
    timers: list[Timer] = field(default_factory=list)
    moves: list[SourceMove] = field(default_factory=list)

    def bit(self, name: str) -> Bit:
        return Bit(name, self.graph.variable(f"before {name}"), self.graph.variable(name))

    def source(self, name: str) -> Bit:
        self.sources.append(self.bit(name))
        return self.sources[-1]

    def gate(self, bit: Bit, target: Literal, delay: Delay) -> Bit:
        self.elements.append(DelayedElement(bit=bit, target=target, rise=delay, fall=delay))
        return bit

    def changes(self, bit: Bit) -> Literal:
        return self.graph.exclusive_or(bit.before, bit.now)

    def rises(self, bit: Bit) -> Literal:
        return self.graph.conjunction(bit.before ^ 1, bit.now)

    def timer(self, reset: Literal, most: int, start: int, *at_least: int) -> list[Literal]:
        readings = tuple(Reading(number, self.graph.variable(f"at least {number}")) for number in at_least)
        self.timers.append(Timer(name="timer", most=most, reset=reset, start=start, readings=readings))
        return [reading.variable for reading in readings]

    def system(self, first: Literal, bad: Literal, holds_time: Literal = FALSE) -> DelaySystem:
        return DelaySystem(
            graph=self.graph,
            timed=self.timed,
            sources=tuple(self.sources),
            elements=tuple(self.elements),
            followers=(),
            timers=tuple(self.timers),
            moves=tuple(self.moves),
            first=first,
            bad_at_first=FALSE,
            bad=bad,
            holds_time=holds_time,
        )


def is_reached(system: DelaySystem) -> bool:
    decision = decide_delayed(system, limit_seconds=60)
    assert isinstance(decision, DelayedReached | DelayedUnreachable)
    return isinstance(decision, DelayedReached)


def ring(delays: list[Delay], *, changes: bool, at_least: int = 0, below: int | None = None) -> DelaySystem:
    """An odd number of inverters, low and high in turn, so that the first alone is excited.

    Bad: the first bell has stood for `at_least` ns, and for less than `below`; if `changes`, and changes now.
    """
    bench = Bench()
    bells = [bench.bit(f"bell {place}") for place in range(len(delays))]
    for place, delay in enumerate(delays):
        bench.gate(bells[place], bells[place - 1].now ^ 1, delay)
    longest = sum(delay.high for delay in delays)
    # As if the first bell had changed as long ago as the others take.
    start = sum(delay.low for delay in delays[1:])
    stood, too_long = bench.timer(
        bench.changes(bells[0]), longest + 1, start, at_least, longest + 2 if below is None else below
    )
    first = bench.graph.all_of(bell.now ^ (place % 2 == 0) for place, bell in enumerate(bells))
    asked = bench.graph.conjunction(stood, too_long ^ 1)
    return bench.system(first, bench.graph.conjunction(asked, bench.changes(bells[0])) if changes else asked)


RINGS = [[7, 7, 7], [1, 2, 3], [3, 1, 4, 1, 5], [2, 2, 2, 2, 2, 2, 2]]


@pytest.mark.parametrize("slack", [0, 1])
@pytest.mark.parametrize("delays", RINGS, ids=str)
def test_a_ring_oscillates_with_a_period_of_twice_its_summed_delay(delays: list[int], slack: int) -> None:
    """Half a period is the summed delay; with ranges, between the summed bounds, and both bounds occur."""
    ranges = [Delay(delay, delay + slack) for delay in delays]
    shortest, longest = sum(delays), sum(delays) + slack * len(delays)
    assert not is_reached(ring(ranges, changes=True, below=shortest))
    assert not is_reached(ring(ranges, changes=False, at_least=longest + 1))
    assert is_reached(ring(ranges, changes=True, at_least=shortest, below=shortest + 1))
    assert is_reached(ring(ranges, changes=True, at_least=longest))


def test_a_ring_turns_over_for_the_second_time_after_half_a_period_more() -> None:
    """So long is the shortest run to a change that comes after the bell has been high."""
    bench_delays = [Delay(3, 3), Delay(4, 4), Delay(5, 5)]
    system = ring(bench_delays, changes=True)
    bell = system.elements[0].bit
    falls = system.graph.conjunction(bell.before, bell.now ^ 1)
    decision = decide_delayed(replace(system, bad=falls), limit_seconds=60)
    assert isinstance(decision, DelayedReached)
    assert decision.instants[-1].at == 3 + 12
    fired = [(instant.at, instant.fired) for instant in decision.instants if instant.fired]
    assert fired == [(3, (0,)), (7, (1,)), (12, (2,)), (15, (0,))]
    for before, after in pairwise(decision.instants):
        assert after.at - before.at == (0 if after.fired else 1)


def pulse_through(width: int, delay: Delay) -> DelaySystem:
    """The lever is high for `width` ns and low ever after; a buffer follows it. Bad: the buffer changes."""
    bench = Bench()
    lever, bell = bench.source("lever"), bench.bit("bell")
    bench.gate(bell, lever.now, delay)
    (is_over,) = bench.timer(FALSE, width, 0, width)
    falling = bench.graph.conjunction(lever.now, is_over)
    bench.moves.append(SourceMove(bits=(lever,), enabled=falling))
    first = bench.graph.conjunction(lever.now, bell.now ^ 1)
    return bench.system(first, bench.changes(bell), holds_time=falling)


@pytest.mark.parametrize(
    ("width", "delay", "may_pass", "may_vanish"),
    [
        (4, Delay(5, 5), False, True),
        (5, Delay(5, 5), True, True),
        (6, Delay(5, 5), True, False),
        (2, Delay(3, 7), False, True),
        (3, Delay(3, 7), True, True),
        (7, Delay(3, 7), True, True),
        (8, Delay(3, 7), True, False),
        (299, Delay(300, 300), False, True),
        (301, Delay(300, 300), True, False),
    ],
)
def test_an_inertial_gate_absorbs_a_pulse_narrower_than_its_delay(
    width: int, delay: Delay, may_pass: bool, may_vanish: bool
) -> None:
    system = pulse_through(width, delay)
    assert is_reached(system) == may_pass
    # Absorbed: low again, the gate never having moved.
    lever, gate = system.sources[0], system.elements[0].bit
    vanished = system.graph.conjunction(lever.now ^ 1, gate.now ^ 1)
    assert is_reached(replace(system, bad=vanished, permitted=system.bad ^ 1)) == may_vanish


@pytest.mark.parametrize("delay", [Delay(2, 2), Delay(1, 3)], ids=str)
def test_cross_coupled_gates_let_go_together_may_oscillate_for_as_long_as_one_likes(delay: Delay) -> None:
    """Both outputs of two NANDs are high, both pins go high: with equal delays they go on turning over together."""
    bench = Bench()
    left, right = bench.bit("left"), bench.bit("right")
    bench.gate(left, right.now ^ 1, delay)
    bench.gate(right, left.now ^ 1, delay)
    (late,) = bench.timer(FALSE, 50, 0, 50)
    both = bench.graph.conjunction(left.now, right.now)
    together = bench.graph.conjunction(both, bench.graph.conjunction(bench.changes(left), bench.changes(right)))
    assert is_reached(bench.system(both, bench.graph.conjunction(together, late)))
    # Once they differ, nothing is excited and nothing moves.
    settled = bench.graph.exclusive_or(left.now, right.now)
    assert not is_reached(bench.system(settled, bench.graph.disjunction(bench.changes(left), bench.changes(right))))


def c_element(bad: Callable[[Bench, Bit, Bit, Bit], Literal]) -> DelaySystem:
    """Its inputs change one at a time, when it is not excited; delays are any at all."""
    bench = Bench(timed=False)
    a, b, c = bench.source("a"), bench.source("b"), bench.bit("c")
    graph = bench.graph
    rise, stay = graph.conjunction(a.now, b.now), graph.conjunction(c.now, graph.disjunction(a.now, b.now))
    target = graph.disjunction(rise, stay)
    bench.gate(c, target, Delay(0, 0))
    quiet = graph.equivalence(c.now, target)
    bench.moves += [SourceMove(bits=(a,), enabled=quiet), SourceMove(bits=(b,), enabled=quiet)]
    return bench.system(quiet, bad(bench, a, b, c))


def test_a_c_element_waits_for_both_inputs_and_then_follows_them() -> None:
    def moves_against(bench: Bench, a: Bit, b: Bit, c: Bit) -> Literal:
        agree = bench.graph.all_of((bench.graph.equivalence(a.now, c.now), bench.graph.equivalence(b.now, c.now)))
        return bench.graph.conjunction(bench.changes(c), agree ^ 1)

    assert not is_reached(c_element(moves_against))
    assert is_reached(c_element(lambda bench, a, b, c: bench.rises(c)))
    decision = decide_delayed(c_element(lambda bench, a, b, c: bench.rises(a)), limit_seconds=60)
    assert isinstance(decision, DelayedReached)
    unreached = decide_delayed(c_element(lambda bench, a, b, c: FALSE), limit_seconds=60)
    assert isinstance(unreached, DelayedUnreachable)
    assert unreached.states.count == 8


def test_the_shortest_run_to_a_rising_c_element_is_two_moves_and_a_firing() -> None:
    def rises_from_rest(bench: Bench, a: Bit, b: Bit, c: Bit) -> Literal:
        return bench.rises(c)

    system = c_element(rises_from_rest)
    at_rest = system.graph.all_of(bit.now ^ 1 for bit in (*system.sources, system.elements[0].bit))
    decision = decide_delayed(replace(system, first=at_rest), limit_seconds=60)
    assert isinstance(decision, DelayedReached)
    assert len(decision.instants) == 4
    assert [instant.at for instant in decision.instants] == [0, 0, 0, 0]
    assert decision.instants[-1].fired == (0,)
    assert decision.instants[-1].values == (True, True, True)


# Limits


def counting(most: int) -> DelaySystem:
    """A lever that may change at any time, and a timer since the first instant."""
    bench = Bench()
    lever = bench.source("lever")
    (late,) = bench.timer(FALSE, most, 0, most)
    bench.moves.append(SourceMove(bits=(lever,), enabled=TRUE))
    return bench.system(TRUE, late)


def test_a_run_of_exactly_the_depth_is_found_and_one_beyond_it_is_not() -> None:
    assert isinstance(decide_delayed(counting(20), limit_seconds=60, depth=20), DelayedReached)
    undecided = decide_delayed(counting(20), limit_seconds=60, depth=19)
    assert isinstance(undecided, Undecided)
    assert "19 ns" in undecided.reason
    assert undecided.searched_to == 20


def test_without_delays_the_depth_is_in_moves() -> None:
    system = c_element(lambda bench, a, b, c: bench.rises(c))
    at_rest = system.graph.all_of(bit.now ^ 1 for bit in (*system.sources, system.elements[0].bit))
    system = replace(system, first=at_rest)
    assert isinstance(decide_delayed(system, limit_seconds=60, depth=3), DelayedReached)
    undecided = decide_delayed(system, limit_seconds=60, depth=2)
    assert isinstance(undecided, Undecided)
    assert "2 moves" in undecided.reason


def test_no_time_is_an_undecided_answer() -> None:
    undecided = decide_delayed(counting(1 << 20), limit_seconds=0.0)
    assert isinstance(undecided, Undecided)
    assert "time ran out" in undecided.reason


def test_no_memory_is_an_undecided_answer() -> None:
    undecided = decide_delayed(counting(1 << 16), limit_seconds=60, memory_bytes=120_000)
    assert isinstance(undecided, Undecided)
    assert "memory" in undecided.reason
    assert undecided.searched_to > 100


def test_progress_is_told_how_many_states_there_are() -> None:
    told: list[int] = []
    decision = decide_delayed(replace(counting(30), bad=FALSE), limit_seconds=60, progress=told.append)
    assert isinstance(decision, DelayedUnreachable)
    assert told == sorted(told)
    assert told[-1] == decision.states.count == 2 * 31


def test_a_system_with_no_first_instant_reaches_nothing() -> None:
    decision = decide_delayed(replace(counting(3), first=FALSE), limit_seconds=60)
    assert isinstance(decision, DelayedUnreachable)
    assert decision.states.count == 0


def test_a_state_with_too_many_moves_is_an_undecided_answer() -> None:
    """24 excited elements may fire in any combination."""
    bench = Bench(timed=False)
    bells = [bench.bit(f"bell {place}") for place in range(24)]
    for bell in bells:
        bench.gate(bell, TRUE, Delay(0, 0))
    undecided = decide_delayed(
        bench.system(bench.graph.all_of(bell.now ^ 1 for bell in bells), FALSE), limit_seconds=60
    )
    assert isinstance(undecided, Undecided)
    assert "16777215 moves" in undecided.reason
