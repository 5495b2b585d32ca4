"""One round of a step as literals: `grammar/README.md`, 12.2, and what is restless in it (12.7).

Where the circuit may choose, a fresh free variable chooses.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from verifier.circuit.loops import Component, components, dependences
from verifier.circuit.netlist import Driver, FlipFlop, Gate, Latch, NetId, Netlist, SetReset
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.views.gate_logic import both_asynchronous, either_asynchronous, gate_literal, level_literal
from verifier.views.loop_logic import LoopLogic
from verifier.views.loop_result import Chooser, Surroundings
from verifier.views.unrest import Restless, UnrestStructure, lone_member_restless, loop_member_restless

Values = dict[NetId, Literal]


@dataclass(frozen=True, kw_only=True)
class RoundStart:
    number: int
    previous: Values
    """`v[k-1]`."""
    bases: Values
    """Storage outputs to the values they carry into the round."""
    inputs: Mapping[NetId, Literal]
    opened: Mapping[NetId, Literal]
    """Latch outputs to "opened in round k - 1"."""


@dataclass(frozen=True, kw_only=True)
class Settled:
    values: Values
    """`v[k]`."""
    raced: Literal
    oscillated: Literal
    restless: Restless
    resolved_bases: Values
    """The bases after the choice for flip-flops let go by `clear` and `preset` together."""


@dataclass
class _Settling:
    """A round under way."""

    start: RoundStart
    bases: Values
    values: Values
    restless: Restless
    raced: Literal = FALSE
    oscillated: Literal = FALSE


class RoundLogic:
    """Settles rounds of one netlist in one graph."""

    def __init__(self, graph: BitGraph, netlist: Netlist, choose: Chooser) -> None:
        self._graph = graph
        self._choose = choose
        self.order: tuple[Component, ...] = components(netlist)
        self.unrest = UnrestStructure(netlist, self.order)
        self._loops: dict[tuple[int, frozenset[NetId]], LoopLogic] = {}

    def loop(self, index: int, held: frozenset[NetId] = frozenset()) -> LoopLogic:
        """The loop at this place in the order; built once."""
        key = (index, held)
        if key not in self._loops:
            self._loops[key] = LoopLogic(self._graph, self.order[index], held)
        return self._loops[key]

    @property
    def approximate(self) -> bool:
        return any(loop.approximate for loop in self._loops.values())

    def settle(self, start: RoundStart) -> Settled:
        settling = _Settling(start, dict(start.bases), dict(start.inputs), {})
        for index, component in enumerate(self.order):
            for member in component.members:
                if isinstance(member, FlipFlop):
                    self._let_go(member, component, settling)
            if component.is_loop:
                self._settle_loop(index, settling)
                for member in component.members:
                    if isinstance(member, FlipFlop):
                        self._add_race(settling, self._released(member, settling))
            else:
                self._settle_member(component.members[0], settling, exact=True)
        return Settled(
            values=settling.values,
            raced=settling.raced,
            oscillated=settling.oscillated,
            restless=settling.restless,
            resolved_bases=settling.bases,
        )

    def settle_without(self, clock: NetId, cone: frozenset[int], start: RoundStart) -> tuple[Values, Restless]:
        """The round again with the clock net held, as far as these places of the order (12.3)."""
        settling = _Settling(start, dict(start.bases), dict(start.inputs), {})
        settling.values[clock] = start.previous[clock]
        for index in sorted(cone):
            component = self.order[index]
            if component.is_loop:
                self._settle_loop(index, settling, frozenset({clock} & set(component.outputs)))
            elif component.members[0].output != clock:
                self._settle_member(component.members[0], settling, exact=False)
        return settling.values, settling.restless

    def _add_race(self, settling: _Settling, raced: Literal) -> None:
        settling.raced = self._graph.disjunction(settling.raced, raced)

    def _let_go(self, flip_flop: FlipFlop, component: Component, settling: _Settling) -> None:
        """Both asynchronous pins, coming from outside the component, released in this round: either value."""
        if set(component.outputs) & set(dependences(flip_flop)):
            return
        released = self._released(flip_flop, settling)
        if released == FALSE:
            return
        base = settling.bases[flip_flop.output]
        settling.bases[flip_flop.output] = self._graph.select(released, self._choose(), base)
        self._add_race(settling, released)

    def _released(self, flip_flop: FlipFlop, settling: _Settling) -> Literal:
        if flip_flop.clear is None or flip_flop.preset is None:
            return FALSE
        both_before = both_asynchronous(self._graph, flip_flop, settling.start.previous)
        any_now = either_asynchronous(self._graph, flip_flop, settling.values)
        return self._graph.conjunction(both_before, any_now ^ 1)

    # Outside loops.

    def _settle_member(self, member: Driver, settling: _Settling, exact: bool) -> None:
        """Not `exact`: closing latches keep their base."""
        graph, output, values = self._graph, member.output, settling.values
        base = was_open = FALSE
        match member:
            case Gate():
                values[output] = gate_literal(graph, member.kind, [values[net] for net in member.inputs])
            case Latch():
                base, was_open = settling.bases[output], level_literal(member.enable, settling.start.previous)
                values[output] = self._latch(member, settling, was_open, exact)
            case SetReset():
                base = settling.bases[output]
                self._set_reset(member, settling)
            case FlipFlop():
                base = settling.bases[output]
                clear, preset = level_literal(member.clear, values), level_literal(member.preset, values)
                values[output] = graph.disjunction(preset, graph.conjunction(clear ^ 1, base))
        if output in self.unrest.relevant:
            settling.restless[output] = lone_member_restless(
                graph, member, settling.start.previous, values, base, was_open, settling.restless
            )

    def _latch(self, latch: Latch, settling: _Settling, was_open: Literal, exact: bool) -> Literal:
        graph, data_before = self._graph, settling.start.previous[latch.data]
        is_open = level_literal(latch.enable, settling.values)
        data, base = settling.values[latch.data], settling.bases[latch.output]
        kept = base
        if exact:
            closes = graph.conjunction(was_open, is_open ^ 1)
            moved = graph.any_of(
                [
                    graph.exclusive_or(data_before, data),
                    graph.exclusive_or(data, base),
                    settling.restless.get(latch.data, FALSE),
                ]
            )
            uncertain = graph.conjunction(closes, moved)
            if uncertain != FALSE:
                kept = graph.select(uncertain, self._choose(), base)
        return graph.select(graph.conjunction(was_open, is_open), data, kept)

    def _set_reset(self, member: SetReset, settling: _Settling) -> None:
        graph, output, values = self._graph, member.output, settling.values
        set_pin, reset_pin, base = values[member.set], values[member.reset], settling.bases[output]
        both = graph.conjunction(set_pin, reset_pin)
        at_rest = self._at_rest(settling, (member.set, member.reset), [output], [])
        raced = graph.conjunction(both, at_rest ^ 1)
        target = graph.disjunction(set_pin, graph.conjunction(reset_pin ^ 1, base))
        if raced != FALSE:
            target = graph.select(both, self._choose(), target)
        values[output] = graph.select(at_rest, settling.start.previous[output], target)
        self._add_race(settling, raced)

    def _at_rest(
        self, settling: _Settling, outside: Iterable[NetId], storage: Iterable[NetId], latches: Iterable[Latch]
    ) -> Literal:
        """Round 2 and later: nothing around it moved, no base differs, none of its latches has just opened."""
        start = settling.start
        if start.number == 1:
            return FALSE
        graph, previous = self._graph, start.previous
        moved = [graph.exclusive_or(settling.values[net], previous[net]) for net in outside]
        moved += [graph.exclusive_or(settling.bases[net], previous[net]) for net in storage]
        moved += [start.opened[latch.output] for latch in latches]
        return graph.any_of(moved) ^ 1

    # Loops.

    def _settle_loop(self, index: int, settling: _Settling, held: frozenset[NetId] = frozenset()) -> None:
        graph, table, previous = self._graph, self.loop(index, held).table, settling.start.previous
        begin = {m.output: settling.bases.get(m.output, previous[m.output]) for m in table.members}
        storage = [m.output for m in table.members if not isinstance(m, Gate)]
        restless = {net: settling.restless[net] for net in table.outside if net in settling.restless}
        restless = {net: literal for net, literal in restless.items() if literal != FALSE}
        at_rest = self._at_rest(settling, table.outside, storage, table.latches)
        at_rest = graph.conjunction(at_rest, graph.any_of(restless.values()) ^ 1)
        if at_rest == TRUE:
            settling.values.update({net: previous[net] for net in begin})
            return
        around = Surroundings(
            start=begin,
            before=previous,
            outside={net: settling.values[net] for net in table.outside},
            restless=restless,
            was_open=[level_literal(latch.enable, previous) for latch in table.latches],
            watched=self.unrest.relevant & begin.keys(),
        )
        result = self.loop(index, held).race(around, self._choose)
        for net in begin:
            settling.values[net] = graph.select(at_rest, previous[net], result.values[net])
        for net in around.watched:
            moves = result.rises[net], result.falls[net]
            unrest = loop_member_restless(graph, begin[net], previous[net], settling.values[net], *moves)
            settling.restless[net] = graph.conjunction(unrest, at_rest ^ 1)
        self._add_race(settling, graph.conjunction(result.several, at_rest ^ 1))
        oscillated = graph.conjunction(result.unstable, at_rest ^ 1)
        settling.oscillated = graph.disjunction(settling.oscillated, oscillated)
