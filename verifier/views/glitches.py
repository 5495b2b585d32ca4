"""Which nets may glitch in a step, three-valued over the whole circuit: `grammar/README.md`, 12.6.

A net is known while it still has its old value, so one literal a net, "is X by now", says everything.
"""

from __future__ import annotations

from itertools import pairwise

from verifier.circuit.loops import Component
from verifier.circuit.netlist import Driver, FlipFlop, FlipFlopKind, Gate, Latch, NetId, Netlist, SetReset
from verifier.logic.bit_graph import FALSE, BitGraph, Literal
from verifier.views.gate_logic import (
    Rails,
    asynchronous_rails,
    gate_rails,
    known,
    latch_rails,
    level_rails,
    set_reset_rails,
)
from verifier.views.rounds import Step


class GlitchLogic:
    """Works out, once for a step, the literal "is X on the way" of every net."""

    def __init__(self, graph: BitGraph, netlist: Netlist, order: tuple[Component, ...], step: Step) -> None:
        self._graph = graph
        self._netlist = netlist
        self._order = order
        self._old, self._new = step.rounds[0], step.end
        pairs = list(pairwise(step.rounds))
        self._unknown: dict[NetId, Literal] = {
            net: graph.any_of([graph.exclusive_or(before[net], after[net]) for before, after in pairs])
            for net in self._old
        }
        # A pulse begins where storage carries into a round a value that is taken away in it; all other restless nets
        # of 12.7 follow from these by the rules of 12.6.
        for before, bases in zip(step.rounds, step.carried, strict=False):
            for net, base in bases.items():
                pulsed = graph.exclusive_or(before[net], base)
                self._unknown[net] = graph.disjunction(self._unknown[net], pulsed)
        self._spread()

    def may_glitch(self, net: NetId) -> Literal:
        changed = self._graph.exclusive_or(self._old[net], self._new[net])
        return self._graph.conjunction(self._unknown[net], changed ^ 1)

    def _spread(self) -> None:
        """Repeats until nothing changes; every pass takes X through at least one more flip-flop."""
        for _ in range(len(self._netlist.flip_flops) + 1):
            moved = False
            for component in self._order:
                passes = len(component.members) + 1 if component.is_loop else 1
                for _ in range(passes):
                    moved_here = [self._raise(member) for member in component.members]
                    moved = moved or any(moved_here)
                    if not any(moved_here):
                        break
            if not moved:
                return

    def _raise(self, member: Driver) -> bool:
        """One step up the lattice for one member; returns whether its literal changed."""
        graph, net = self._graph, member.output
        target = self._target(member)
        differs = graph.select(self._old[net], target.low, target.high)
        raised = graph.disjunction(self._unknown[net], differs)
        moved = raised != self._unknown[net]
        self._unknown[net] = raised
        return moved

    def _rails(self, net: NetId) -> Rails:
        old, unknown = self._old[net], self._unknown[net]
        if unknown == FALSE:
            return known(old)
        return Rails(self._graph.disjunction(unknown, old), self._graph.disjunction(unknown, old ^ 1))

    def _target(self, member: Driver) -> Rails:
        graph, own = self._graph, self._rails(member.output)
        match member:
            case Gate():
                return gate_rails(graph, member.kind, [self._rails(net) for net in member.inputs])
            case Latch():
                enable = level_rails(member.enable, {member.enable.net: self._rails(member.enable.net)})
                return latch_rails(graph, enable, self._rails(member.data), own)
            case SetReset():
                return set_reset_rails(graph, self._rails(member.set), self._rails(member.reset), own)
            case FlipFlop():
                pins = [level.net for level in (member.clear, member.preset) if level is not None]
                rails = {net: self._rails(net) for net in pins}
                clear, preset = level_rails(member.clear, rails), level_rails(member.preset, rails)
                asynchronous = asynchronous_rails(graph, clear, preset, own)
                spurious = self._spuriously_clocked(member, own)
                return Rails(
                    graph.disjunction(asynchronous.high, spurious.high),
                    graph.disjunction(asynchronous.low, spurious.low),
                )

    def _spuriously_clocked(self, flip_flop: FlipFlop, own: Rails) -> Rails:
        """What a glitch on the clock could make of the flip-flop."""
        graph, clock = self._graph, flip_flop.clock
        glitch = self.may_glitch(clock)
        if glitch == FALSE:
            return Rails(FALSE, FALSE)
        data = [self._rails(pin) for pin in flip_flop.data]
        match flip_flop.kind:
            case FlipFlopKind.D:
                high, low = data[0].high, data[0].low
            case FlipFlopKind.TOGGLE:
                high = low = data[0].high
            case FlipFlopKind.JK:
                is_high, is_low = own.low ^ 1, own.high ^ 1
                steady = graph.conjunction(
                    graph.disjunction(data[0].high ^ 1, is_high), graph.disjunction(data[1].high ^ 1, is_low)
                )
                high = low = steady ^ 1
        return Rails(graph.conjunction(glitch, high), graph.conjunction(glitch, low))
