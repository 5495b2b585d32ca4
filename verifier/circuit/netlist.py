"""The flat netlist: nets of one bit, what drives each of them, and the pins.

Data only. It is made by `verifier.circuit.builder` and nowhere else. What the parts do in a step is said in
`grammar/README.md`, part II.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from verifier.errors import Span

NetId = int
"""Index of a net in `Netlist.nets`."""


class InputClass(Enum):
    """What the outside world may do with an input (grammar/README.md, 12.1)."""

    FREE = "free"
    FREE_RUNNING = "free running"
    BY_HAND = "by hand"
    STRAPPED = "strapped"
    FLOATING = "floating"
    """No pin of a design: what an open pin of a faulty circuit reads (grammar/README.md, part V). It may change in any
    step, whatever else changes in it."""


class GateKind(Enum):
    """Functions of a gate. Inputs are positional; AND .. XNOR take one or more, MAJORITY an odd number."""

    LOW = "low"
    HIGH = "high"
    BUFFER = "buffer"
    NOT = "not"
    AND = "and"
    OR = "or"
    NAND = "nand"
    NOR = "nor"
    XOR = "xor"
    XNOR = "xnor"
    MAJORITY = "majority"
    SELECT = "select"
    """`inputs = (selector, when_high, when_low)`."""


class FlipFlopKind(Enum):
    """What a flip-flop takes at its clock edge; the names of its data pins are given in order."""

    D = "flipflop"
    """Data pins `(d,)`."""
    TOGGLE = "toggle"
    """Data pins `(t,)`."""
    JK = "jk"
    """Data pins `(j, k)`."""


class Edge(Enum):
    RISE = "rise"
    FALL = "fall"


@dataclass(frozen=True)
class Range:
    """A closed range of whole nanoseconds."""

    low: int
    high: int


@dataclass(frozen=True)
class Delay:
    """How long an element takes to follow its target, each way."""

    rise: Range
    fall: Range


@dataclass(frozen=True, kw_only=True)
class Timing:
    """What a storage part asks of its pins, in whole ns; None: nothing (grammar/README.md, 33)."""

    set_up: int | None = None
    hold: int | None = None
    clock_width: int | None = None
    """Of a latch: the width of its enable."""
    clear_width: int | None = None
    settling: int = 0
    """How long what a flip-flop holds may be undecided after a breach of `set_up` or `hold`."""


@dataclass(frozen=True)
class Level:
    """A net and the level at which it acts."""

    net: NetId
    active_high: bool


@dataclass(frozen=True)
class Net:
    name: str
    """Full name, hierarchy with dots and the bit in brackets: `s.carry`, `count[3]`."""
    span: Span | None = field(default=None, compare=False)
    anonymous: bool = False
    """True for the output of a gate that was written inside a larger expression."""


@dataclass(frozen=True, kw_only=True)
class Input:
    """An input pin. Its bits may change together: it is one input however wide it is."""

    name: str
    nets: tuple[NetId, ...]
    input_class: InputClass = InputClass.FREE
    high: Range | None = None
    """Timed view, free running: how long it stays high."""
    low: Range | None = None
    apart: int | None = None
    """Timed view, by hand: shortest time between two changes, in ns."""
    apart_asked: bool = False
    """The shortest such time with which a claim is proved is asked for; `apart` is None then."""


@dataclass(frozen=True)
class Output:
    name: str
    nets: tuple[NetId, ...]


@dataclass(frozen=True, kw_only=True)
class Gate:
    output: NetId
    kind: GateKind
    inputs: tuple[NetId, ...]
    start: bool | None = None
    """Value at the first instant; None: any stable one. Only gates in loops may have one."""
    takes: Delay | None = None


@dataclass(frozen=True, kw_only=True)
class FlipFlop:
    output: NetId
    kind: FlipFlopKind
    data: tuple[NetId, ...]
    clock: NetId
    edge: Edge
    clear: Level | None = None
    preset: Level | None = None
    start: bool | None = None
    takes: Delay | None = None
    timing: Timing | None = None


@dataclass(frozen=True, kw_only=True)
class Latch:
    output: NetId
    data: NetId
    enable: Level
    start: bool | None = None
    takes: Delay | None = None
    timing: Timing | None = None


@dataclass(frozen=True, kw_only=True)
class SetReset:
    output: NetId
    set: NetId
    reset: NetId
    start: bool | None = None
    takes: Delay | None = None


Storage = FlipFlop | Latch | SetReset
Driver = Gate | FlipFlop | Latch | SetReset


@dataclass(frozen=True, kw_only=True)
class Netlist:
    """One flat circuit. Every net is driven by exactly one input bit, gate or storage element."""

    name: str
    nets: tuple[Net, ...]
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    gates: tuple[Gate, ...] = ()
    flip_flops: tuple[FlipFlop, ...] = ()
    latches: tuple[Latch, ...] = ()
    set_resets: tuple[SetReset, ...] = ()
    signals: Mapping[str, tuple[NetId, ...]] = field(default_factory=dict)
    """Every name a claim may use, hierarchy included, to its nets (lowest bit first)."""
    inputs_may_change_together: bool = False

    @property
    def drivers(self) -> dict[NetId, Driver]:
        """Net to the gate or storage element that drives it; input bits are not in it."""
        elements: tuple[Driver, ...] = (*self.gates, *self.flip_flops, *self.latches, *self.set_resets)
        return {element.output: element for element in elements}

    @property
    def input_nets(self) -> tuple[NetId, ...]:
        return tuple(net for pin in self.inputs for net in pin.nets)
