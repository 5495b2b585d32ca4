"""Random small circuits in the delay views: the product's verdicts against brute force, and both against real time.

EDGEWRIGHT_RANDOM_DELAYS says how many circuits of each view are compared (60 if it is not set).
A failure prints its seed and the circuit as wiring text.
"""

from __future__ import annotations

import os
from collections import Counter
from random import Random

import pytest

from oracle_delays.comparison import beaten_in_real_time, count, differences, expected, report

CIRCUITS = int(os.environ.get("EDGEWRIGHT_RANDOM_DELAYS", "60"))
CHUNK = 10
"""Circuits a test: small enough for several workers to share the load."""
RUNS_OF_ONE_CIRCUIT = 25
EVENTS_OF_ONE_RUN = 30


@pytest.mark.parametrize("timed", [True, False])
@pytest.mark.parametrize("first_seed", range(0, CIRCUITS, CHUNK))
def test_verdicts_and_measured_numbers_agree_with_brute_force(first_seed: int, timed: bool) -> None:
    for seed in range(first_seed, min(first_seed + CHUNK, CIRCUITS)):
        wanted = expected(Random(seed), timed=timed)
        found = differences(wanted)
        assert not found, report(f"expected(Random({seed}), timed={timed})", wanted, found)


@pytest.mark.parametrize("first_seed", range(0, CIRCUITS, CHUNK))
def test_no_run_in_real_time_breaks_what_brute_force_in_whole_ns_has_proved(first_seed: int) -> None:
    """Delays, times of inputs and coincidences are any rational numbers that the ranges permit."""
    for seed in range(first_seed, min(first_seed + CHUNK, CIRCUITS)):
        random = Random(seed)
        wanted = expected(random)
        found = beaten_in_real_time(wanted, random, RUNS_OF_ONE_CIRCUIT, EVENTS_OF_ONE_RUN)
        assert not found, report(f"expected(Random({seed}))", wanted, found)


@pytest.mark.parametrize(
    ("timed", "least"),
    [
        (True, {"broken": 15, "proved": 20, "shown": 1, "asked proved": 10, "number": 8, "figure broken": 10}),
        (False, {"broken": 15, "proved": 15, "empty": 1}),
    ],
)
def test_the_random_circuits_are_no_degenerate_mix(timed: bool, least: dict[str, int]) -> None:
    seen: Counter[str] = Counter()
    for seed in range(60):
        count(expected(Random(seed), timed=timed), seen)
    assert {name: seen[name] for name, number in least.items() if seen[name] < number} == {}
