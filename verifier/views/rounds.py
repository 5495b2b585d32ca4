"""One step of the settled view as literals: `grammar/README.md`, 12.2, 12.3 and 12.7.

Where the circuit may choose, a fresh free variable chooses. Nothing here knows claims, inputs' classes or the first
instant.

`v[k]` is `Step.rounds[k]`. The symbolic step always works out as many rounds as the structure of the clocks can need;
when a run needs fewer, the later rounds change nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from verifier.circuit.loops import Component
from verifier.circuit.netlist import Edge, FlipFlop, Gate, Latch, NetId, Netlist, Storage
from verifier.logic.bit_graph import FALSE, BitGraph, Literal
from verifier.views.clock_depth import rounds_needed
from verifier.views.gate_logic import gate_literal, level_literal
from verifier.views.loop_logic import LoopLogic
from verifier.views.loop_result import Chooser
from verifier.views.sampling import Past, SamplingLogic
from verifier.views.settling import RoundLogic, RoundStart, Settled, Values


@dataclass(frozen=True, kw_only=True)
class Step:
    rounds: tuple[Values, ...]
    """`v[0]`, `v[1]`, ...; the last one is the next instant."""
    carried: tuple[Values, ...]
    """The bases of rounds 1, 2, ..."""
    raced: Literal
    oscillated: Literal

    @property
    def end(self) -> Values:
        return self.rounds[-1]


class StepLogic:
    """Builds steps of one netlist in one graph."""

    def __init__(self, graph: BitGraph, netlist: Netlist, choose: Chooser) -> None:
        self._graph = graph
        self._netlist = netlist
        self._rounds = RoundLogic(graph, netlist, choose)
        self._most_rounds, self._may_not_end = rounds_needed(netlist, self._rounds.unrest)
        self._sampling = SamplingLogic(graph, netlist, self._rounds, choose, self._may_not_end)

    @property
    def order(self) -> tuple[Component, ...]:
        return self._rounds.order

    @property
    def approximate(self) -> bool:
        """True when some loop was too large for its exact table."""
        return self._rounds.approximate

    def loop(self, index: int) -> LoopLogic:
        """The loop at this place in the order."""
        return self._rounds.loop(index)

    def state_nets(self) -> list[NetId]:
        """Nets whose value at an instant does not follow from the others: inputs, storage, gates in loops."""
        netlist = self._netlist
        gates = {m.output for part in self.order if part.is_loop for m in part.members if isinstance(m, Gate)}
        storages: list[Storage] = [*netlist.flip_flops, *netlist.latches, *netlist.set_resets]
        return [*netlist.input_nets, *(s.output for s in storages), *sorted(gates)]

    def completed(self, state: Mapping[NetId, Literal]) -> Values:
        """All nets, given inputs, storage and gates in loops: gates outside loops follow."""
        values: Values = dict(state)
        for component in self.order:
            member = component.members[0]
            if isinstance(member, Gate) and not component.is_loop:
                values[member.output] = gate_literal(self._graph, member.kind, [values[n] for n in member.inputs])
        return values

    def step(self, old: Values, inputs: Mapping[NetId, Literal]) -> Step:
        """Everything that can follow `old` when the inputs take these values."""
        graph = self._graph
        storages: list[Storage] = [*self._netlist.flip_flops, *self._netlist.latches, *self._netlist.set_resets]
        instants: tuple[Values, ...] = (old,)
        rounds: tuple[Settled, ...] = ()
        raced = oscillated = FALSE
        bases = {storage.output: old[storage.output] for storage in storages}
        opened: Mapping[NetId, Literal] = {}
        for number in range(1, self._most_rounds + 1):
            start = RoundStart(number=number, previous=instants[-1], bases=bases, inputs=inputs, opened=opened)
            settled = self._rounds.settle(start)
            instants, rounds = (*instants, settled.values), (*rounds, settled)
            raced = graph.disjunction(raced, settled.raced)
            oscillated = graph.disjunction(oscillated, settled.oscillated)
            if number == self._most_rounds and not self._may_not_end:
                break
            edges = {ff.output: self._edge(ff, instants) for ff in self._netlist.flip_flops}
            opened = {latch.output: self._opening(latch, instants) for latch in self._netlist.latches}
            resolved = replace(start, bases=settled.resolved_bases)
            carried = self._sampling.carried(edges, Past(instants=instants, rounds=rounds, start=resolved))
            bases = carried.bases
            raced = graph.disjunction(raced, carried.felt)
            due = graph.any_of([*edges.values(), *opened.values(), carried.felt])
            if due == FALSE:
                break
            if number == self._most_rounds:
                oscillated = graph.disjunction(oscillated, due)
        return Step(
            rounds=instants,
            carried=tuple(settled.resolved_bases for settled in rounds),
            raced=raced,
            oscillated=oscillated,
        )

    def _edge(self, flip_flop: FlipFlop, instants: tuple[Values, ...]) -> Literal:
        before, after = instants[-2][flip_flop.clock], instants[-1][flip_flop.clock]
        if flip_flop.edge is Edge.FALL:
            before, after = before ^ 1, after ^ 1
        return self._graph.conjunction(before ^ 1, after)

    def _opening(self, latch: Latch, instants: tuple[Values, ...]) -> Literal:
        before, after = level_literal(latch.enable, instants[-2]), level_literal(latch.enable, instants[-1])
        return self._graph.conjunction(before ^ 1, after)
