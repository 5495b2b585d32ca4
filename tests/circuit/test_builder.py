"""The one door through which netlists are made."""

from __future__ import annotations

from dataclasses import fields

import pytest

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import (
    Delay,
    Edge,
    FlipFlop,
    FlipFlopKind,
    Gate,
    GateKind,
    Input,
    InputClass,
    Latch,
    Level,
    Range,
    SetReset,
    Timing,
)

SLOW = Delay(rise=Range(3, 15), fall=Range(4, 20))


def test_cross_coupled_gates_are_built_through_forward_references() -> None:
    builder = NetlistBuilder("holder")
    pull, release = builder.input("pull", InputClass.BY_HAND), builder.input("release")
    held = builder.net("held")
    freed = builder.gate("freed", GateKind.NAND, [release, held])
    assert builder.gate(held, GateKind.NAND, [pull, freed], start=True) == held
    builder.output("held")
    netlist = builder.build()
    assert [net.name for net in netlist.nets] == ["pull", "release", "held", "freed"]
    assert netlist.inputs[0] == Input(name="pull", nets=(pull,), input_class=InputClass.BY_HAND)
    assert netlist.gates == (
        Gate(output=freed, kind=GateKind.NAND, inputs=(release, held)),
        Gate(output=held, kind=GateKind.NAND, inputs=(pull, freed), start=True),
    )
    assert netlist.outputs[0].nets == (held,)
    assert netlist.signals == {"pull": (0,), "release": (1,), "held": (2,), "freed": (3,)}


def test_nets_may_be_named_instead_of_numbered() -> None:
    builder = NetlistBuilder("bell")
    builder.input("pull")
    builder.gate("ring", GateKind.NOT, ["pull"])
    builder.output("chime", "ring")
    netlist = builder.build()
    assert netlist.drivers[1] == Gate(output=1, kind=GateKind.NOT, inputs=(0,))
    assert netlist.outputs[0].nets == (1,)
    assert netlist.signals["chime"] == netlist.signals["ring"] == (1,)


def test_all_kinds_of_storage_keep_their_pins() -> None:
    builder = NetlistBuilder("store")
    a, b, clock = (builder.input(name) for name in ("a", "b", "clock"))
    d = builder.flip_flop("d", a, clock, clear=Level(b, active_high=False), preset=b, start=False)
    jk = builder.flip_flop("jk", (a, b), clock, kind=FlipFlopKind.JK, edge=Edge.FALL, takes=SLOW)
    latch = builder.latch("latch", a, Level(b, active_high=False))
    held = builder.set_reset("held", a, b, start=True)
    netlist = builder.build()
    assert netlist.flip_flops == (
        FlipFlop(output=d, kind=FlipFlopKind.D, data=(a,), clock=clock, edge=Edge.RISE, clear=Level(b, False),
                 preset=Level(b, True), start=False),
        FlipFlop(output=jk, kind=FlipFlopKind.JK, data=(a, b), clock=clock, edge=Edge.FALL, takes=SLOW),
    )  # fmt: skip
    assert netlist.latches == (Latch(output=latch, data=a, enable=Level(b, False)),)
    assert netlist.set_resets == (SetReset(output=held, set=a, reset=b, start=True),)


def test_a_bus_is_one_signal_and_one_input() -> None:
    builder = NetlistBuilder("count")
    bits = builder.input_bus("data", 3, InputClass.STRAPPED)
    builder.output("data")
    netlist = builder.build()
    assert [net.name for net in netlist.nets] == ["data[0]", "data[1]", "data[2]"]
    assert netlist.inputs == (Input(name="data", nets=bits, input_class=InputClass.STRAPPED),)
    assert netlist.outputs[0].nets == bits
    assert netlist.signals == {"data": bits}


def test_anonymous_nets_are_numbered_and_no_signals() -> None:
    builder = NetlistBuilder("bell")
    pull = builder.input("pull")
    inner = [builder.gate(builder.anonymous("ring"), GateKind.NOT, [pull]) for _ in range(2)]
    builder.gate("ring", GateKind.OR, inner)
    netlist = builder.build()
    assert [(net.name, net.anonymous) for net in netlist.nets[1:3]] == [("ring~1", True), ("ring~2", True)]
    assert list(netlist.signals) == ["pull", "ring"]


def test_a_net_driven_twice_is_refused_by_name() -> None:
    builder = NetlistBuilder("bell")
    pull = builder.input("pull")
    builder.gate("ring", GateKind.BUFFER, [pull])
    with pytest.raises(ValueError, match="'ring' is driven twice"):
        builder.gate("ring", GateKind.NOT, [pull])
    with pytest.raises(ValueError, match="'pull' is driven twice"):
        builder.latch("pull", "ring", "ring")


def test_undriven_nets_are_all_named_at_the_end() -> None:
    builder = NetlistBuilder("bell")
    builder.gate("ring", GateKind.AND, ["pull", "lever"])
    assert [builder.name_of(net) for net in builder.undriven()] == ["pull", "lever"]
    with pytest.raises(ValueError, match="nothing drives 'pull', 'lever'"):
        builder.build()


