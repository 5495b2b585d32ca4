"""How much a search of the simulator may look at before it gives up. It says nothing about what was found."""

from __future__ import annotations

from verifier.errors import EdgewrightError


class SimulationLimit(EdgewrightError):
    """There are more ways for a step to go than the simulator is allowed to look at."""

    exit_code = 3


class Budget:
    """Counts explored states down."""

    def __init__(self, limit: int) -> None:
        self._limit = limit
        self._left = limit

    def spend(self, amount: int = 1) -> None:
        """Raises SimulationLimit when nothing is left."""
        self._left -= amount
        if self._left < 0:
            raise SimulationLimit(f"gave up after looking at {self._limit} states of one step")
