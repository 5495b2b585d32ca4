"""Which first instants there are."""

from __future__ import annotations

from itertools import islice, product

import pytest

from evidence.bench import Bench, gates_only, wire
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind, Netlist
from verifier.evidence.simulator import Simulator


def states(netlist: Netlist, nets: str, **inputs: int) -> list[str]:
    numbers = {net.name: number for number, net in enumerate(netlist.nets)}
    values = dict.fromkeys(netlist.input_nets, False)
    values.update({numbers[name]: bool(value) for name, value in inputs.items()})
    found = Simulator(netlist).first_instants(values)
    return ["".join(str(int(instant[numbers[name]])) for name in nets.split()) for instant, _ in found]


def test_storage_without_a_start_may_have_either_value_zero_first() -> None:
    builder = NetlistBuilder("unknown")
    for name in ("d", "en", "s", "r", "clk"):
        builder.input(name)
    builder.flip_flop("a", "d", "clk")
    builder.latch("b", "d", "en")
    builder.set_reset("c", "s", "r")
    netlist = builder.build()
    every = ["".join(bits) for bits in product("01", repeat=3)]
    assert sorted(states(netlist, "a b c")) == every
    assert states(netlist, "a b c")[0] == "000"
    assert sorted(states(netlist, "a b c", en=1, d=1)) == ["010", "011", "110", "111"]
    assert sorted(states(netlist, "a b c", r=1)) == ["000", "010", "100", "110"]


def test_pins_decide_over_a_start() -> None:
    builder = NetlistBuilder("forced")
    for name in ("d", "en", "s", "r", "clk", "clear"):
        builder.input(name)
    builder.flip_flop("a", "d", "clk", clear="clear", start=True)
    builder.latch("b", "d", "en", start=True)
    builder.set_reset("c", "s", "r", start=True)
    netlist = builder.build()
    assert states(netlist, "a b c") == ["111"]
    assert states(netlist, "a b c", clear=1, en=1, r=1) == ["000"]


def test_a_set_reset_latch_with_both_pins_active_races_at_the_first_instant() -> None:
    builder = NetlistBuilder("both")
    builder.input("s")
    builder.input("r")
    builder.set_reset("q", "s", "r", start=False)
    netlist = builder.build()
    found = list(Simulator(netlist).first_instants({0: True, 1: True}))
    assert [(instant[2], events.raced) for instant, events in found] == [(False, True), (True, True)]


def test_a_gate_in_a_loop_may_be_given_its_start() -> None:
    builder = NetlistBuilder("pair")
    builder.input("s_n")
    builder.input("r_n")
    builder.gate("q", GateKind.NAND, ["s_n", "qn"], start=True)
    builder.gate("qn", GateKind.NAND, ["r_n", "q"])
    netlist = builder.build()
    assert states(netlist, "q qn", s_n=1, r_n=1) == ["10"]
    assert states(netlist, "q qn", s_n=1, r_n=0) == []


def test_a_start_given_to_an_open_latch_in_a_loop_is_overruled_by_its_data() -> None:
    builder = NetlistBuilder("held")
    builder.input("en")
    builder.input("push")
    builder.latch("q", "d", "en", start=False)
    wire(builder, "d = or push q")
    netlist = builder.build()
    assert states(netlist, "q") == ["0"]
    assert states(netlist, "q", en=1, push=1) == ["1"]
    # Open, with nothing pushed: the loop of latch and gate can stand at either value.
    assert sorted(states(netlist, "q", en=1)) == ["0", "1"]


def test_very_many_first_instants_come_one_at_a_time() -> None:
    builder = NetlistBuilder("many")
    builder.input("clk")
    for i in range(300):
        builder.flip_flop(f"q{i}", "clk", "clk")
    found = list(islice(Simulator(builder.build()).first_instants({0: False}), 3))
    assert [sum(instant) for instant, _ in found] == [0, 1, 1]


def test_membership_is_asked_without_enumeration() -> None:
    builder = NetlistBuilder("many")
    builder.input("clk")
    for i in range(60):
        builder.flip_flop(f"q{i}", "clk", "clk", start=None if i else False)
    simulator = Simulator(builder.build())
    assert simulator.is_first_instant((False, False) + (True,) * 59) is not None
    assert simulator.is_first_instant((False, True) + (True,) * 59) is None


def test_a_gate_that_does_not_stand_at_its_function_is_no_first_instant() -> None:
    bench = Bench(gates_only("a", "y = not a"))
    assert bench.simulator.is_first_instant((False, True)) is not None
    assert bench.simulator.is_first_instant((False, False)) is None


def test_an_input_without_a_value_is_an_error() -> None:
    with pytest.raises(ValueError, match="lever"):
        next(Simulator(gates_only("lever", "y = not lever")).first_instants({}))


def test_a_loop_that_never_settles_may_be_anywhere_on_its_way_whatever_its_starts() -> None:
    builder = NetlistBuilder("restless")
    builder.gate("n", GateKind.NOT, ["n"], start=True)
    netlist = builder.build()
    found = list(Simulator(netlist).first_instants({}))
    assert [(instant, events.oscillated) for instant, events in found] == [((False,), True), ((True,), True)]
