"""Random small circuits with claims about the endless future: the product's verdicts and runs against the oracle.

EDGEWRIGHT_RANDOM_CIRCUITS says how many circuits are compared (700 if it is not set).
A failure prints its seed and the design as Python that makes it again.
"""

from __future__ import annotations

import os
from collections import Counter
from random import Random

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from oracle.comparison import report
from oracle.temporal_comparison import count, differences, expected

CIRCUITS = int(os.environ.get("EDGEWRIGHT_RANDOM_CIRCUITS", "700"))
CHUNK = 25
"""Circuits a test: small enough for several workers to share the load."""


@pytest.mark.parametrize("first_seed", range(0, CIRCUITS, CHUNK))
def test_verdicts_about_endless_runs_agree_with_brute_force_and_every_run_shown_is_one(first_seed: int) -> None:
    for seed in range(first_seed, min(first_seed + CHUNK, CIRCUITS)):
        wanted = expected(Random(seed))
        found = differences(wanted)
        assert not found, report(f"expected(Random({seed}))", wanted.design, found)


@settings(
    max_examples=max(30, CIRCUITS // 50),
    deadline=None,
    database=None,
    derandomize=True,
    phases=(Phase.generate, Phase.shrink),
    suppress_health_check=list(HealthCheck),
)
@given(random=st.randoms(use_true_random=False))
def test_verdicts_about_endless_runs_agree_on_circuits_that_shrink(random: Random) -> None:
    """Fewer than the seeded ones, but a difference found here comes out as small as it can be made."""
    wanted = expected(random, at_most=4_000)
    found = differences(wanted)
    assert not found, report("found by hypothesis", wanted.design, found)


def test_the_random_temporal_designs_are_no_degenerate_mix() -> None:
    seen: Counter[str] = Counter()
    for seed in range(120):
        count(expected(Random(seed)), seen)
    least = {
        "proved endless": 35,
        "broken endless": 20,
        "shown endless": 10,
        "impossible endless": 10,
        "empty": 4,
        "given about the future": 20,
        "settles broken": 2,
        "settles proved": 8,
        "ContradictoryGivensError": 3,
        "with runs": 90,
    }
    assert {name: seen[name] for name, number in least.items() if seen[name] < number} == {}
