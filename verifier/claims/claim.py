"""A claim with its name and kind, and a design: one circuit together with everything claimed about it."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

from verifier.circuit.netlist import Netlist
from verifier.claims.formula import Formula
from verifier.errors import Diagnostic, Span


class ClaimKind(Enum):
    MUST = "must"
    CAN = "can"
    ALWAYS_THERE = "always there"


class View(Enum):
    SETTLED = "settled"
    ANY_DELAY = "any delay"
    TIMED = "timed"


@dataclass(frozen=True, kw_only=True)
class Claim:
    name: str
    kind: ClaimKind
    formula: Formula
    text: str
    """The claim as written, on one line, without its kind and name."""
    view: View = View.SETTLED
    expected_to_break: bool = False
    """True when the circuit's `breaks` list names it."""
    span: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, kw_only=True)
class Given:
    """A restriction on the runs; it holds at every instant."""

    name: str
    formula: Formula
    text: str
    span: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, kw_only=True)
class Design:
    """One circuit and what is claimed about it. `settles` is always the last claim."""

    netlist: Netlist
    file: str
    claims: tuple[Claim, ...]
    givens: tuple[Given, ...] = ()
    contract: str | None = None
    broken_figures: frozenset[str] = frozenset()
    """Claims about figures of storage parts (`q.set_up`) that the `breaks` list names."""
    span: Span | None = field(default=None, compare=False)

    @property
    def name(self) -> str:
        return self.netlist.name


@dataclass(frozen=True)
class WiringFile:
    """Everything one file (with what it uses) describes, in the order of writing."""

    path: str
    designs: tuple[Design, ...]
    warnings: tuple[Diagnostic, ...] = ()
