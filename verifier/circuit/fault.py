"""A single fault of a wired circuit, as data. What each does to the circuit: `grammar/README.md`, part V."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from verifier.circuit.netlist import GateKind, NetId


class FaultKind(Enum):
    STUCK = "stuck"
    OPEN = "missing wire"
    WRONG_GATE = "wrong gate"
    SWAPPED_PINS = "swapped pins"
    BRIDGE = "bridge"
    WRONG_EDGE = "wrong edge"
    NO_PULL_UP = "no pull-up"


class Technology(Enum):
    """What an open pin reads, and which of two shorted outputs wins."""

    TTL = "ttl"
    CMOS = "cmos"


@dataclass(frozen=True, kw_only=True)
class Fault:
    """Everything that `faulty` needs besides the netlist the fault was listed for."""

    kind: FaultKind
    name: str
    """What a builder would say; stable, and unique among the faults of one netlist."""
    technology: Technology
    net: NetId
    """The output of the element at fault; an input's net; the first net of a bridge."""
    pin: int | None = None
    """Position in `element_pins` of the element; None: the fault is at `net` itself."""
    other_pin: int | None = None
    """Of swapped pins. None there: `pin` is `clear` or `preset`, and is wired to the one that is not in use."""
    other_net: NetId | None = None
    """The second net of a bridge."""
    value: bool | None = None
    """Of a stuck net or pin."""
    gate: GateKind | None = None
    """The wrong gate."""


@dataclass(frozen=True)
class FaultClass:
    """Faults that nothing can tell apart in the settled view: with any of them, every net that is looked at does the
    same."""

    faults: tuple[Fault, ...]
    """At least one."""

    @property
    def representative(self) -> Fault:
        return self.faults[0]
