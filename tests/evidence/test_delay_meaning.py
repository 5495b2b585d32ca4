"""Words that count ns mean what section 33 of the reference says, compared with scans that walk a run once."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest

from evidence.delay_bench import circuit
from verifier.claims.formula import (
    Always,
    Bound,
    Formula,
    LeadsTo,
    Never,
    NeverGlitches,
    Pulses,
    PulsesLast,
    Settles,
    Signal,
    Step,
    StepWord,
    Unit,
    WithinTheLast,
)
from verifier.claims.run import Instant, Run, StepEvents
from verifier.claims.timed_meaning import evaluate_in_time, first_breach_in_time, with_every_tick

NETLIST = circuit("lever rope", "beat = xor lever rope; bell = and lever rope")
LEVER, BEAT = Signal(name="lever", nets=(0,)), Signal(name="beat", nets=(2,))
BOTH = Signal(name="carillon", nets=(2, 3), width=2)


def ns(amount: int) -> Bound:
    return Bound(amount, Unit.NANOSECONDS)


def run(instants: list[Instant], times: list[int]) -> Run:
    return Run(tuple(instants), (StepEvents(),) * len(instants), times=tuple(times))


def random_run(random: Random) -> Run:
    values, times = [False] * 4, [0]
    instants = [tuple(values)]
    for _ in range(random.randrange(1, 15)):
        passed = random.choice((0, 0, 1, 1, 2, 3, 7))
        turned = random.randrange(4) if not passed or random.random() < 0.8 else None
        values = [value != (net == turned) for net, value in enumerate(values)]
        instants.append(tuple(values))
        times.append(times[-1] + passed)
    return run(instants, times)


def ticked(one: Run) -> tuple[list[Instant], list[int]]:
    """All instants with their times, from the last moment to the first."""
    assert one.times is not None
    instants, times = [one.instants[0]], [0]
    for instant, time in zip(one.instants[1:], one.times[1:], strict=True):
        moves = instant != instants[-1]
        while times[-1] < time:
            instants.append(instants[-1])
            times.append(times[-1] + 1)
        if moves:
            instants.append(instant)
            times.append(time)
    return instants, times


def scanned_within(held: list[bool], times: list[int], most: int) -> list[int]:
    latest: int | None = None
    found = []
    for holds, time in zip(held, times, strict=True):
        latest = time if holds else latest
        found.append(int(latest is not None and time <= latest + most))
    return found


def scanned_leads_to(trigger: list[bool], goal: list[bool], times: list[int], most: int) -> list[int]:
    waiting: list[int] = []
    found = []
    for starts, ends, time in zip(trigger, goal, times, strict=True):
        deadlines = [begun + most for begun in waiting]
        found.append(int(all(deadline >= time for deadline in deadlines)))
        waiting = [begun for begun in waiting if begun + most >= time]
        waiting += [time] if starts else []
        waiting = [] if ends else waiting
    return found


def scanned_pulses(net: int, instants: list[Instant], times: list[int], least: int, kinds: str) -> set[int]:
    """The instants that end a pulse which was too short; a pulse is the time between two changes."""
    changes = [i for i, (old, new) in enumerate(pairwise(instants), 1) if old[net] != new[net]]
    return {
        end
        for begin, end in pairwise(changes)
        if times[end] - times[begin] < least and ("high" if instants[begin][net] else "low") in kinds
    }


@pytest.mark.parametrize("most", [0, 1, 3])
def test_words_that_count_ns_mean_what_a_scan_of_the_run_finds(most: int) -> None:
    breaches = 0
    for seed in range(300):
        one = random_run(Random(seed))
        instants, times = ticked(one)
        lever, beat = ([instant[net] for instant in instants] for net in (0, 2))
        rises = [i > 0 and value and not lever[i - 1] for i, value in enumerate(lever)]
        within = evaluate_in_time(WithinTheLast(operand=LEVER, bound=ns(most)), one, NETLIST)
        assert list(within) == scanned_within(lever, times, most)
        trigger = Step(word=StepWord.RISES, operand=LEVER)
        leads = evaluate_in_time(LeadsTo(left=trigger, right=BEAT, bound=ns(most)), one, NETLIST)
        assert list(leads) == scanned_leads_to(rises, beat, times, most)
        breaches += leads.count(0)
    assert breaches > 20


@pytest.mark.parametrize(("pulses", "kinds"), [(Pulses.BOTH, "high low"), (Pulses.HIGH, "high"), (Pulses.LOW, "low")])
def test_pulses_mean_what_their_changes_say(pulses: Pulses, kinds: str) -> None:
    breaches = 0
    for seed in range(300):
        one = random_run(Random(seed))
        instants, times = ticked(one)
        for least in (0, 1, 4):
            formula = PulsesLast(signal=BOTH, pulses=pulses, at_least=ns(least))
            broken = {i for i, value in enumerate(evaluate_in_time(formula, one, NETLIST)) if not value}
            assert broken == set.union(*(scanned_pulses(n, instants, times, least, kinds) for n in (2, 3)))
            breaches += len(broken)
    assert breaches > 20


def test_a_net_glitches_when_it_changes_twice_between_two_input_changes() -> None:
    glitches = 0
    for seed in range(300):
        instants, times = ticked(random_run(Random(seed)))
        moves = [[n for n in range(4) if old[n] != new[n]] for old, new in pairwise(instants)]
        expected, counted = [1], 0
        for turned in moves:
            counted = 0 if turned and turned[0] < 2 else counted + (2 in turned)
            expected.append(int(counted < 2 or 2 not in turned))
        assert list(evaluate_in_time(NeverGlitches(signal=BEAT), run(instants, times), NETLIST)) == expected
        glitches += expected.count(0)
    assert glitches > 20


def test_a_deadline_passes_at_the_first_tick_that_is_later() -> None:
    one = run([(False,) * 4, (True, False, False, False), (True, False, True, False)], [0, 5, 12])
    formula = LeadsTo(left=LEVER, right=BEAT, bound=ns(3))
    full = with_every_tick(one).run
    breach = first_breach_in_time(formula, one, NETLIST)
    assert breach is not None
    assert full.times is not None
    assert full.times[breach] == 9
    assert first_breach_in_time(LeadsTo(left=LEVER, right=BEAT, bound=ns(7)), one, NETLIST) is None


def test_a_move_after_several_ns_comes_when_they_have_passed() -> None:
    low, high = (False,) * 4, (True, False, False, False)
    full = with_every_tick(run([low, high, high], [0, 2, 4]))
    assert full.run.times == (0, 1, 2, 2, 3, 4)
    assert full.run.instants == (low, low, low, high, high, high)
    assert full.listed == (0, 3, 5)


def test_a_run_without_times_has_no_ticks_and_counts_steps() -> None:
    one = Run(((False,) * 4, (True, False, False, False)), (StepEvents(),) * 2)
    assert evaluate_in_time(WithinTheLast(operand=LEVER, bound=Bound(0, Unit.STEPS)), one, NETLIST) == (0, 1)


@pytest.mark.parametrize(
    "formula",
    [
        Settles(),
        Always(operand=Never(operand=LEVER)),
        WithinTheLast(operand=LEVER, bound=Bound(1, Unit.STEPS)),
        LeadsTo(left=LEVER, right=BEAT, bound=Bound(1, Unit.STEPS)),
        LeadsTo(left=LEVER, right=BEAT),
        PulsesLast(signal=BEAT, pulses=Pulses.BOTH, at_least=Bound(1, Unit.STEPS)),
    ],
    ids=str,
)
def test_what_a_finite_run_in_time_does_not_decide_is_refused(formula: Formula) -> None:
    with pytest.raises(ValueError, match=r"decide|steps|outermost|bound"):
        first_breach_in_time(formula, run([(False,) * 4], [0]), NETLIST)


def test_what_counts_ns_is_refused_where_there_are_no_times() -> None:
    bare = Run(((False,) * 4,), (StepEvents(),))
    with pytest.raises(ValueError, match="ns"):
        evaluate_in_time(WithinTheLast(operand=LEVER, bound=ns(1)), bare, NETLIST)
