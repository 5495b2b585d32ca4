"""One input change, seen in the settled view and in the any-delay view, each by its own brute force."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from random import Random

import networkx as nx
from oracle.search import Arrival
from oracle.search import Behaviour as SettledBehaviour
from oracle.targets import Structure, Work

from oracle_delays.moves import Flips, Moves, Point, subsets
from oracle_delays.random_delays import GATES_OF_TWO, random_wiring
from verifier.circuit.netlist import NetId, Netlist
from verifier.claims.run import Instant
from verifier.language import loads

MOST_WORK = 40_000
End = tuple[Instant, bool]
"""Where a change can lead, and whether the circuit is quiet there; if not, it goes on for ever."""


@dataclass(frozen=True)
class Change:
    """An input change from a quiet instant of a circuit without flip-flops."""

    moves: Moves
    settled: SettledBehaviour
    before: Instant
    flips: Flips

    @cached_property
    def graph(self) -> nx.DiGraph:
        """Every point that firings can reach after the change."""
        graph = nx.DiGraph()
        pending = [self.start]
        graph.add_node(self.start)
        while pending:
            point = pending.pop()
            for fired in subsets(sorted(self.moves.excited(point))):
                for following in self.moves.after(point, frozenset(fired)):
                    if following not in graph:
                        pending.append(following)
                    graph.add_edge(point, following)
        return graph

    @property
    def start(self) -> Point:
        (point,) = self.moves.after(Point(self.before, ()), self.flips)
        return point

    def any_delay_ends(self) -> set[End]:
        found: set[End] = set()
        for component in nx.strongly_connected_components(self.graph):
            if len(component) > 1 and not self._is_transient(component):
                found.update((point.instant, False) for point in component)
            elif len(component) == 1:
                found.update((point.instant, True) for point in component if self.moves.is_quiet(point))
        return found

    def _is_transient(self, component: set[Point]) -> bool:
        always = frozenset.intersection(*(self.moves.excited(point) for point in component))
        return any(len({point.instant[net] for point in component}) == 1 for net in always)

    def settled_ends(self) -> set[End]:
        return {(arrival.instant, not arrival.events.oscillated) for arrival in self.arrivals}

    @cached_property
    def arrivals(self) -> frozenset[Arrival]:
        inputs = tuple(self.start.instant[net] for net in self.moves.netlist.input_nets)
        return self.settled.step(self.before, inputs)

    @property
    def quiet_ends(self) -> list[Point]:
        return [point for point in self.graph if self.moves.is_quiet(point)]

    def static_glitches(self, end: Point) -> set[NetId]:
        """Nets that change on a way to this quiet end, at which they are what they were before the change."""
        return {
            net
            for point in nx.ancestors(self.graph, end)
            for net in self.moves.elements
            if point.instant[net] != self.before[net] == end.instant[net]
        }

    def dynamic_glitches(self, end: Point) -> set[NetId]:
        """Nets that change, change back and change again on a way to this quiet end."""
        behind = self.graph.subgraph(nx.ancestors(self.graph, end) | {end})
        found: set[NetId] = set()
        for net in self.moves.elements:
            turned = {point for point in behind if point.instant[net] != self.before[net]}
            later = set().union(*(nx.descendants(behind, point) for point in turned))
            back = any(point.instant[net] == self.before[net] for point in later)
            if back and end.instant[net] != self.before[net]:
                found.add(net)
        return found


def changes_of(netlist: Netlist) -> list[Change]:
    """Every change of one input from every quiet first instant, reachable or not: all that a start could make one."""
    moves, settled = Moves(netlist), SettledBehaviour(netlist, Work(MOST_WORK))
    firsts = [point.instant for point in moves.first() if moves.is_quiet(point)]
    return [Change(moves, settled, first, flips) for first in firsts for _, flips in moves.input_changes()]


# Circuits


def one_loop(random: Random) -> str:
    """Inputs, and two to five gates that all stand in one loop."""
    while True:
        inputs = ["lever", "rope"][: random.choice((1, 2))]
        names = [f"bell_{number}" for number in range(random.choices((2, 3, 4, 5), (4, 5, 3, 1))[0])]
        lines = [f"input {', '.join(inputs)}", *["inputs may change together"] * (len(inputs) > 1)]
        kinds = [random.choice(("nand", "nor"))] if random.random() < 0.4 else GATES_OF_TWO
        for place, name in enumerate(names):
            pool = inputs if len(kinds) == 1 else [*inputs, *names]
            others = [random.choice(pool) for _ in range(random.choice((0, 1, 1)))]
            lines.append(f"{name} = {_gate(random, [names[place - 1], *others], kinds)}")
        text = "\n".join(["circuit carillon", *(f"    {line}" for line in lines)]) + "\n"
        parts = Structure(netlist_of(text)).parts
        if [len(part.members) for part in parts if part.is_loop] == [len(names)]:
            return text


def _gate(random: Random, pins: list[str], kinds: Sequence[str]) -> str:
    if len(pins) == 1:
        return random.choice(("not {}", "{}")).format(pins[0])
    random.shuffle(pins)
    return f"{random.choice(kinds)}({', '.join(pins)})"


def gates_and_latches(random: Random) -> str:
    """Any small circuit without flip-flops, one input changing at a time."""
    while True:
        text = random_wiring(random, timed=False, claims=False)
        starts_alone = "start" not in text and "together" not in text
        if starts_alone and not any(word in text for word in ("flipflop", "toggle", "jk", "clear", "preset")):
            return text


def netlist_of(text: str) -> Netlist:
    return loads(text, "compared.wiring").designs[0].netlist
