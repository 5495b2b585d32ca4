"""One frame of the settled view as monitors and tableaux see it: an `EndlessAlgebra` over the bit graph."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from verifier.circuit.netlist import NetId
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.views.loop_result import Chooser
from verifier.views.settling import Values


@dataclass(frozen=True, kw_only=True)
class Frame:
    """Everything about one frame that claims may ask."""

    started: Literal
    """0 in frame 0, the first instant."""
    before: Values
    now: Values
    raced: Literal
    oscillated: Literal


@dataclass(kw_only=True)
class Promises:
    """What a tableau asks of the runs that count."""

    required: list[Literal] = field(default_factory=list)
    """1 in every frame."""
    fairness: list[Literal] = field(default_factory=list)
    """1 again and again."""


class FrameAlgebra:
    """Monitors ask it for nets, memory and guesses; what tableaux demand is gathered in `promises`."""

    low = FALSE
    high = TRUE

    def __init__(
        self,
        graph: BitGraph,
        frame: Frame,
        *,
        may_glitch: Callable[[NetId], Literal],
        choose: Chooser,
        memories: dict[Literal, Literal],
        promises: Promises,
    ) -> None:
        self._graph = graph
        self._frame = frame
        self._may_glitch = may_glitch
        self._choose = choose
        self._memories = memories
        self._promises = promises
        self.first = frame.started ^ 1
        self.raced = frame.raced
        self.oscillated = frame.oscillated
        self.conjunction = graph.conjunction
        self.disjunction = graph.disjunction
        self.exclusive_or = graph.exclusive_or
        self.select = graph.select

    def negation(self, bit: Literal) -> Literal:
        return bit ^ 1

    def now(self, net: NetId) -> Literal:
        return self._frame.now[net]

    def before(self, net: NetId) -> Literal:
        return self._frame.before[net]

    def may_glitch(self, net: NetId) -> Literal:
        return self._graph.conjunction(self._frame.started, self._may_glitch(net))

    def memory(self, name: str) -> Literal:
        return self._graph.variable(f"memory {name}")  # no net has a name with a space

    def remember(self, memory: Literal, value: Literal) -> None:
        self._memories[memory] = value

    def guess(self, name: str) -> Literal:
        del name
        return self._choose()

    def require(self, bit: Literal) -> None:
        self._promises.required.append(bit)

    def again_and_again(self, bit: Literal) -> None:
        self._promises.fairness.append(bit)
