"""The order of everything within its column, with few crossings.

A net that passes through a column has a place in it like a symbol: a `Stop`. Going back, it passes its own column and
that of its target as well, so feedback turns round in the channels beside them. Between two columns lies a channel; how
often two nets must cross there follows from the order in which they come to its sides.
"""

from __future__ import annotations

from bisect import bisect_right, insort
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from random import Random

from verifier.circuit.netlist import NetId
from verifier.report.drawing.graph import Node, Role
from verifier.report.drawing.layers import ends_of_nets

Item = int
"""A node by its number, or a stop by the number of nodes and more."""

SWEEPS = 12
SWAP_ROUNDS = 8
PIN_ROUNDS = 3
MOST_ATTEMPTS = 6
ITEMS_TRIED = 1800
"""Items of all attempts together, by which their number is bounded: about half a second."""


@dataclass(frozen=True)
class Stop:
    """Where a net passes through a column."""

    net: NetId
    column: int


@dataclass
class End:
    """Where a net comes to a channel."""

    item: Item
    offset: int


@dataclass
class Columns:
    """Nodes and stops, column by column from the left, each column from top to bottom."""

    nodes: list[Node]
    stops: tuple[Stop, ...]
    columns: list[list[Item]]

    def is_stop(self, item: Item) -> bool:
        return item >= len(self.nodes)

    def left_ends(self, item: Item) -> list[tuple[NetId, int]]:
        """Nets that come to the left side of the item, with their offsets."""
        if self.is_stop(item):
            return [(self.stops[item - len(self.nodes)].net, 0)]
        return [(port.net, port.offset) for port in self.nodes[item].symbol.inputs]

    def right_ends(self, item: Item) -> list[tuple[NetId, int]]:
        if self.is_stop(item):
            return [(self.stops[item - len(self.nodes)].net, 0)]
        return [(port.net, port.offset) for port in self.nodes[item].symbol.outputs]


Side = dict[NetId, list[End]]


def channel_sides(columns: Columns, channel: int) -> tuple[Side, Side]:
    """Of the channel between this column and the next: which nets come to its left and to its right side, and where."""
    left: Side = defaultdict(list)
    right: Side = defaultdict(list)
    for item in columns.columns[channel]:
        for net, offset in columns.right_ends(item):
            left[net].append(End(item, offset))
    for item in columns.columns[channel + 1]:
        for net, offset in columns.left_ends(item):
            right[net].append(End(item, offset))
    return left, right


