"""Runs found among samples of the states, against sets of plain tuples (`delay_reference.py`)."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from engines.delay_reference import Reference
from engines.random_delay_systems import random_delay_system
from engines.test_delay_against_reference import follow
from verifier.engines import delay_sampling
from verifier.engines.delay_sampling import Samples
from verifier.logic.bit_graph import FALSE, TRUE

SEEDS = range(60)
LONGEST = 40
"""ns; the random systems repeat themselves before that."""


def test_every_run_that_is_found_is_one_of_the_reference_and_not_too_early() -> None:
    found, missed = 0, 0
    for seed in SEEDS:
        system = random_delay_system(Random(seed))
        if not system.timed:
            continue
        reference = Reference(system)
        _, bad_at = reference.reachable()
        is_near = bad_at is not None and bad_at <= LONGEST
        run = Samples(system, horizon=LONGEST, depth=LONGEST).go_on(60.0 if is_near else 0.02)
        if run is None:
            missed += is_near
            continue
        assert bad_at is not None, f"seed {seed}"
        assert run.instants[-1].at >= bad_at
        follow(reference, run.instants)
        found += 1
    assert found > 15
    assert missed == 0


@pytest.mark.parametrize("width", [1, 3])
def test_runs_are_right_however_few_samples_are_kept(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(delay_sampling, "FIRST_WIDTH", width)
    found = 0
    for seed in SEEDS[:20]:
        system = random_delay_system(Random(seed))
        if not system.timed:
            continue
        reference = Reference(system)
        _, bad_at = reference.reachable()
        if bad_at is None or bad_at > LONGEST:
            continue
        run = Samples(system, horizon=8, depth=LONGEST, seed=seed).go_on(5.0)
        if run is not None:
            follow(reference, run.instants)
            found += 1
    assert found > 5


def test_the_same_seed_finds_the_same_run() -> None:
    system = next(
        system
        for system in map(random_delay_system, map(Random, SEEDS))
        if system.timed and (Reference(system).reachable()[1] or 0) > 2
    )
    first, second = (Samples(system, horizon=LONGEST, seed=7).go_on(10.0) for _ in range(2))
    assert first is not None
    assert first == second


def test_nothing_is_found_where_nothing_is_bad() -> None:
    system = next(system for system in map(random_delay_system, map(Random, SEEDS)) if system.timed)
    harmless = replace(system, bad=FALSE, bad_at_first=FALSE)
    assert Samples(harmless, horizon=5).go_on(0.3) is None


def test_a_bad_first_instant_is_a_run_of_one_instant() -> None:
    system = next(
        system for system in map(random_delay_system, map(Random, SEEDS)) if system.timed and Reference(system).first()
    )
    run = Samples(replace(system, bad_at_first=TRUE), horizon=5).go_on(10.0)
    assert run is not None
    assert [instant.at for instant in run.instants] == [0]
