"""Asking whether a step can lead somewhere gives what listing all its outcomes gives; and which inputs may change."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st

from evidence.bench import gates_only
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import Edge, FlipFlopKind, GateKind, InputClass, Level, Netlist
from verifier.evidence.simulator import SimulationLimit, Simulator

KINDS = [GateKind.NOT, GateKind.AND, GateKind.OR, GateKind.NAND, GateKind.NOR, GateKind.XOR]


def random_netlist(random: Random) -> Netlist:
    """A few gates and storage elements wired to any nets at all, loops included."""
    builder = NetlistBuilder("random", inputs_may_change_together=True)
    inputs = [builder.input(f"i{n}") for n in range(random.randint(1, 3))]
    outputs = [builder.net(f"n{n}") for n in range(random.randint(2, 6))]
    nets = [*inputs, *outputs]

    def level() -> Level | None:
        return Level(random.choice(nets), random.random() < 0.5) if random.random() < 0.3 else None

    for output in outputs:
        match random.randrange(6):
            case 0 | 1 | 2:
                kind = random.choice(KINDS)
                builder.gate(output, kind, random.choices(nets, k=1 if kind is GateKind.NOT else 2))
            case 3:
                clock = random.choice([*inputs, random.choice(nets)])
                toggles = random.choice([FlipFlopKind.D, FlipFlopKind.TOGGLE])
                edge = random.choice([*Edge])
                data = random.choice(nets)
                builder.flip_flop(output, data, clock, kind=toggles, edge=edge, clear=level(), preset=level())
            case 4:
                builder.latch(output, random.choice(nets), Level(random.choice(nets), random.random() < 0.5))
            case _:
                builder.set_reset(output, random.choice(nets), random.choice(nets))
    return builder.build()


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 10**9))
def test_membership_of_a_step_agrees_with_enumeration(seed: int) -> None:
    random = Random(seed)
    netlist = random_netlist(random)
    simulator = Simulator(netlist, limit=3000)
    try:
        starts = list(simulator.first_instants({net: random.random() < 0.5 for net in netlist.input_nets}))
        for instant, events in random.sample(starts, min(3, len(starts))):
            assert simulator.is_first_instant(instant) == events
            outcomes = simulator.step(instant, {net: random.random() < 0.5 for net in netlist.input_nets})
            assert outcomes
            for outcome in outcomes[:5]:
                wanted = list(outcome.instant)
                for aim in (outcome.instant, (*wanted[:-1], not wanted[-1])):
                    found = simulator.outcomes_leading_to(instant, aim)
                    assert found == tuple(o for o in outcomes if o.instant == aim)
    except SimulationLimit:
        reject()


def test_many_independent_either_values_are_no_obstacle_to_membership() -> None:
    builder = NetlistBuilder("wide", inputs_may_change_together=True)
    builder.input("clk")
    builder.input_bus("d", 40)
    builder.input("en")
    for i in range(40):
        builder.flip_flop(f"q{i}", f"d[{i}]", "clk", start=False)
        builder.latch(f"l{i}", f"d[{i}]", "en", start=False)
    netlist = builder.build()
    simulator = Simulator(netlist)
    numbers = {net.name: number for number, net in enumerate(netlist.nets)}
    first = next(
        instant for instant, _ in simulator.first_instants({net: net == numbers["en"] for net in netlist.input_nets})
    )
    new = [True] * len(first)
    new[numbers["en"]] = False
    for name in ("q7", "l9"):
        new[numbers[name]] = False
    assert len(simulator.outcomes_leading_to(first, tuple(new))) == 1
    with pytest.raises(SimulationLimit):
        Simulator(netlist, limit=1000).step(first, {net: new[net] for net in netlist.input_nets})


def permitted(together: bool, classes: str, changed: str) -> bool:
    builder = NetlistBuilder("pins", inputs_may_change_together=together)
    by_letter = {"f": InputClass.FREE, "r": InputClass.FREE_RUNNING, "h": InputClass.BY_HAND, "s": InputClass.STRAPPED}
    for i, letter in enumerate(classes):
        builder.input(f"pin{i}", by_letter[letter])
    netlist = builder.build()
    old = (False,) * len(classes)
    return Simulator(netlist).permitted_change(old, tuple(digit == "1" for digit in changed))


@pytest.mark.parametrize(
    ("together", "classes", "changed", "expected"),
    [
        (False, "ff", "00", True),
        (False, "ff", "01", True),
        (False, "fr", "11", False),
        (True, "fr", "11", True),
        (True, "fh", "11", False),
        (True, "hh", "11", False),
        (True, "fh", "01", True),
        (True, "s", "1", False),
        (True, "fs", "10", True),
    ],
)
def test_inputs_change_as_their_classes_allow(together: bool, classes: str, changed: str, expected: bool) -> None:
    assert permitted(together, classes, changed) is expected


def test_the_bits_of_a_bus_are_one_input() -> None:
    builder = NetlistBuilder("bus")
    builder.input_bus("stroke", 2)
    builder.input("lever")
    simulator = Simulator(builder.build())
    assert simulator.permitted_change((False, False, False), (True, True, False))
    assert not simulator.permitted_change((False, False, False), (True, False, True))


def test_only_inputs_can_be_set() -> None:
    simulator = Simulator(gates_only("a", "y = not a"))
    with pytest.raises(ValueError, match="not inputs"):
        simulator.step((False, True), {1: False})
