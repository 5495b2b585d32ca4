"""Which nets may move more often in a round than its two ends show: `grammar/README.md`, 12.7.

First what the structure says (`UnrestStructure`): where pulses can arise at all, and where one would be felt. Only nets
that are both get a literal. Then the literals, member by member.
"""

from __future__ import annotations

from collections.abc import Mapping

from verifier.circuit.loops import Component, dependences
from verifier.circuit.netlist import Driver, FlipFlop, Gate, GateKind, Latch, NetId, Netlist, SetReset
from verifier.logic.bit_graph import FALSE, BitGraph, Literal
from verifier.views.gate_logic import Rails, gate_rails, is_unknown

Values = Mapping[NetId, Literal]
Restless = dict[NetId, Literal]
"""Nets to "is restless in this round"; a net that is not in it never is."""


class UnrestStructure:
    """What can be restless, read off the dependences."""

    def __init__(self, netlist: Netlist, order: tuple[Component, ...]) -> None:
        self.outside_loops = frozenset(part.outputs[0] for part in order if not part.is_loop)
        self._possible = _where_pulses_arise(netlist, order)
        self.relevant = self._possible & _where_pulses_matter(netlist, order)
        """Nets that can be restless and whose pulses something feels."""

    def trigger_pins(self, element: FlipFlop | Latch | SetReset) -> tuple[NetId, ...]:
        """Pins through which an element gets a new base for the next round, clock and enable included."""
        if isinstance(element, Latch):
            return (element.enable.net,)
        outside = element.output in self.outside_loops
        pulsed = tuple(net for net in dependences(element) if outside and net in self._possible)
        return (element.clock, *pulsed) if isinstance(element, FlipFlop) else pulsed


def _where_pulses_arise(netlist: Netlist, order: tuple[Component, ...]) -> frozenset[NetId]:
    possible: set[NetId] = set()
    from_inputs = set(netlist.input_nets)
    for part in order:
        member = part.members[0]
        pins = dependences(member)
        if part.is_loop:
            possible.update(part.outputs)
        elif isinstance(member, FlipFlop):
            # Inputs move before the first round alone, and nothing is sampled by then that could be taken away.
            if not from_inputs.issuperset(pins):
                possible.add(member.output)
        elif isinstance(member, Latch):
            if member.data in possible:
                possible.add(member.output)
        elif not possible.isdisjoint(pins):
            possible.add(member.output)
        elif isinstance(member, Gate) and from_inputs.issuperset(pins):
            from_inputs.add(member.output)
    return frozenset(possible)


def _where_pulses_matter(netlist: Netlist, order: tuple[Component, ...]) -> frozenset[NetId]:
    """Pins of storage, nets that enter loops, and everything that these depend on through gates and open latches."""
    felt: set[NetId] = set()
    for flip_flop in netlist.flip_flops:
        felt.update((flip_flop.clock, *flip_flop.data, *dependences(flip_flop)))
    for part in order:
        if part.is_loop:
            felt.update(part.outside_nets)
    for latch in netlist.latches:
        felt.update(dependences(latch))
    for set_reset in netlist.set_resets:
        felt.update(dependences(set_reset))
    for part in reversed(order):
        member = part.members[0]
        if not part.is_loop and isinstance(member, Gate) and member.output in felt:
            felt.update(member.inputs)
    return frozenset(felt)


def lone_member_restless(
    graph: BitGraph,
    member: Driver,
    previous: Values,
    values: Values,
    base: Literal,
    was_open: Literal,
    unrest: Restless,
) -> Literal:
    """A member outside loops. `base` is a storage element's, `was_open` a latch's enable in `v[k-1]`."""
    if isinstance(member, Gate):
        return _gate_restless(graph, member, previous, values, unrest)
    before, after = previous[member.output], values[member.output]
    taken_away = graph.conjunction(graph.exclusive_or(base, before), graph.exclusive_or(base, after))
    if isinstance(member, Latch):
        passes_on = graph.conjunction(was_open, unrest.get(member.data, FALSE))
        return graph.disjunction(taken_away, passes_on)
    return taken_away


def loop_member_restless(
    graph: BitGraph, start: Literal, before: Literal, after: Literal, rises: Literal, falls: Literal
) -> Literal:
    """A member of a loop that races from `start`; `rises` and `falls` say whether some move takes it there."""
    taken_away = graph.conjunction(graph.exclusive_or(start, before), graph.exclusive_or(start, after))
    return graph.disjunction(taken_away, graph.select(after, falls, rises))


def _gate_restless(graph: BitGraph, gate: Gate, previous: Values, values: Values, unrest: Restless) -> Literal:
    restless = [unrest.get(net, FALSE) for net in gate.inputs]
    some = graph.any_of(restless)
    if some == FALSE:
        return FALSE
    pins = [
        Rails(
            graph.any_of([pin, previous[net], values[net]]),
            graph.any_of([pin, previous[net] ^ 1, values[net] ^ 1]),
        )
        for net, pin in zip(gate.inputs, restless, strict=True)
    ]
    if gate.kind is GateKind.SELECT:
        return _selector_restless(graph, pins, restless)
    # For every other kind, hanging on some pin that is not known is hanging on each of them.
    return graph.conjunction(some, is_unknown(graph, gate_rails(graph, gate.kind, pins)))


def _selector_restless(graph: BitGraph, pins: list[Rails], restless: list[Literal]) -> Literal:
    selector, when_high, when_low = pins
    differ = graph.disjunction(
        graph.conjunction(when_high.high, when_low.low), graph.conjunction(when_high.low, when_low.high)
    )
    return graph.any_of(
        [
            graph.conjunction(restless[0], differ),
            graph.conjunction(restless[1], selector.high),
            graph.conjunction(restless[2], selector.low),
        ]
    )
