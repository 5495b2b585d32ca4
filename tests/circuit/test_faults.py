"""What each kind of fault does to a circuit, read off the board."""

from __future__ import annotations

from itertools import product

import pytest
from evidence.bench import Bench, wire

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.fault import Fault, FaultKind, Technology
from verifier.circuit.faulty import faulty
from verifier.circuit.loops import components
from verifier.circuit.netlist import Delay, Edge, GateKind, InputClass, Level, Netlist, Range
from verifier.circuit.single_faults import single_faults
from verifier.evidence.simulator import Simulator

TTL, CMOS = Technology.TTL, Technology.CMOS


def board(inputs: str, gates: str = "", outputs: str = "", by_hand: str = "") -> NetlistBuilder:
    builder = NetlistBuilder("board", inputs_may_change_together=True)
    for name in inputs.split():
        builder.input(name)
    for name in by_hand.split():
        builder.input(name, InputClass.BY_HAND)
    wire(builder, gates)
    for name in outputs.split():
        builder.output(name)
    return builder


def listed(netlist: Netlist, technology: Technology = TTL) -> dict[str, Fault]:
    return {fault.name: fault for each in single_faults(netlist, technology) for fault in each.faults}


def with_fault(netlist: Netlist, name: str, technology: Technology = TTL) -> Netlist:
    faults = listed(netlist, technology)
    assert name in faults, "\n".join(faults)
    return faulty(netlist, faults[name])


def table(netlist: Netlist, *outputs: str) -> dict[str, str]:
    """Input digits to output digits, for a circuit of gates; the inputs in their order."""
    simulator = Simulator(netlist)
    number = {net.name: place for place, net in enumerate(netlist.nets)}
    found: dict[str, str] = {}
    for values in product((False, True), repeat=len(netlist.input_nets)):
        ((instant, _),) = simulator.first_instants(dict(zip(netlist.input_nets, values, strict=True)))
        digits = "".join(str(int(value)) for value in values)
        found[digits] = "".join(str(int(instant[number[name]])) for name in outputs)
    return found


AGREE = board("tempo lever", "agree = xnor tempo lever; beat = and agree lever", "beat").build()


def test_names_say_where_and_what_as_a_builder_would() -> None:
    faults = listed(AGREE)
    assert "tempo: input pin stuck low" in faults
    assert "agree: input 2 (lever) stuck high" in faults
    assert "agree: output stuck low" in faults
    assert "beat: input 1 (agree) has no wire" in faults
    assert "beat: a 7400 (nand) in place of the 7408 (and)" in faults
    assert "tempo touches lever (at agree)" in faults
    assert "lever touches agree" in faults
    assert "lever touches beat" in faults


def test_gates_inside_an_expression_are_called_by_what_they_compute() -> None:
    builder = board("a b")
    inner = builder.gate(builder.anonymous("beat"), GateKind.NAND, ["a", "b"])
    twin = builder.gate(builder.anonymous("beat"), GateKind.NAND, ["a", "b"])
    outer = builder.gate(builder.anonymous("beat"), GateKind.NOT, [twin])
    tied = builder.gate(builder.anonymous("beat"), GateKind.HIGH)
    builder.gate("beat", GateKind.SELECT, [inner, outer, tied])
    names = listed(builder.build())
    assert "beat~1: output stuck low" in names  # two of them compute the same: the numbers tell them apart
    assert "beat: input when high (not(nand(a, b)) in beat) stuck low" in names
    assert "beat: input when low (constant 1 in beat) stuck low" in names


def test_a_stuck_pin_leaves_its_net_and_the_other_readers_alone() -> None:
    changed = with_fault(AGREE, "agree: input 2 (lever) stuck high")
    assert table(changed, "lever", "agree", "beat") == {"00": "000", "01": "100", "10": "010", "11": "111"}


def test_a_stuck_net_is_stuck_for_all_its_readers_while_an_input_shows_what_the_outside_does() -> None:
    changed = with_fault(AGREE, "lever: input pin stuck high")
    assert table(changed, "lever", "agree", "beat") == {"00": "000", "01": "100", "10": "011", "11": "111"}
    changed = with_fault(AGREE, "agree: output stuck high")
    assert table(changed, "agree", "beat") == {"00": "10", "01": "11", "10": "10", "11": "11"}


def test_a_missing_wire_reads_high_in_ttl() -> None:
    name = "agree: input 2 (lever) has no wire"
    assert with_fault(AGREE, name) == with_fault(AGREE, "agree: input 2 (lever) stuck high")