def ordered(nodes: Sequence[Node], column_of: Sequence[int]) -> Columns:
    """Stops put in, columns put in order, interchangeable pins as well.

    Where an order ends depends on where it began, so a drawing that is small enough is begun several times.
    """
    items = len(nodes) + len(with_stops(nodes, column_of).stops)
    attempts = min(MOST_ATTEMPTS, max(1, ITEMS_TRIED // max(1, items)))
    tried = [_tried(with_stops(nodes, column_of), attempt) for attempt in range(attempts)]
    return min(tried, key=lambda columns: _Order(columns).crossings())


def _tried(columns: Columns, attempt: int) -> Columns:
    """The first attempt begins with the order as written, the others with a random one, the same at every run."""
    random = Random(attempt)
    for column in columns.columns if attempt else ():
        random.shuffle(column)
    _Order(columns).sweep()
    improve(columns)
    return columns


def improve(columns: Columns) -> None:
    """Exchanges neighbours, then interchangeable pins, as long as that takes crossings away."""
    order = _Order(columns)
    order.swap_neighbours()
    for _ in range(PIN_ROUNDS):
        if not order.exchange_pins():
            break
        order.swap_neighbours()


def with_stops(nodes: Sequence[Node], column_of: Sequence[int]) -> Columns:
    """Nodes in their given order, stops behind them; a net has one stop at most in a column."""
    last = 1 + max((column_of[number] for number, node in enumerate(nodes) if node.role is not Role.OUTPUT), default=0)
    columns: list[list[Item]] = [[] for _ in range(max(last, *column_of) + 1 if column_of else 2)]
    for number, column in enumerate(column_of):
        columns[column].append(number)
    stops: list[Stop] = []
    source, sinks = ends_of_nets(nodes)
    for net, number in source.items():
        start = column_of[number]
        ends = [column_of[other] for other in sinks[net]]
        if not ends:
            continue
        for column in (*range(min(ends), start + 1), *range(start + 1, max(ends))):
            columns[column].append(len(nodes) + len(stops))
            stops.append(Stop(net, column))
    return Columns(list(nodes), tuple(stops), columns)


class _Order:
    """Improves the order of `columns` in place. `_place` is the index of each item in its column."""

    def __init__(self, columns: Columns) -> None:
        self._columns = columns
        self._place: dict[Item, int] = {}
        self._sides: list[tuple[Side, Side]] = []
        self._column_of = {item: index for index, column in enumerate(columns.columns) for item in column}
        self._refresh()

    def _refresh(self) -> None:
        self._place = {item: place for column in self._columns.columns for place, item in enumerate(column)}
        self._sides = [channel_sides(self._columns, channel) for channel in range(len(self._columns.columns) - 1)]

    def crossings(self) -> int:
        """Crossings of straight lines between the ends of nets, same-side turns left out: cheap, and good enough to
        compare sweeps."""
        total = 0
        for left, right in self._sides:
            lines = sorted(
                ((self._place[start.item], start.offset), (self._place[end.item], end.offset))
                for net, starts in left.items()
                for start in starts
                for end in right.get(net, ())
            )
            ends: list[tuple[int, int]] = []
            for _, end in lines:
                total += len(ends) - bisect_right(ends, end)
                insort(ends, end)
        return total

    def sweep(self) -> None:
        """Barycentres, to the right and back; the best order met is kept."""
        columns = self._columns.columns
        best = (self.crossings(), [list(column) for column in columns])
        for sweep in range(SWEEPS):
            forwards = sweep % 2 == 0
            for index in range(1, len(columns)) if forwards else range(len(columns) - 2, -1, -1):
                self._sort(index, from_left=forwards)
            met = self.crossings()
            if met < best[0]:
                best = (met, [list(column) for column in columns])
        columns[:] = best[1]
        self._refresh()

    def _sort(self, index: int, *, from_left: bool) -> None:
        column = self._columns.columns[index]
        middle = {item: self._barycentre(item, index, from_left) for item in column}
        column.sort(key=lambda item: middle[item])
        for place, item in enumerate(column):
            self._place[item] = place

    def _barycentre(self, item: Item, index: int, from_left: bool) -> float:
        """Mean place, 0 to 1, of what the item's nets come from; without any, where it stands."""
        channel = index - 1 if from_left else index
        left, right = self._sides[channel]
        far, near = (left, right) if from_left else (right, left)
        ends = self._columns.left_ends(item) if from_left else self._columns.right_ends(item)
        heights: list[float] = []
        for net, _ in ends:
            others = far.get(net) or [end for end in near[net] if end.item != item]
            if others:
                heights.append(sum(map(self._height, others)) / len(others))
        return sum(heights) / len(heights) if heights else self._height(End(item, 0))

    def _height(self, end: End) -> float:
        size = len(self._columns.columns[self._column_of[end.item]])
        return (self._place[end.item] + 0.5 + end.offset / 200) / size

    def swap_neighbours(self) -> None:
        """Exchanges neighbours in a column as long as that takes crossings away."""
        columns = self._columns.columns
        changed = set(range(len(columns)))
        for _ in range(SWAP_ROUNDS):
            worth_a_look = {index + step for index in changed for step in (-1, 0, 1)}
            changed = set()
            for index in sorted(worth_a_look & set(range(len(columns)))):
                gained = sum(self._swap_if_better(index, place) for place in range(len(columns[index]) - 1))
                if gained:
                    changed.add(index)
            if not changed:
                break
        self._refresh()

    def _swap_if_better(self, index: int, place: int) -> int:
        column = self._columns.columns[index]
        one, other = column[place], column[place + 1]
        before = self._between(index, one, other)
        if not before:
            return 0
        self._place[one], self._place[other] = place + 1, place
        after = self._between(index, one, other)
        if after >= before:
            self._place[one], self._place[other] = place, place + 1
            return 0
        column[place], column[place + 1] = other, one
        return before - after

    def _between(self, index: int, one: Item, other: Item) -> int:
        """Crossings of the nets of two items in the channels beside their column."""
        total = 0
        for channel, ends_of in ((index - 1, self._columns.left_ends), (index, self._columns.right_ends)):
            if not 0 <= channel < len(self._sides):
                continue
            mine, theirs = {net for net, _ in ends_of(one)}, {net for net, _ in ends_of(other)}
            pairs = {(min(net, their), max(net, their)) for net in mine for their in theirs if net != their}
            rounds = {net: self._round(channel, net) for net in mine | theirs}
            total += sum(crossings_of(rounds[net], rounds[their]) for net, their in pairs)
        return total

    def _round(self, channel: int, net: NetId) -> list[tuple[int, int, int]]:
        """Where the net comes to the channel, going round it: down the left side and up the right one."""
        left, right = self._sides[channel]
        place = self._place
        ways = [(0, place[end.item], end.offset) for end in left.get(net, ())]
        ways += [(1, -place[end.item], -end.offset) for end in right.get(net, ())]
        if len(ways) > 1:
            ways.sort()
        return ways

    def exchange_pins(self) -> bool:
        """Gives interchangeable pins to nets in the order in which they come. True: something was exchanged."""
        exchanged = False
        for number, node in enumerate(self._columns.nodes):
            if not node.symbol.interchangeable or len(node.symbol.inputs) < 2:
                continue
            better = self._best_pins(number)
            if better != [port.net for port in node.symbol.inputs]:
                exchanged = True
                ports = tuple(replace(port, net=net) for port, net in zip(node.symbol.inputs, better, strict=True))
                self._columns.nodes[number] = replace(node, symbol=replace(node.symbol, inputs=ports))
        self._refresh()
        return exchanged

    def _best_pins(self, number: int) -> list[NetId]:
        """Neighbouring pins exchanged as long as their nets cross less."""
        symbol = self._columns.nodes[number].symbol
        channel = self._column_of[number] - 1
        nets = [port.net for port in symbol.inputs]
        right = self._sides[channel][1]
        for _ in nets:
            calm = True
            for index in range(len(nets) - 1):
                one, other = nets[index], nets[index + 1]
                if one == other:
                    continue
                before = crossings_of(self._round(channel, one), self._round(channel, other))
                ends = [
                    next(end for end in right[net] if end.item == number and end.offset == symbol.inputs[place].offset)
                    for place, net in ((index, one), (index + 1, other))
                ]
                ends[0].offset, ends[1].offset = ends[1].offset, ends[0].offset
                after = crossings_of(self._round(channel, one), self._round(channel, other))
                if after < before:
                    nets[index], nets[index + 1] = other, one
                    calm = False
                else:
                    ends[0].offset, ends[1].offset = ends[1].offset, ends[0].offset
            if calm:
                break
        return nets


def crossings_of(one: Sequence[tuple[int, int, int]], other: Sequence[tuple[int, int, int]]) -> int:
    """How often two trees inside a disk cross at least, when they meet its edge at these places in turn."""
    if not one or not other:
        return 0
    if len(one) == len(other) == 2:
        return int(one[0] < other[0] < one[1] < other[1] or other[0] < one[0] < other[1] < one[1])
    turns = sorted([(key, False) for key in one] + [(key, True) for key in other])
    owners = [owner for _, owner in turns]
    changes = sum(owner != following for owner, following in zip(owners, owners[1:] + owners[:1], strict=True))
    return changes // 2 - 1
