"""Loops as literals of the bit graph: their races and their power-up states.

A small loop is its exact table (`loop_table`). A large one is worked out with three-valued simulation (E. B.
Eichelberger, IBM J. R&D 9, 1965, procedures A and B): its result contains every outcome of the race, and more; such a
loop is `approximate`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from verifier.circuit.loops import Component
from verifier.circuit.netlist import NetId
from verifier.logic.bit_graph import FALSE, BitGraph, Literal
from verifier.views.loop_result import Chooser, LoopResult, Surroundings
from verifier.views.loop_table import LoopTable, Outcomes
from verifier.views.table_logic import TruthTable, literal_of
from verifier.views.three_valued_loop import race_three_valued, stable_at


class LoopLogic:
    """One loop, or what is left of it when `held` members have values from outside."""

    def __init__(self, graph: BitGraph, component: Component, held: frozenset[NetId] = frozenset()) -> None:
        self._graph = graph
        self.table = LoopTable(component, held)
        self.approximate = not self.table.is_small()
        """True as soon as something was worked out three-valued."""
        self._races: dict[tuple[NetId, ...], _ChoiceTable] = {}

    def race(self, surroundings: Surroundings, choose: Chooser) -> LoopResult:
        """Outcomes of the race from where its members start."""
        restless = tuple(surroundings.restless)
        if not self.table.is_small(len(restless)):
            self.approximate = True
            return race_three_valued(self._graph, self.table, surroundings, choose)
        if restless not in self._races:
            rows = list(self.table.race_outcomes(restless).values())
            self._races[restless] = _ChoiceTable(rows, len(self.table.members))
        variables = [surroundings.start[member.output] for member in self.table.members]
        variables += [surroundings.outside[net] for net in self.table.outside]
        variables += surroundings.was_open
        variables += surroundings.restless.values()
        return self._races[restless].apply(self._graph, self.table, variables, choose, surroundings.watched)

    def power_up(self, outside: Mapping[NetId, Literal], choose: Chooser) -> LoopResult:
        if self.approximate:
            return stable_at(self._graph, self.table, outside, choose)
        surroundings = self.table.power_up_states()
        rows = [surroundings[surrounding] for surrounding in range(len(surroundings))]
        choices = _ChoiceTable(rows, len(self.table.members))
        return choices.apply(self._graph, self.table, [outside[net] for net in self.table.outside], choose)


class _ChoiceTable:
    """Rows of outcomes as truth tables: of the row's bits followed by as many choice bits as the fullest row needs."""

    def __init__(self, rows: list[Outcomes], member_count: int) -> None:
        most = max((len(row.states) for row in rows), default=1)
        self.choice_bits = (max(most, 1) - 1).bit_length()
        self._several = _truth_table(len(row.states) > 1 for row in rows)
        self._unstable = _truth_table(row.oscillates for row in rows)
        self._possible = _truth_table(bool(row.states) for row in rows)
        bits = range(member_count)
        self._rises = [_truth_table(row.rises >> bit & 1 for row in rows) for bit in bits]
        self._falls = [_truth_table(row.falls >> bit & 1 for row in rows) for bit in bits]
        self._columns = [_truth_table(self._values(rows, bit)) for bit in bits]

    def _values(self, rows: list[Outcomes], bit: int) -> Iterator[int]:
        for choice in range(1 << self.choice_bits):
            for row in rows:
                yield row.states[choice % len(row.states)] >> bit & 1 if row.states else 0

    def apply(
        self,
        graph: BitGraph,
        table: LoopTable,
        variables: list[Literal],
        choose: Chooser,
        watched: frozenset[NetId] = frozenset(),
    ) -> LoopResult:
        several = literal_of(graph, self._several, variables)
        choices = [choose() if several != FALSE else FALSE for _ in range(self.choice_bits)]
        outputs = [member.output for member in table.members]

        def moves(columns: list[TruthTable]) -> dict[NetId, Literal]:
            pairs = zip(outputs, columns, strict=True)
            return {net: literal_of(graph, column, variables) for net, column in pairs if net in watched}

        return LoopResult(
            values={
                net: literal_of(graph, column, [*variables, *choices])
                for net, column in zip(outputs, self._columns, strict=True)
            },
            several=several,
            unstable=literal_of(graph, self._unstable, variables),
            rises=moves(self._rises),
            falls=moves(self._falls),
            possible=literal_of(graph, self._possible, variables),
        )


def _truth_table(values: Iterable[int]) -> TruthTable:
    """The values of rows 0, 1, ... as one integer."""
    return int(bytes(values).translate(_DIGITS)[::-1], 2)


_DIGITS = bytes([ord("0"), ord("1")]) + bytes(254)