def test_a_missing_wire_reads_either_value_in_cmos() -> None:
    changed = with_fault(AGREE, "agree: input 2 (lever) has no wire", CMOS)
    assert [(pin.name, pin.input_class) for pin in changed.inputs[2:]] == [("floating", InputClass.FLOATING)]
    assert table(changed, "agree") == {
        f"{tempo}{lever}{floating}": str(int(tempo == floating)) for tempo, lever, floating in product((0, 1), repeat=3)
    }


def test_all_readers_of_a_net_without_a_wire_float_together_and_an_output_does_too() -> None:
    changed = with_fault(AGREE, "lever: input pin has no wire to anything", CMOS)
    rows = table(changed, "agree", "beat")
    assert rows == {f"{t}{lever}{f}": f"{int(t == f)}{int(t and f)}" for t, lever, f in product((0, 1), repeat=3)}
    changed = with_fault(AGREE, "beat: output has no wire to anything", CMOS)
    assert changed.signals["floating"] == changed.outputs[0].nets


def test_the_name_floating_may_be_taken() -> None:
    netlist = board("floating tempo", "beat = and floating tempo", "beat").build()
    changed = with_fault(netlist, "beat: input 2 (tempo) has no wire", CMOS)
    assert [pin.name for pin in changed.inputs] == ["floating", "tempo", "floating~"]


def test_a_wrong_gate_has_the_same_pins_and_another_function() -> None:
    changed = with_fault(AGREE, "beat: a 7432 (or) in place of the 7408 (and)")
    assert table(changed, "beat") == {"00": "1", "01": "1", "10": "0", "11": "1"}
    nor = board("a b", "y = nor a b", "y").build()
    assert not [fault for fault in listed(nor).values() if fault.kind is FaultKind.WRONG_GATE]


def test_swapped_pins_are_listed_only_where_order_matters() -> None:
    builder = board("s a b", "same = nand a b", "")
    builder.gate("y", GateKind.SELECT, ["s", "a", "b"])
    netlist = builder.build()
    swaps = [fault.name for fault in listed(netlist).values() if fault.kind is FaultKind.SWAPPED_PINS]
    assert swaps == [
        "y: selector (s) and input when high (a) swapped",
        "y: selector (s) and input when low (b) swapped",
        "y: input when high (a) and input when low (b) swapped",
    ]
    assert table(with_fault(netlist, swaps[2]), "y") == {
        f"{s}{a}{b}": str(b if s else a) for s, a, b in product((0, 1), repeat=3)
    }


def stored(**options: Level) -> Netlist:
    builder = board("d clk r")
    levels = {name: Level(builder.net("r"), level.active_high) for name, level in options.items()}
    builder.flip_flop("q", "d", "clk", start=False, clear=levels.get("clear"), preset=levels.get("preset"))
    builder.output("q")
    return builder.build()


def test_a_flip_flop_with_data_and_clock_swapped_samples_its_clock_at_an_edge_of_its_data() -> None:
    bench = Bench(with_fault(stored(), "q: d (d) and clock (clk) swapped"), clk=1)
    bench.set(d=1)
    assert bench["q"] == 1


def test_a_clear_on_the_preset_pin_sets_the_flip_flop() -> None:
    netlist = stored(clear=Level(0, active_high=True))
    bench = Bench(with_fault(netlist, "q: r on preset in place of clear"))
    bench.set(r=1)
    assert bench["q"] == 1


def test_the_wrong_edge_samples_at_the_other_edge() -> None:
    bench = Bench(with_fault(stored(), "q: clocked on the fall in place of the rise"), d=1)
    bench.set(clk=1)
    assert bench["q"] == 0
    bench.set(clk=0)
    assert bench["q"] == 1


def test_a_latch_at_the_wrong_level_is_open_while_it_should_hold() -> None:
    builder = board("d en")
    builder.latch("q", "d", "en", start=False)
    bench = Bench(with_fault(builder.build(), "q: open while enable is low in place of high"), en=1)
    bench.set(d=1)
    assert bench["q"] == 0
    bench.set(en=0)
    assert bench["q"] == 1


def test_of_two_wires_that_touch_the_lower_wins_in_ttl() -> None:
    changed = with_fault(AGREE, "tempo touches lever (at agree)")
    assert table(changed, "tempo", "lever", "agree", "beat") == {"00": "0010", "01": "0110", "10": "1010", "11": "1111"}
    inner = board("a b", "x = and a b; y = not a; z = xor x y").build()
    changed = with_fault(inner, "x touches y (at z)")
    assert table(changed, "x", "y", "z") == {"00": "000", "01": "000", "10": "000", "11": "000"}


