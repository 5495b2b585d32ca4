"""Loops as literals of the bit graph: their races and their power-up states.

A small loop is its exact table (`loop_table`). A large one is worked out with three-valued simulation (E. B.
Eichelberger, IBM J. R&D 9, 1965, procedures A and B): its result contains every outcome of the race, and more; such a
loop is `approximate`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from verifier.circuit.loops import Component
from verifier.circuit.netlist import NetId
from verifier.logic.bit_graph import FALSE, BitGraph, Literal
from verifier.views.loop_result import Chooser, LoopResult
from verifier.views.loop_table import LoopTable, Outcomes
from verifier.views.table_logic import TruthTable, literal_of
from verifier.views.three_valued_loop import race_three_valued, stable_at


class LoopLogic:
    """One loop, or what is left of it when `held` members have values from outside."""

    def __init__(self, graph: BitGraph, component: Component, held: frozenset[NetId] = frozenset()) -> None:
        self._graph = graph
        self.table = LoopTable(component, held)
        self.approximate = not self.table.is_small
        self._race: _ChoiceTable | None = None

    def race(
        self,
        start: Mapping[NetId, Literal],
        before: Mapping[NetId, Literal],
        outside: Mapping[NetId, Literal],
        was_open: Sequence[Literal],
        choose: Chooser,
    ) -> LoopResult:
        """Outcomes of the race from `start` (members); `before` are the nets' values one round earlier."""
        if self.approximate:
            return race_three_valued(self._graph, self.table, start, before, outside, was_open, choose)
        if self._race is None:
            self._race = _ChoiceTable(self._rows(), len(self.table.members))
        variables = [start[member.output] for member in self.table.members]
        variables += [outside[net] for net in self.table.outside]
        variables += was_open
        return self._race.apply(self._graph, self.table, variables, choose)

    def power_up(self, outside: Mapping[NetId, Literal], choose: Chooser) -> LoopResult:
        if self.approximate:
            return stable_at(self._graph, self.table, outside, choose)
        surroundings = self.table.power_up_states()
        rows = [surroundings[surrounding] for surrounding in range(len(surroundings))]
        choices = _ChoiceTable(rows, len(self.table.members))
        return choices.apply(self._graph, self.table, [outside[net] for net in self.table.outside], choose)

    def _rows(self) -> list[Outcomes]:
        outcomes = self.table.race_outcomes()
        members = len(self.table.members)
        return [
            outcomes[row & ((1 << members) - 1), row >> members]
            for row in range(1 << (members + self.table.surrounding_bits))
        ]


class _ChoiceTable:
    """Rows of outcomes as truth tables: of the row's bits followed by as many choice bits as the fullest row needs."""

    def __init__(self, rows: list[Outcomes], member_count: int) -> None:
        most = max((len(row.states) for row in rows), default=1)
        self.choice_bits = (max(most, 1) - 1).bit_length()
        self._columns: list[TruthTable] = [0] * member_count
        self._several = self._unstable = self._possible = 0
        for index, row in enumerate(rows):
            self._several |= (len(row.states) > 1) << index
            self._unstable |= row.oscillates << index
            self._possible |= bool(row.states) << index
        self._fill(rows)

    def _fill(self, rows: list[Outcomes]) -> None:
        size = len(rows)
        columns = [bytearray(size << self.choice_bits) for _ in self._columns]
        for choice in range(1 << self.choice_bits):
            for index, row in enumerate(rows):
                if row.states:
                    state = row.states[choice % len(row.states)]
                    for member, column in enumerate(columns):
                        column[choice * size + index] = state >> member & 1
        self._columns = [int(column.translate(_DIGITS)[::-1], 2) for column in columns]

    def apply(self, graph: BitGraph, table: LoopTable, variables: list[Literal], choose: Chooser) -> LoopResult:
        several = literal_of(graph, self._several, variables)
        choices = [choose() if several != FALSE else FALSE for _ in range(self.choice_bits)]
        values = {
            member.output: literal_of(graph, column, [*variables, *choices])
            for member, column in zip(table.members, self._columns, strict=True)
        }
        return LoopResult(
            values=values,
            several=several,
            unstable=literal_of(graph, self._unstable, variables),
            possible=literal_of(graph, self._possible, variables),
        )


_DIGITS = bytes([ord("0"), ord("1")]) + bytes(254)
