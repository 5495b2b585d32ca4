"""The finished geometry: where symbols stand and wires run, in units of the drawing, before anything is written.

x grows to the right and y downwards, from the upper left corner of the border.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from verifier.circuit.netlist import NetId
from verifier.report.drawing.graph import Node
from verifier.report.drawing.layers import columns_of
from verifier.report.drawing.order import Columns, End, Item, Side, channel_sides, ordered
from verifier.report.drawing.routing import MARGIN, TRACK, Channel, routed
from verifier.report.drawing.rows import heights_of
from verifier.report.drawing.symbols import GRID

Point = tuple[float, float]

STUB = 8
"""How far a net that goes nowhere sticks out, less than any track is away."""

INNER_MARGIN = 2 * GRID
"""Between the border and what stands highest; names below the lowest leave room there."""


@dataclass(frozen=True)
class Placed:
    """A node; `x` is the left edge of its symbol's box, `y` its reference line."""

    node: Node
    x: float
    y: float


@dataclass(frozen=True)
class Wire:
    """All of one net: stretches that are level or upright, from the smaller to the larger coordinate, and its dots."""

    net: NetId
    stretches: tuple[tuple[Point, Point], ...]
    junctions: tuple[Point, ...]


@dataclass(frozen=True)
class Plan:
    width: float
    """Of the border."""
    height: float
    placed: tuple[Placed, ...]
    wires: tuple[Wire, ...]


def planned(nodes: Sequence[Node]) -> Plan:
    """Everything in its place."""
    return placed_and_routed(ordered(nodes, columns_of(nodes)))


def placed_and_routed(columns: Columns) -> Plan:
    """The geometry for this order of things in their columns."""
    height_of = heights_of(columns)
    channels, sides = [], []
    for index in range(len(columns.columns) - 1):
        left, right = channel_sides(columns, index)
        sides.append((left, right))
        channels.append(routed(_heights(left, height_of), _heights(right, height_of)))
    return _Placing(columns, height_of, channels, sides).plan()


def _heights(side: Side, height_of: dict[Item, int]) -> dict[NetId, list[int]]:
    return {net: [height_of[end.item] + end.offset for end in ends] for net, ends in side.items()}