@pytest.mark.parametrize(
    ("kind", "count"),
    [
        (GateKind.LOW, 1),
        (GateKind.BUFFER, 2),
        (GateKind.NOT, 0),
        (GateKind.SELECT, 2),
        (GateKind.AND, 0),
        (GateKind.MAJORITY, 2),
    ],
)
def test_a_gate_with_the_wrong_number_of_pins_is_refused(kind: GateKind, count: int) -> None:
    builder = NetlistBuilder("bell")
    pull = builder.input("pull")
    with pytest.raises(ValueError, match=kind.value):
        builder.gate("ring", kind, [pull] * count)


def test_flip_flops_count_their_data_pins() -> None:
    builder = NetlistBuilder("bell")
    pull = builder.input("pull")
    with pytest.raises(ValueError, match="a jk takes 2 data inputs, not 1"):
        builder.flip_flop("ring", pull, pull, kind=FlipFlopKind.JK)


@pytest.mark.parametrize("number", [-1, 1, 99, True])
def test_an_unknown_net_number_is_refused(number: int) -> None:
    builder = NetlistBuilder("bell")
    builder.input("pull")
    with pytest.raises(ValueError, match=f"no net number {number}"):
        builder.gate("ring", GateKind.NOT, [number])


def test_names_are_taken_once() -> None:
    builder = NetlistBuilder("bell")
    builder.input("pull")
    builder.output("pull")
    with pytest.raises(ValueError, match="already a net 'pull'"):
        builder.add_net("pull")
    with pytest.raises(ValueError, match="already an output 'pull'"):
        builder.output("pull")
    with pytest.raises(ValueError, match="already an input 'pull'"):
        builder.add_input(Input(name="pull", nets=(0,)))
    builder.signal("both", ["pull", "pull"])
    with pytest.raises(ValueError, match="already a signal 'both'"):
        builder.signal("both", ["pull"])


@pytest.mark.parametrize("wrong", [Range(5, 3), Range(-1, 3)])
def test_a_delay_that_is_no_range_is_refused(wrong: Range) -> None:
    builder = NetlistBuilder("bell")
    builder.input("pull")
    for takes in (Delay(rise=wrong, fall=Range(3, 5)), Delay(rise=Range(3, 5), fall=wrong)):
        with pytest.raises(ValueError, match=rf"a delay of {wrong.low}\.\.{wrong.high} ns is no range"):
            builder.gate("ring", GateKind.NOT, ["pull"], takes=takes)
    assert not builder.is_driven("ring")


def test_storage_keeps_what_it_asks_of_its_pins() -> None:
    builder = NetlistBuilder("store")
    a, clock = builder.input("a"), builder.input("clock")
    asked = Timing(set_up=20, hold=0, clock_width=25)
    builder.flip_flop("d", a, clock, takes=SLOW, timing=asked)
    builder.latch("latch", a, clock, timing=asked)
    netlist = builder.build()
    flip_flop, latch = netlist.flip_flops[0], netlist.latches[0]
    assert (flip_flop.timing, flip_flop.takes) == (asked, SLOW)
    assert (latch.timing, latch.takes) == (asked, None)


@pytest.mark.parametrize("figure", [figure.name for figure in fields(Timing)])
def test_a_time_below_zero_is_refused(figure: str) -> None:
    builder = NetlistBuilder("store")
    a, clock = builder.input("a"), builder.input("clock")
    timing = Timing(**{figure: -1})
    with pytest.raises(ValueError, match=f"`{figure}` of -1 ns is no time"):
        builder.flip_flop("d", a, clock, timing=timing)
    with pytest.raises(ValueError, match=f"`{figure}` of -1 ns is no time"):
        builder.latch("latch", a, clock, timing=timing)


def test_a_pin_with_wrong_times_is_refused() -> None:
    builder = NetlistBuilder("bell")
    with pytest.raises(ValueError, match=r"a time of 5\.\.3 ns is no range"):
        builder.input("tempo", InputClass.FREE_RUNNING, high=Range(3, 5), low=Range(5, 3))
    with pytest.raises(ValueError, match="`apart` of -1 ns is no time"):
        builder.input("lever", InputClass.BY_HAND, apart=-1)


def test_the_invariants_notice_corruption() -> None:
    builder = NetlistBuilder("bell")
    builder.input("pull")
    builder.gate("ring", GateKind.NOT, ["pull"])
    builder.check_invariants()
    builder._net_by_name["rang"] = 1
    with pytest.raises(ValueError, match="net 1 is called 'ring', not 'rang'"):
        builder.check_invariants()
    del builder._net_by_name["rang"]
    builder._driver[0] = builder._driver[1]
    with pytest.raises(ValueError, match="net 0 is not driven by"):
        builder.check_invariants()
