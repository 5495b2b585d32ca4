"""Wires in the channels between columns: right angles only, and no two nets ever on the same line.

In a channel a net comes to the left and the right side at certain heights. Its wires go level from there to a trunk, an
upright line on a track of the channel. Where one net comes to the left side at the height at which another comes to the
right side, the trunk of the first must stand left of the other's: the constraints of channel routing (Hashimoto and
Stevens, "Wire routing by optimizing channel assignment", Design Automation Workshop 1971), turned by a right angle. A
ring of constraints is broken by a dogleg, a net with two trunks. Among the orders left, one with few crossings is
taken.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from verifier.circuit.netlist import NetId
from verifier.report.drawing.symbols import GRID

Heights = dict[NetId, list[int]]

MARGIN = 12
"""Between the side of a channel and its first track."""

TRACK = 10


@dataclass
class Trunk:
    net: NetId
    left: tuple[int, ...]
    """Heights at which level wires come from the left."""
    right: tuple[int, ...]
    track: int = 0

    @property
    def top(self) -> int:
        return min((*self.left, *self.right))

    @property
    def bottom(self) -> int:
        return max((*self.left, *self.right))


@dataclass
class Channel:
    """The wires of one channel; tracks count from 0 at the left."""

    trunks: list[Trunk] = field(default_factory=list)
    straight: dict[NetId, int] = field(default_factory=dict)
    """Nets that need no trunk, with their heights."""
    tracks: int = 0

    @property
    def width(self) -> int:
        return 2 * MARGIN + max(0, self.tracks - 1) * TRACK


def routed(left: Mapping[NetId, Sequence[int]], right: Mapping[NetId, Sequence[int]]) -> Channel:
    """The channel in which each net comes to these heights on either side. No height is on one side twice."""
    channel = Channel()
    for net in dict.fromkeys([*left, *right]):
        starts, ends = tuple(sorted(left.get(net, ()))), tuple(sorted(right.get(net, ())))
        if len(starts) == len(ends) == 1 and starts == ends:
            channel.straight[net] = starts[0]
        elif len(starts) + len(ends) > 1:
            channel.trunks.append(Trunk(net, starts, ends))
    _break_rings(channel)
    channel.trunks = _in_good_order(channel.trunks)
    _give_tracks(channel)
    return channel


def _must_precede(trunks: Sequence[Trunk]) -> list[set[int]]:
    """For each trunk those that must stand to the right of it."""
    at_right: dict[int, list[int]] = defaultdict(list)
    for number, trunk in enumerate(trunks):
        for height in trunk.right:
            at_right[height].append(number)
    return [
        {other for height in trunk.left for other in at_right[height] if trunks[other].net != trunk.net}
        for number, trunk in enumerate(trunks)
    ]


def _break_rings(channel: Channel) -> None:
    """Splits trunks until the constraints have no ring."""
    taken = {height for trunk in channel.trunks for height in (*trunk.left, *trunk.right)} | set(
        channel.straight.values()
    )
    while (number := _on_a_ring(channel.trunks)) is not None:
        trunk = channel.trunks[number]
        height = _free_height(trunk, taken)
        taken.add(height)
        channel.trunks[number : number + 1] = [
            Trunk(trunk.net, trunk.left, (height,)),
            Trunk(trunk.net, (height,), trunk.right),
        ]


def _on_a_ring(trunks: Sequence[Trunk]) -> int | None:
    """A trunk on a ring of constraints that can be split."""
    after = _must_precede(trunks)
    waits = [0] * len(trunks)
    for others in after:
        for other in others:
            waits[other] += 1
    free = [number for number, count in enumerate(waits) if not count]
    done = set(free)
    while free:
        for other in after[free.pop()]:
            waits[other] -= 1
            if not waits[other]:
                free.append(other)
                done.add(other)
    left = [number for number in range(len(trunks)) if number not in done]
    if not left:
        return None
    # What is left is on a ring or behind one. Going back from any of them leads round a ring.
    before = {number: [other for other in left if number in after[other]] for number in left}
    walked: list[int] = []
    number = left[0]
    while number not in walked:
        walked.append(number)
        number = before[number][0]
    ring = walked[walked.index(number) :]
    return min(ring, key=lambda member: len(trunks[member].left) + len(trunks[member].right))


def _free_height(trunk: Trunk, taken: set[int]) -> int:
    """A height that no wire of the channel has, in the middle of the trunk or near it."""
    middle = GRID * ((trunk.top + trunk.bottom) // (2 * GRID))
    step = 0
    while True:
        for height in (middle + step, middle - step):
            if height not in taken:
                return height
        step += GRID


def _crossings(one: Trunk, other: Trunk) -> int:
    """How often two nets cross when the trunk of the one stands left of the other's."""
    over = sum(one.top < height < one.bottom for height in other.left)
    return over + sum(other.top < height < other.bottom for height in one.right)


def _in_good_order(trunks: Sequence[Trunk]) -> list[Trunk]:
    """From left to right: of those that may come next, always the one that does best against all that are left."""
    after = _must_precede(trunks)
    waits = [0] * len(trunks)
    for others in after:
        for other in others:
            waits[other] += 1
    gain = [
        sum(_crossings(trunk, other) - _crossings(other, trunk) for other in trunks if other is not trunk)
        for trunk in trunks
    ]
    left = set(range(len(trunks)))
    found: list[Trunk] = []
    while left:
        number = min((number for number in left if not waits[number]), key=lambda number: (gain[number], number))
        left.discard(number)
        found.append(trunks[number])
        for other in after[number]:
            waits[other] -= 1
        for other in left:
            gain[other] -= _crossings(trunks[other], trunks[number]) - _crossings(trunks[number], trunks[other])
    return found


def _give_tracks(channel: Channel) -> None:
    """Each trunk as far left as the trunks before it let it: on one track trunks keep their distance."""
    for number, trunk in enumerate(channel.trunks):
        for other in channel.trunks[:number]:
            if trunk.top < other.bottom + GRID and other.top < trunk.bottom + GRID:
                trunk.track = max(trunk.track, other.track + 1)
    channel.tracks = max((trunk.track + 1 for trunk in channel.trunks), default=0)
