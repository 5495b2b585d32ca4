"""One instant of a delay view as monitors see it, and the words that speak of ns (`grammar/README.md`, 33)."""

from __future__ import annotations

from collections.abc import Mapping

from verifier.circuit.netlist import NetId
from verifier.claims.formula import (
    Bound,
    Formula,
    KeepsTiming,
    LeadsTo,
    Pulses,
    PulsesLast,
    TimingRule,
    Unit,
    WithinTheLast,
)
from verifier.claims.monitors import Monitor, UnsupportedFormula
from verifier.claims.words import Bit
from verifier.logic import delay_system as logic
from verifier.logic.bit_graph import FALSE, TRUE, Literal
from verifier.views.delay_elements import DelayedNets
from verifier.views.delay_timing import TimerBench

Breaches = Mapping[tuple[NetId, TimingRule], Literal]


class DelayAlgebra:
    """The `BitAlgebra` of a delay view. `first` and memories are variables; the model replaces them for instant 0."""

    low = FALSE
    high = TRUE
    raced = FALSE
    oscillated = FALSE

    def __init__(self, nets: DelayedNets, bench: TimerBench, tick: Literal, breaches: Breaches) -> None:
        self._nets = nets
        self.bench = bench
        self.tick = tick
        self.breaches = breaches
        self.first = nets.graph.variable("first")
        self.memories: dict[Literal, logic.Bit] = {}
        """By the variable that monitors read."""
        self.values: dict[Literal, Literal] = {}
        """What each memory is to remember."""
        self.conjunction = nets.graph.conjunction
        self.disjunction = nets.graph.disjunction
        self.exclusive_or = nets.graph.exclusive_or
        self.select = nets.graph.select

    def negation(self, bit: Literal) -> Literal:
        return bit ^ 1

    def now(self, net: NetId) -> Literal:
        return self._nets.now[net]

    def before(self, net: NetId) -> Literal:
        return self._nets.before[net]

    def may_glitch(self, net: NetId) -> Literal:
        """The net changes, and has changed before since the last input change."""
        graph = self._nets.graph
        by_input = graph.any_of([self._nets.changed(source) for source in self._nets.netlist.input_nets])
        moved, changes = self.memory("moved"), self._nets.changed(net)
        changes = graph.conjunction(changes, by_input ^ 1)
        self.remember(moved, graph.conjunction(graph.disjunction(moved, changes), by_input ^ 1))
        return graph.conjunction(moved, changes)

    def memory(self, name: str) -> Literal:
        bit = self._nets.bit(f"memory {name}")
        self.memories[bit.before] = bit
        return bit.before

    def remember(self, memory: Literal, value: Literal) -> None:
        self.values[memory] = value


class DelayMonitor(Monitor):
    """Adds the words about ns to those about steps."""

    def __init__(self, algebra: DelayAlgebra) -> None:
        super().__init__(algebra)
        self._delays = algebra

    def _memory_word(self, node: Formula) -> Bit:
        match node:
            case WithinTheLast(bound=Bound(unit=Unit.NANOSECONDS, amount=int(amount))):
                return self._within_ns(self._bit(node.operand), amount)
            case LeadsTo(bound=Bound(unit=Unit.NANOSECONDS, amount=int(amount))):
                return self._leads_to_within_ns(self._bit(node.left), self._bit(node.right), amount)
            case PulsesLast():
                return self._pulses(node)
            case KeepsTiming():
                return self._delays.breaches[node.storage, node.rule] ^ 1
            case _:
                return super()._memory_word(node)

    def _within_ns(self, holds: Bit, amount: int) -> Bit:
        algebra = self._delays
        before_a_tick, before_a_move = algebra.bench.readings("since", holds, [amount, amount + 1])
        too_long = algebra.select(algebra.tick, before_a_tick, before_a_move)
        return algebra.disjunction(holds, too_long ^ 1)

    def _leads_to_within_ns(self, trigger: Bit, goal: Bit, amount: int) -> Bit:
        """One memory for "some trigger is still open", one timer for the oldest of them."""
        algebra = self._delays
        is_open = algebra.memory("open")
        waits = algebra.conjunction(algebra.disjunction(trigger, is_open), goal ^ 1)
        algebra.remember(is_open, waits)
        begins = algebra.conjunction(waits, is_open ^ 1)
        (waited,) = algebra.bench.readings("waiting", begins, [amount])
        late = algebra.conjunction(algebra.conjunction(is_open, algebra.tick), waited)
        return late ^ 1

    def _pulses(self, node: PulsesLast) -> Bit:
        algebra = self._delays
        amount = node.at_least.amount
        if not isinstance(amount, int):
            raise UnsupportedFormula("no monitor for a number that is asked for")
        kept = TRUE
        for net in node.signal.nets:
            now, before = algebra.now(net), algebra.before(net)
            changes = algebra.exclusive_or(now, before)
            (wide,) = algebra.bench.readings("pulse", changes, [amount])
            ends = changes
            if node.pulses is not Pulses.BOTH:
                ends = algebra.conjunction(changes, now ^ 1 if node.pulses is Pulses.HIGH else now)
            kept = algebra.conjunction(kept, algebra.conjunction(ends, wide ^ 1) ^ 1)
        return kept
