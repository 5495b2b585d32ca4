"""How high everything stands: wires straight where they can be, nothing too close, the order within columns kept.

Column by column, each item is drawn to the heights at which its wires would be straight. With the order and the
distances given this is isotonic regression with absolute deviations, exact by pooling neighbours that want to pass each
other (Robertson and Wright, "Algorithms in order restricted statistical inference", Annals of Statistics 8, 1980).
Then whole chains of straight wires are moved together, which no single column can do.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import pairwise, product

from verifier.report.drawing.order import Columns, End, Item, channel_sides
from verifier.report.drawing.symbols import GRID

Wish = tuple[int, int]
"""A height and how much it counts."""

Link = tuple[Item, int, Item, int, int]
"""An item and the offset at which a net meets it, the same of another item, and how much a straight wire counts."""

ROUNDS = 6
CLOSING_ROUNDS = 2
STOP_TO_STOP, STOP_TO_PIN, PIN_TO_PIN = 5, 2, 1
ALONE = 3
"""What a wire without branches counts more."""
TURN = 1
"""What counts the way between two ends on one side of a channel."""
BETWEEN_SYMBOLS = 2 * GRID
BESIDE_A_WIRE = GRID


def heights_of(columns: Columns) -> dict[Item, int]:
    """The reference line of each item, a multiple of `GRID`."""
    return _Heights(columns).settled()


def distance(columns: Columns, upper: Item, lower: Item) -> int:
    """Least distance of the reference lines of neighbours in a column."""
    room = sum(0 if columns.is_stop(item) else 1 for item in (upper, lower))
    gap = BETWEEN_SYMBOLS if room == 2 else BESIDE_A_WIRE
    below = 0 if columns.is_stop(upper) else columns.nodes[upper].symbol.below
    above = 0 if columns.is_stop(lower) else columns.nodes[lower].symbol.above
    return below + gap + above


class _Heights:
    def __init__(self, columns: Columns) -> None:
        self._columns = columns
        self._to_left: dict[Item, list[Link]] = defaultdict(list)
        self._to_right: dict[Item, list[Link]] = defaultdict(list)
        for channel in range(len(columns.columns) - 1):
            self._link_channel(channel)
        self._gaps = [
            [distance(columns, upper, lower) for upper, lower in pairwise(column)] for column in columns.columns
        ]
        self._where = {
            item: (index, place) for index, column in enumerate(columns.columns) for place, item in enumerate(column)
        }
        self._height: dict[Item, int] = {}
        for column, gaps in zip(columns.columns, self._gaps, strict=True):
            height = -GRID * (sum(gaps) // (2 * GRID))
            for item, gap in zip(column, [*gaps, 0], strict=False):
                self._height[item] = height
                height += gap

    def _link_channel(self, channel: int) -> None:
        left, right = channel_sides(self._columns, channel)
        for net in dict.fromkeys([*left, *right]):
            starts, ends = left.get(net, []), right.get(net, [])
            for start, end in product(starts, ends):
                stops = self._columns.is_stop(start.item) + self._columns.is_stop(end.item)
                counts = (PIN_TO_PIN, STOP_TO_PIN, STOP_TO_STOP)[stops]
                if len(starts) == len(ends) == 1:
                    counts += ALONE
                self._to_right[start.item].append((start.item, start.offset, end.item, end.offset, counts))
                self._to_left[end.item].append((end.item, end.offset, start.item, start.offset, counts))
            if not ends:
                _link_turn(self._to_right, starts)
            if not starts:
                _link_turn(self._to_left, ends)

    def settled(self) -> dict[Item, int]:
        count = len(self._columns.columns)
        for _ in range(ROUNDS):
            for index in range(1, count):
                self._fit(index, [self._to_left])
            for index in range(count - 2, -1, -1):
                self._fit(index, [self._to_right])
        for _ in range(ROUNDS):
            for index in range(count):
                self._fit(index, [self._to_left, self._to_right])
            self._move_chains()
        for _ in range(CLOSING_ROUNDS):
            self._close_gaps()
            self._move_chains()
        return self._height

    def _fit(self, index: int, sides: Sequence[dict[Item, list[Link]]]) -> None:
        """Puts a column where its wishes are met best."""
        column = self._columns.columns[index]
        moved = 0
        wishes: list[list[Wish]] = []
        moves: list[int] = []
        for item, gap in zip(column, [*self._gaps[index], 0], strict=False):
            links = [link for side in sides for link in side[item]]
            wanted = [(self._height[other] + their - mine - moved, counts) for _, mine, other, their, counts in links]
            wishes.append(wanted or [(self._height[item] - moved, 1)])
            moves.append(moved)
            moved += gap
        for item, level, move in zip(column, in_order(wishes), moves, strict=True):
            self._height[item] = level + move

    def _move_chains(self) -> None:
        """Moves items that straight wires join, all by the same, to where their other wires bend less."""
        seen: set[Item] = set()
        for start in self._where:
            if start not in seen:
                chain = self._joined(start, with_below=False)
                seen.update(chain)
                self._move(chain)

    def _close_gaps(self) -> None:
        """Moves an item up with all that hangs on it, below it in its column or by straight wires, where there is room
        and wires do not bend more for it."""
        seen: set[Item] = set()
        for start in sorted(self._where, key=self._height.__getitem__):
            index, place = self._where[start]
            above = self._columns.columns[index][place - 1] if place else None
            is_free = above is None or self._height[start] - self._height[above] > self._gaps[index][place - 1]
            if is_free and start not in seen:
                chain = self._joined(start, with_below=False)
                seen.update(chain)
                if self._room(chain)[0]:
                    self._move(self._joined(start, with_below=True), only_up=True)

    def _move(self, group: set[Item], *, only_up: bool = False) -> None:
        wishes = [
            (self._height[other] + their - self._height[item] - mine, counts)
            for item in group
            for _, mine, other, their, counts in (*self._to_left[item], *self._to_right[item])
            if other not in group
        ]
        if not wishes:
            return
        lowest, highest = self._room(group)
        by = min(max(median(wishes), lowest), 0 if only_up else highest)
        if by and (only_up or self._bend(wishes, by) < self._bend(wishes, 0)):
            for item in group:
                self._height[item] += by

    @staticmethod
    def _bend(wishes: Sequence[Wish], by: int) -> int:
        return sum(abs(wish - by) * counts for wish, counts in wishes)

    def _joined(self, start: Item, *, with_below: bool) -> set[Item]:
        """Items that straight wires join to this one; with all below them, what they would push against on the way up,
        what is joined to those, and so on."""
        known, pending = {start}, [start]
        while pending:
            item = pending.pop()
            found = [
                other
                for _, mine, other, their, _ in (*self._to_left[item], *self._to_right[item])
                if self._height[item] + mine == self._height[other] + their
            ]
            if with_below:
                index, place = self._where[item]
                column, gaps = self._columns.columns[index], self._gaps[index]
                found.extend(column[place + 1 : place + 2])
                if place and self._height[item] - self._height[column[place - 1]] <= gaps[place - 1]:
                    found.append(column[place - 1])
            for other in found:
                if other not in known:
                    known.add(other)
                    pending.append(other)
        return known

    def _room(self, group: set[Item]) -> tuple[int, int]:
        """How far up (negative) and down the group can go before it comes too close to something else."""
        lowest, highest = -(10**9), 10**9
        for item in group:
            index, place = self._where[item]
            column, gaps = self._columns.columns[index], self._gaps[index]
            if place and column[place - 1] not in group:
                lowest = max(lowest, self._height[column[place - 1]] + gaps[place - 1] - self._height[item])
            if place + 1 < len(column) and column[place + 1] not in group:
                highest = min(highest, self._height[column[place + 1]] - gaps[place] - self._height[item])
        return lowest, highest


def _link_turn(links: dict[Item, list[Link]], ends: Sequence[End]) -> None:
    """For a net that turns round in a channel: short ways from its first end to the others."""
    first = ends[0]
    for end in ends[1:]:
        links[first.item].append((first.item, first.offset, end.item, end.offset, TURN))
        links[end.item].append((end.item, end.offset, first.item, first.offset, TURN))


def median(wishes: Sequence[Wish]) -> int:
    """The lower weighted median."""
    total = sum(counts for _, counts in wishes)
    reached = 0
    for wish, counts in sorted(wishes):
        reached += counts
        if 2 * reached >= total:
            return wish
    raise ValueError("no wishes")


def in_order(wishes: Sequence[Sequence[Wish]]) -> list[int]:
    """Levels, none lower than the one before, with the least sum of weighted distances to the wishes of each."""
    pools: list[tuple[int, list[Wish], int]] = []
    for wanted in wishes:
        level, pool, size = median(wanted), list(wanted), 1
        while pools and pools[-1][0] > level:
            _, upper, count = pools.pop()
            pool = upper + pool
            size += count
            level = median(pool)
        pools.append((level, pool, size))
    return [level for level, _, size in pools for _ in range(size)]
