"""The steps of the layout by themselves: columns, order, heights, tracks."""

from __future__ import annotations

from itertools import combinations, product
from random import Random

import pytest
from report.drawing.geometry import Picture, cross, faults_in, picture_of
from report.drawing.random_circuits import random_circuit

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind, Netlist
from verifier.report.drawing import draw
from verifier.report.drawing.graph import Role, nodes_of
from verifier.report.drawing.layers import columns_of
from verifier.report.drawing.order import crossings_of, with_stops
from verifier.report.drawing.plan import placed_and_routed
from verifier.report.drawing.routing import routed
from verifier.report.drawing.rows import in_order
from verifier.report.drawing.svg import written


def columns_by_name(netlist: Netlist) -> dict[str, int]:
    nodes = nodes_of(netlist)
    return {f"{node.role.value} {node.name}": column for node, column in zip(nodes, columns_of(nodes), strict=True)}


def crossings_in(picture: Picture) -> int:
    """Crossings of wires of different nets."""
    return sum(
        cross(mine, theirs)
        for one, other in combinations(picture.wires, 2)
        for mine in picture.wires[one]
        for theirs in picture.wires[other]
    )


def test_a_chain_of_gates_goes_from_left_to_right() -> None:
    builder = NetlistBuilder("chain")
    builder.gate("second", GateKind.NOT, ["first"])
    builder.gate("first", GateKind.NOT, [builder.input("lever")])
    builder.output("second")
    assert columns_by_name(builder.build()) == {
        "input lever": 0,
        "element first": 1,
        "element second": 2,
        "output second": 3,
    }


def test_gates_that_drive_each_other_share_a_column() -> None:
    builder = NetlistBuilder("pair")
    up, down = builder.input("up_n"), builder.input("down_n")
    builder.gate("stepped", GateKind.NAND, [up, "rested"])
    builder.gate("rested", GateKind.NAND, [down, "stepped"])
    builder.output("stepped")
    columns = columns_by_name(builder.build())
    assert columns["element stepped"] == columns["element rested"] == 1


def test_the_state_comes_back_to_the_gates_and_not_the_gates_to_the_state() -> None:
    builder = NetlistBuilder("counter")
    tempo = builder.input("tempo")
    builder.gate("next", GateKind.NOT, ["count"])
    builder.flip_flop("count", "next", tempo)
    builder.output("count")
    columns = columns_by_name(builder.build())
    assert columns["element next"] < columns["element count"]


@pytest.mark.parametrize("seed", range(6))
def test_inputs_have_the_first_column_and_outputs_the_last_one_for_themselves(seed: int) -> None:
    nodes = nodes_of(random_circuit(seed, 20))
    columns = columns_of(nodes)
    for node, column in zip(nodes, columns, strict=True):
        assert (node.role is Role.INPUT) == (column == 0)
        assert (node.role is Role.OUTPUT) == (column == max(columns))


@pytest.mark.parametrize("seed", range(30))
def test_levels_are_as_close_to_the_wishes_as_any_that_keep_the_order(seed: int) -> None:
    random = Random(seed)
    wishes = [
        [(random.randrange(5), random.randrange(1, 4)) for _ in range(random.randrange(1, 4))]
        for _ in range(random.randrange(1, 5))
    ]

    def cost(levels: tuple[int, ...]) -> int:
        return sum(
            abs(level - wish) * counts for level, wanted in zip(levels, wishes, strict=True) for wish, counts in wanted
        )

    found = tuple(in_order(wishes))
    assert list(found) == sorted(found)
    every = product(range(5), repeat=len(wishes))
    assert cost(found) == min(cost(levels) for levels in every if list(levels) == sorted(levels))


def test_nets_cross_as_often_as_they_change_places_round_a_channel() -> None:
    def left(place: int) -> tuple[int, int, int]:
        return (0, place, 0)

    def right(place: int) -> tuple[int, int, int]:
        return (1, -place, 0)

    assert crossings_of([left(0), right(0)], [left(1), right(1)]) == 0
    assert crossings_of([left(0), right(1)], sorted([left(1), right(0)])) == 1
    assert crossings_of([left(0), left(2)], [left(1), right(0)]) == 1
    assert crossings_of([left(0), left(3)], [left(1), left(2)]) == 0
    assert crossings_of([left(0), left(2), left(4)], [left(1), left(3), right(0)]) == 2


@pytest.mark.parametrize("seed", range(60))
def test_in_a_channel_no_two_nets_touch_however_they_come_to_it(seed: int) -> None:
    """Heights are few, so that rings of constraints are frequent."""
    random = Random(seed)
    heights = range(0, 10 * random.randrange(3, 9), 10)
    nets = range(random.randrange(2, 6))
    left: dict[int, list[int]] = {}
    right: dict[int, list[int]] = {}
    for side in (left, right):
        for height in heights:
            if random.random() < 0.85:
                side.setdefault(random.choice(nets), []).append(height)
    channel = routed(left, right)
    wires: dict[int, list[tuple[float, float, float, float]]] = {net: [] for net in nets}
    end = 1000.0
    for net, height in channel.straight.items():
        wires[net].append((0, height, end, height))
    for trunk in channel.trunks:
        x = 10.0 * (trunk.track + 1)
        wires[trunk.net].append((x, trunk.top, x, trunk.bottom))
        others = [other for other in channel.trunks if other.net == trunk.net and other is not trunk]
        for height in trunk.left:
            wires[trunk.net].append(
                (0, height, x, height) if height in left[trunk.net] else _joint(trunk, others, height)
            )
        for height in trunk.right:
            if height in right.get(trunk.net, ()):
                wires[trunk.net].append((x, height, end, height))
    for one, other in combinations(nets, 2):
        for mine, theirs in product(wires[one], wires[other]):
            apart = mine[2] < theirs[0] or theirs[2] < mine[0] or mine[3] < theirs[1] or theirs[3] < mine[1]
            assert apart or cross(mine, theirs), (one, mine, other, theirs)


def _joint(trunk: object, others: list[object], height: int) -> tuple[float, float, float, float]:
    xs = [10.0 * (part.track + 1) for part in (trunk, *others) if height in (*part.left, *part.right)]  # type: ignore[attr-defined]
    return (min(xs), height, max(xs), height)


def test_wires_cross_far_less_often_than_in_the_order_of_the_netlist() -> None:
    plain = ours = 0
    for seed in range(5):
        netlist = random_circuit(seed, 25)
        nodes = nodes_of(netlist)
        plan = placed_and_routed(with_stops(nodes, columns_of(nodes)))
        as_written = written(netlist, plan, "plain", with_style=False)
        assert faults_in(netlist, as_written) == []
        plain += crossings_in(picture_of(as_written))
        ours += crossings_in(picture_of(draw(netlist)))
    assert ours < 0.5 * plain
