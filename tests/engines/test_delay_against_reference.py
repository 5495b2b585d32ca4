"""The search of all states in time, against sets of plain tuples (`delay_reference.py`)."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from engines.delay_reference import Reference, State
from engines.random_delay_systems import random_delay_system
from verifier.engines import delay_reachability, delay_steps, packed_states
from verifier.engines.delay_reachability import DelayedReached, DelayedUnreachable, decide_delayed
from verifier.logic.bit_graph import FALSE
from verifier.logic.delay_system import DelayedInstant, DelaySystem, Timer
from verifier.logic.reached_states import NOT_EXCITED, ReachedStates, layout_of

SEEDS = range(160)


def spelled(states: ReachedStates) -> list[State]:
    """Every state, as the reference writes it."""
    found: list[State] = []
    for part in states.chunks(most=1000):
        values = zip(*(column.tolist() for column in part.values), strict=True)
        ages = [[None if age == NOT_EXCITED else age for age in column.tolist()] for column in part.ages]
        counts = [column.tolist() for column in part.counts]
        rows = len(part.values[0])
        for row, bits in zip(range(rows), values, strict=True):
            found.append((bits, tuple(column[row] for column in ages), tuple(column[row] for column in counts)))
    return found


def follow(reference: Reference, instants: tuple[DelayedInstant, ...]) -> None:
    """Fails unless a run of the reference shows these instants and is bad at the last one and at none before."""
    first, *others = instants
    standing = [
        (state, is_bad) for state, is_bad in reference.first() if state[0] == first.values and is_bad == (not others)
    ]
    at = first.at
    assert at == 0
    for number, instant in enumerate(others, start=1):
        is_last = number == len(others)
        may_tick = reference.system.timed and instant.at == at + 1
        assert may_tick or instant.at == at
        standing = [
            (step.target, step.is_bad)
            for state, _ in standing
            for step in reference.steps(state)
            if step.target[0] == instant.values
            and step.fired == instant.fired
            and step.is_tick == may_tick
            and step.is_bad >= is_last
        ]
        at = instant.at
    assert any(is_bad for _, is_bad in standing)


def time_of(system: DelaySystem, instants: tuple[DelayedInstant, ...]) -> int:
    return instants[-1].at if system.timed else len(instants) - 1


def agree(system: DelaySystem) -> None:
    reference = Reference(system)
    states, bad_at = reference.reachable()
    decision = decide_delayed(system, limit_seconds=60)
    if bad_at is None:
        assert isinstance(decision, DelayedUnreachable)
        found = spelled(decision.states)
        assert len(found) == decision.states.count
        assert len(set(found)) == len(found)
        assert set(found) == states
    else:
        assert isinstance(decision, DelayedReached)
        assert time_of(system, decision.instants) == bad_at
        follow(reference, decision.instants)


@pytest.mark.parametrize("seed", SEEDS)
def test_states_verdict_and_counterexample_are_those_of_the_reference(seed: int) -> None:
    agree(random_delay_system(Random(seed)))


@pytest.mark.parametrize("seed", SEEDS[:30])
def test_nothing_changes_when_everything_is_done_in_small_parts(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(delay_reachability, "CHUNK", 7)
    monkeypatch.setattr(delay_reachability, "MOST_WAITING", 5)
    monkeypatch.setattr(delay_steps, "MOST_CANDIDATES", 4)
    monkeypatch.setattr(delay_steps, "MOST_OF_A_GROUP", 2)
    monkeypatch.setattr(packed_states, "FIRST_CAPACITY", 2)
    monkeypatch.setattr(packed_states, "PART_OF_TABLE", 4)
    agree(random_delay_system(Random(seed)))


@pytest.mark.parametrize("seed", SEEDS[:30])
def test_a_state_may_take_more_than_64_bits(seed: int) -> None:
    """Timers that stand at their most from the first instant on, and are never reset, make it wider."""
    system = random_delay_system(Random(seed))
    wide = [
        Timer(name=f"wide {width}", most=(1 << width) - 1, reset=FALSE, start=(1 << width) - 1, readings=())
        for width in (31, 7, 13, 25)
    ]
    timers = (*wide[:2], *system.timers, *wide[2:])
    assert layout_of(replace(system, timers=timers)).word_count == 2
    agree(replace(system, timers=timers))


def test_the_random_systems_are_of_every_kind() -> None:
    verdicts, sizes = set(), []
    used = set()
    for seed in SEEDS:
        system = random_delay_system(Random(seed))
        states, bad_at = Reference(system).reachable()
        verdicts.add((system.timed, bad_at is None, bad_at == 0))
        sizes.append(len(states))
        used |= {(name, bool(getattr(system, name))) for name in ("sources", "followers", "timers", "choices")}
    assert len(verdicts) == 6
    assert len(used) == 8
    assert sum(size > 100 for size in sizes) > 15
    assert max(sizes) > 1000
