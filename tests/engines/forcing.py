"""One way of deciding at a time: the explicit one alone, or the symbolic ones alone."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from unittest.mock import patch

from verifier.engines import explicit_search, explicit_states
from verifier.engines.decision import Decision
from verifier.engines.explicit_search import ENGINE

ENOUGH = 60.0


@contextmanager
def nothing_is_small_enough() -> Iterator[None]:
    """No system fits the explicit way."""
    with patch.object(explicit_states, "MOST_REGISTERS", -1):
        yield


@contextmanager
def everything_is_small_enough() -> Iterator[None]:
    """The explicit way takes its time, whatever else the machine does."""
    turns = {"MOST_TURN_SECONDS": ENOUGH, "MOST_ENDLESS_TURN_SECONDS": ENOUGH}
    with patch.multiple(explicit_search, **turns):
        yield


def is_explicit(decision: Decision | None) -> bool:
    return decision is not None and decision.engine == ENGINE
