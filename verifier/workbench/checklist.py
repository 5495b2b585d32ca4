"""From a design to the rows of a checklist: to a known state, then every flip from every state that comes of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain, islice

from verifier.circuit.netlist import NetId
from verifier.claims.claim import Design
from verifier.claims.run import Instant
from verifier.errors import CallError
from verifier.evidence.checklist import Checklist, Column, Coverage, Flip, Possible, PowerUp, Row, bits_read
from verifier.evidence.simulator import SimulationLimit
from verifier.workbench.board_graph import CHANGES_AT_MOST, BoardGraph, explored
from verifier.workbench.checklist_notes import notes
from verifier.workbench.homing import Beginning, synchronising, told_by_readings
from verifier.workbench.power_up_said import agreed_straps, refuse_unwakeable
from verifier.workbench.readings import Levels, named_nets
from verifier.workbench.selection import nearest_hint
from verifier.workbench.settled_states import SettledStates, heeded_givens, input_settings, switches
from verifier.workbench.too_many_ways import too_many_ways
from verifier.workbench.tour import BEGIN_ANEW, shortest_tour

SETTINGS_TRIED = 256
"""Settings of the inputs at power-up that are looked at."""
STARTS_COMPARED = 32
"""States to begin in, told by what is read there, of which the one from which most is reached is taken."""


def checklist(
    design: Design,
    *,
    leds: Sequence[str] = (),
    power_up: PowerUp = PowerUp.ANY,
    woke: Levels | None = None,
    straps: Levels | None = None,
    ceiling: int = CHANGES_AT_MOST,
) -> Checklist:
    """The rows for one setting of the strapped inputs (low unless `straps` says so).

    `PowerUp.ANY` is a wish: where no flips lead to a known state whatever the board woke in, the list begins with a
    reading, or with the starts of the file. `woke`, for `PowerUp.AS_READ`: what was read and how the inputs were set
    when the board was switched on; inputs that it does not name are low.

    Raises:
        CallError: a name that is no net, a strap of what is not strapped, or there is no such power-up state, or no
            permitted one.
        SimulationLimit: there is too much to look at.
    """
    set_to = agreed_straps(design, straps or {}, woke or {})
    return _Maker(design, leds, set_to, ceiling).made(power_up, woke or {})


def columns(design: Design, leds: Sequence[str]) -> tuple[Column, ...]:
    """The inputs, the outputs, and the nets with an LED. Raises CallError for a name that is no net."""
    netlist = design.netlist
    found = [Column(name=pin.name, nets=pin.nets, is_input=True) for pin in netlist.inputs]
    found += [Column(name=pin.name, nets=pin.nets, is_input=False) for pin in netlist.outputs]
    known = named_nets(netlist)
    for name in leds:
        if name not in known:
            raise CallError(f"{design.name} has no net named {name}", nearest_hint(name, known))
        found.append(Column(name=name, nets=known[name], is_input=False))
    return tuple({column.name: column for column in reversed(found)}.values())[::-1]


class _Maker:
    def __init__(self, design: Design, leds: Sequence[str], straps: Levels, ceiling: int) -> None:
        self._design = design
        self._netlist = design.netlist
        self._columns = columns(design, leds)
        self._read = [net for column in self._columns if not column.is_input for net in column.nets]
        self._ceiling = ceiling
        self._heeded, self._unheeded = heeded_givens(design)
        self._states = SettledStates(design.netlist, self._heeded)
        self._straps = straps

    def made(self, wish: PowerUp, woke: Levels) -> Checklist:
        try:
            power_up, beginning = self._beginning(wish, woke)
            graph = explored(self._states, beginning.end, self._ceiling)
            tour = shortest_tour(len(graph.nodes), graph.arcs, 0)
            coverage = self._coverage(graph)
        except SimulationLimit as limit:
            raise SimulationLimit(f"no checklist: {too_many_ways(self._netlist)}") from limit
        rows = tuple(self._rows(beginning, graph, tour.walk))
        return Checklist(
            design=self._design,
            columns=self._columns,
            rows=rows,
            power_up=power_up,
            reading_was_given=wish is PowerUp.AS_READ,
            other_waking=self._other_waking(power_up, wish, beginning),
            known_from=next((row.number for row in rows if len(row.possible) == 1), None),
            coverage=coverage,
            at_least=len(beginning.flips) + tour.at_least + tour.walk.count(BEGIN_ANEW) * len(beginning.stages),
            notes=notes(self._design, self._columns, self._straps, self._heeded, self._unheeded),
        )

    # How the list begins

    def _beginning(self, wish: PowerUp, woke: Levels) -> tuple[PowerUp, Beginning]:
        if wish is PowerUp.AS_READ:
            return wish, self._from_reading(woke)
        if wish is PowerUp.ANY:
            found = synchronising(self._states, self._woken())
            if found is not None:
                return wish, found
            told = self._told_by_reading()
            if told is not None:
                return PowerUp.AS_READ, told
        as_written = list(self._woken(as_written=True))
        if not as_written:
            permitted = " that its givens permit" if self._heeded else ""
            raise CallError(f"{self._design.name} has no power-up state{permitted}")
        return PowerUp.AS_WRITTEN, synchronising(self._states, as_written) or Beginning.at(*as_written[0])

    def _from_reading(self, woke: Levels) -> Beginning:
        inputs = {net: woke.get(net, self._straps.get(net, False)) for net in self._netlist.input_nets}
        wanted = {net: level for net, level in woke.items() if net not in inputs}
        possible = self._states.power_ups(inputs, wanted)
        if not possible:
            refuse_unwakeable(self._netlist, woke, self._straps)
        return synchronising(self._states, [(inputs, possible)]) or Beginning.at(inputs, possible)

    def _told_by_reading(self) -> Beginning | None:
        """To a state that readings tell from all others; where the file has starts, one that they allow."""
        expected = self._reachable(state for _, woken in self._woken(as_written=True) for state in woken)
        found = told_by_readings(self._states, self._woken(), self._read, lambda state: state in expected)
        return max(
            found[:STARTS_COMPARED],
            key=lambda one: len(explored(self._states, one.end, self._ceiling).nodes),
            default=None,
        )

    def _other_waking(self, power_up: PowerUp, wish: PowerUp, beginning: Beginning) -> Instant | None:
        """A state with another reading, in which a board may wake with the inputs that the list begins with."""
        if wish is PowerUp.AS_READ or power_up is not PowerUp.AS_READ:
            return None
        return min(self._states.power_ups(beginning.inputs) - beginning.stages[0], default=None)

    def _woken(self, *, as_written: bool = False) -> Iterator[tuple[Levels, Possible]]:
        """Settings of the inputs, and all that the board may wake in with them; those it may not wake in left out."""
        fitting = (setting for setting in input_settings(self._netlist) if self._straps.items() <= setting.items())
        for setting in islice(fitting, SETTINGS_TRIED):
            woken = self._states.power_ups(setting, as_written=as_written)
            if woken:
                yield setting, woken

    # What it covers

    def _coverage(self, graph: BoardGraph) -> Coverage:
        """Out of all that can be reached from any power-up that the file allows."""
        visited = {state for possible in graph.nodes for state in possible}
        made = {
            (state, flip)
            for arc, flip in zip(graph.arcs, graph.flips, strict=True)
            if arc.must
            for state in graph.nodes[arc.tail]
        }
        woken = (state for _, possible in self._woken(as_written=True) for state in possible)
        reached = self._reachable(chain(visited, woken))
        changes = sum(
            self._states.after_one(state, flip) is not None for state in reached for flip in switches(self._netlist)
        )
        complete = graph.complete and self._can_follow(len(reached))
        return Coverage(len(reached), len(visited), changes, len(made), complete=complete)

    def _reachable(self, begin_with: Iterable[Instant]) -> set[Instant]:
        """All states that flips lead to from these, up to the ceiling."""
        pending = list(begin_with)
        reached = set(pending)
        while pending and self._can_follow(len(reached)):
            state = pending.pop()
            for flip in switches(self._netlist):
                move = self._states.after_one(state, flip)
                if move is not None:
                    pending += move.possible - reached
                    reached |= move.possible
        return reached

    def _can_follow(self, count: int) -> bool:
        return count * len(switches(self._netlist)) <= self._ceiling

    # The rows

    def _rows(self, beginning: Beginning, graph: BoardGraph, walk: Sequence[int | None]) -> Iterator[Row]:
        walked: set[int] = set()
        number = 0
        for index in (BEGIN_ANEW, *walk):
            if index is BEGIN_ANEW:
                for row in self._first_rows(beginning, number):
                    number = row.number + 1
                    yield row
                continue
            arc, move = graph.arcs[index], graph.moves[index]
            yield Row(
                number=number,
                flip=self._flip(graph.nodes[arc.tail], graph.flips[index]),
                possible=move.possible,
                may_race=move.raced or move.oscillated,
                covers=arc.must and index not in walked,
            )
            walked.add(index)
            number += 1

    def _first_rows(self, beginning: Beginning, number: int) -> Iterator[Row]:
        yield Row(number=number, flip=None, possible=beginning.stages[0])
        for place, net in enumerate(beginning.flips):
            before, after = beginning.stages[place : place + 2]
            yield Row(number=number + 1 + place, flip=self._flip(before, net), possible=after)

    @staticmethod
    def _flip(before: Possible, net: NetId) -> Flip:
        return Flip(net, up=bits_read(before, [net]) == (False,))