def test_two_wires_that_touch_are_at_either_level_in_cmos_where_their_drivers_differ() -> None:
    changed = with_fault(AGREE, "tempo touches lever (at agree)", CMOS)
    assert table(changed, "agree", "beat") == {
        f"{t}{lever}{f}": f"1{int(t + lever + f > 1)}" for t, lever, f in product((0, 1), repeat=3)
    }


def test_an_output_that_touches_its_own_input_closes_a_loop() -> None:
    changed = with_fault(board("a", "y = not a; z = buffer y", "z").build(), "a touches y")
    assert any(part.is_loop for part in components(changed))
    # With a high, y wants to be low and pulls its own input low: nothing stands still.
    ((_, events),) = list(Simulator(changed).first_instants({0: False}))
    assert not events.oscillated
    assert all(events.oscillated for _, events in Simulator(changed).first_instants({0: True}))


def test_a_short_between_an_input_and_a_supply_is_no_bridge_but_a_stuck_pin() -> None:
    builder = board("a")
    builder.gate("one", GateKind.HIGH)
    builder.gate("y", GateKind.AND, ["a", "one"])
    bridges = [fault.name for fault in listed(builder.build()).values() if fault.kind is FaultKind.BRIDGE]
    assert bridges == ["a touches y"]


def test_a_switch_without_pull_up_floats_while_it_is_open_in_cmos_and_reads_high_in_ttl() -> None:
    netlist = board("", "y = buffer lever", "y", by_hand="lever").build()
    name = "lever: no pull-up at the switch"
    assert with_fault(netlist, name) is netlist
    assert table(with_fault(netlist, name, CMOS), "lever", "y") == {"00": "00", "01": "00", "10": "10", "11": "11"}


def test_what_a_stuck_pin_makes_constant_is_no_loop_any_more() -> None:
    pair = board("s_n r_n", "q = nand s_n q_n; q_n = nand r_n q").build()
    changed = with_fault(pair, "q: input 1 (s_n) stuck low")
    assert not any(part.is_loop for part in components(changed))
    assert table(changed, "q", "q_n") == {"00": "11", "01": "10", "10": "11", "11": "10"}


def test_a_start_is_kept_only_in_a_loop_that_the_fault_leaves_alone() -> None:
    builder = board("s_n r_n")
    for pair in "ab":
        builder.gate(f"{pair}", GateKind.NAND, ["s_n", f"{pair}_n"], start=True)
        builder.gate(f"{pair}_n", GateKind.NAND, ["r_n", f"{pair}"])
    changed = with_fault(builder.build(), "a: input 1 (s_n) stuck high")
    starts = {changed.nets[gate.output].name: gate.start for gate in changed.gates}
    assert (starts["a"], starts["b"]) == (None, True)


def test_a_short_takes_at_most_one_ns_where_gates_take_time() -> None:
    builder = board("a b")
    delay = Delay(Range(3, 5), Range(3, 5))
    builder.gate("y", GateKind.AND, ["a", "b"], takes=delay)
    changed = with_fault(builder.build(), "a touches y")
    assert {gate.takes for gate in changed.gates} == {delay, Delay(Range(0, 1), Range(0, 1))}


def test_a_stuck_clock_is_one_fault_whatever_its_level() -> None:
    classes = single_faults(stored(), CMOS)
    (both,) = [each for each in classes if any(fault.name == "q: clock (clk) stuck low" for fault in each.faults)]
    assert "q: clock (clk) stuck high" in {fault.name for fault in both.faults}


def test_the_more_is_looked_at_the_more_faults_can_be_told_apart() -> None:
    assert len(single_faults(AGREE, TTL)) > len(single_faults(AGREE, TTL, observed=()))


def test_a_fault_of_another_circuit_is_refused() -> None:
    edge = listed(stored())["q: clocked on the fall in place of the rise"]
    with pytest.raises(ValueError, match="nothing that has an edge"):
        faulty(AGREE, edge)


def test_edges_are_listed_for_storage_alone() -> None:
    edges = [fault for fault in listed(AGREE).values() if fault.kind is FaultKind.WRONG_EDGE]
    assert edges == []
    assert stored().flip_flops[0].edge is Edge.RISE