class _Placing:
    def __init__(
        self,
        columns: Columns,
        height_of: dict[Item, int],
        channels: Sequence[Channel],
        sides: Sequence[tuple[Side, Side]],
    ) -> None:
        self._columns = columns
        self._channels = channels
        self._sides = sides
        tops = [height_of[item] - self._extent(item)[0] for item in height_of]
        bottoms = [height_of[item] + self._extent(item)[1] for item in height_of]
        for channel in channels:
            tops.extend(trunk.top for trunk in channel.trunks)
            bottoms.extend(trunk.bottom for trunk in channel.trunks)
        self._up = INNER_MARGIN - min(tops, default=0)
        self._height = max(bottoms, default=0) + self._up + GRID
        self._y = {item: height + self._up for item, height in height_of.items()}
        self._column_left: list[float] = []
        self._column_right: list[float] = []
        x = 0.0
        for index, column in enumerate(columns.columns):
            self._column_left.append(x)
            x += max((self._width(item) for item in column), default=0)
            self._column_right.append(x)
            x += channels[index].width if index < len(channels) else 0
        self._x = {
            item: (self._column_left[index] + self._column_right[index] - self._width(item)) / 2
            for index, column in enumerate(columns.columns)
            for item in column
        }
        self._index_of = {item: index for index, column in enumerate(columns.columns) for item in column}

    def _extent(self, item: Item) -> tuple[int, int]:
        if self._columns.is_stop(item):
            return 0, 0
        symbol = self._columns.nodes[item].symbol
        return symbol.above, symbol.below

    def _width(self, item: Item) -> int:
        return 0 if self._columns.is_stop(item) else self._columns.nodes[item].symbol.width

    def plan(self) -> Plan:
        placed = tuple(
            Placed(node, self._x[number], self._y[number]) for number, node in enumerate(self._columns.nodes)
        )
        stretches: dict[NetId, list[tuple[Point, Point]]] = defaultdict(list)
        for index, channel in enumerate(self._channels):
            self._channel_wires(index, channel, stretches)
        for number, stop in enumerate(self._columns.stops):
            y = self._y[len(self._columns.nodes) + number]
            stretches[stop.net].append(((self._column_left[stop.column], y), (self._column_right[stop.column], y)))
        self._stubs(stretches)
        wires = tuple(_wire(net, stretches[net]) for net in sorted(stretches))
        return Plan(self._column_right[-1] if self._column_right else 0, self._height, placed, wires)

    def _channel_wires(self, index: int, channel: Channel, stretches: dict[NetId, list[tuple[Point, Point]]]) -> None:
        """Level stretches from where nets come in to their trunks, and the trunks."""
        left, right = self._sides[index]
        begin, end = self._column_right[index], self._column_left[index + 1]
        for net, height in channel.straight.items():
            y = height + self._up
            stretches[net].append(((self._start(left[net][0], begin), y), (self._stop(right[net][0], end), y)))
        starts = {net: {self._y[e.item] + e.offset: self._start(e, begin) for e in ends} for net, ends in left.items()}
        stops = {net: {self._y[e.item] + e.offset: self._stop(e, end) for e in ends} for net, ends in right.items()}
        joints: dict[tuple[NetId, int], list[float]] = defaultdict(list)
        for trunk in channel.trunks:
            x = begin + MARGIN + trunk.track * TRACK
            stretches[trunk.net].append(((x, trunk.top + self._up), (x, trunk.bottom + self._up)))
            for height in trunk.left:
                y = height + self._up
                if y in starts.get(trunk.net, {}):
                    stretches[trunk.net].append(((starts[trunk.net][y], y), (x, y)))
                else:
                    joints[trunk.net, y].append(x)
            for height in trunk.right:
                y = height + self._up
                if y in stops.get(trunk.net, {}):
                    stretches[trunk.net].append(((x, y), (stops[trunk.net][y], y)))
                else:
                    joints[trunk.net, y].append(x)
        for (net, y), (one, other) in joints.items():
            stretches[net].append(((min(one, other), y), (max(one, other), y)))

    def _start(self, end: End, begin: float) -> float:
        """Where the wire begins that comes to the left side of a channel: at an outline, or at the channel."""
        if self._columns.is_stop(end.item):
            return begin
        symbol = self._columns.nodes[end.item].symbol
        port = next(port for port in symbol.outputs if port.offset == end.offset)
        return self._x[end.item] + symbol.width - port.inset

    def _stop(self, end: End, right: float) -> float:
        if self._columns.is_stop(end.item):
            return right
        port = next(port for port in self._columns.nodes[end.item].symbol.inputs if port.offset == end.offset)
        return self._x[end.item] + port.inset

    def _stubs(self, stretches: dict[NetId, list[tuple[Point, Point]]]) -> None:
        """A short end for a net that goes nowhere."""
        for number, node in enumerate(self._columns.nodes):
            for port in node.symbol.outputs:
                if port.net not in stretches:
                    y = self._y[number] + port.offset
                    edge = self._x[number] + node.symbol.width
                    stretches[port.net].append(((edge - port.inset, y), (edge + STUB, y)))


def _wire(net: NetId, stretches: Iterable[tuple[Point, Point]]) -> Wire:
    level: dict[float, list[tuple[float, float]]] = defaultdict(list)
    upright: dict[float, list[tuple[float, float]]] = defaultdict(list)
    for (x, y), (right, bottom) in stretches:
        if y == bottom and x != right:
            level[y].append((x, right))
        elif x == right and y != bottom:
            upright[x].append((y, bottom))
    joined = [((a, y), (b, y)) for y, parts in sorted(level.items()) for a, b in _merged(parts)]
    joined += [((x, a), (x, b)) for x, parts in sorted(upright.items()) for a, b in _merged(parts)]
    return Wire(net, tuple(joined), _junctions(joined))


def _merged(parts: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    """Intervals that touch or overlap made one."""
    found: list[tuple[float, float]] = []
    for start, end in sorted(parts):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        else:
            found.append((start, end))
    return found


def _junctions(stretches: Sequence[tuple[Point, Point]]) -> tuple[Point, ...]:
    """Where wires of the net leave in three or four directions."""
    level = [(one, other) for one, other in stretches if one[1] == other[1]]
    upright = [(one, other) for one, other in stretches if one[0] == other[0]]
    found: dict[Point, None] = {}
    for (left, y), (right, _) in level:
        for (x, top), (_, bottom) in upright:
            if left <= x <= right and top <= y <= bottom:
                directions = (left < x) + (x < right) + (top < y) + (y < bottom)
                if directions > 2:
                    found[x, y] = None
    return tuple(found)
