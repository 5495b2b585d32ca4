"""What the page computes with when somebody flips its switches: a table of gates of two inputs, as plain data.

A literal is `2 * node + 1` when negated, `2 * node` otherwise; node 0 is the constant 0. Then come the registers, the
switches, the choices and the conjunctions, operands before results. `machine.js` has the rules by which it runs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, kw_only=True)
class Machine:
    """One settled step of a circuit. Registers are 0 before the first instant."""

    registers: int
    """How many there are: nodes 1, 2, ..."""
    switches: tuple[int, ...]
    """The input net of each switch: the nodes after the registers."""
    choices: int
    """How many free choices the circuit has: the nodes after the switches."""
    conjunctions: tuple[int, ...]
    """Left and right literal of each of the other nodes, one after the other."""
    now: tuple[int, ...]
    """Literal of each net at the end of the step."""
    next: tuple[int, ...]
    """Literal of what each register takes."""
    raced: int
    oscillated: int
    possible: int
    """0 for choices that are no first instant."""
    claims: Mapping[str, int]
    """Claims that are followed: 1 while a `must` holds, 1 where a `can` shows."""
    givens: Mapping[str, int]
    approximate: bool
    """Some ways it offers may be ones the circuit cannot go."""

    def record(self) -> dict[str, Any]:
        """As the page's script reads it."""
        return {
            "registers": self.registers,
            "switches": list(self.switches),
            "choices": self.choices,
            "conjunctions": list(self.conjunctions),
            "now": list(self.now),
            "next": list(self.next),
            "raced": self.raced,
            "oscillated": self.oscillated,
            "possible": self.possible,
            "claims": dict(self.claims),
            "givens": dict(self.givens),
            "approximate": self.approximate,
        }
