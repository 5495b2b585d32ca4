"""Every gate that is written is a gate of the netlist; arithmetic is right for all values."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verifier.circuit.netlist import (
    Delay,
    Edge,
    FlipFlop,
    FlipFlopKind,
    Gate,
    GateKind,
    InputClass,
    Latch,
    Level,
    Netlist,
    Range,
    SetReset,
)
from verifier.language import loads


def netlist_of(body: str, *, before: str = "") -> Netlist:
    return loads(f"{before}circuit bell\n{body}", "bells.wiring").designs[0].netlist


def both_edges(low: int, high: int) -> Delay:
    return Delay(rise=Range(low, high), fall=Range(low, high))


def gates_by_name(netlist: Netlist) -> dict[str, tuple[str, list[str]]]:
    """Each gate as its word and the names of its inputs, by the name of its output."""
    names = [net.name for net in netlist.nets]
    return {names[gate.output]: (gate.kind.value, [names[net] for net in gate.inputs]) for gate in netlist.gates}


def outputs_for(netlist: Netlist, inputs: dict[str, int]) -> dict[str, int]:
    """The outputs of a circuit of gates without loops, worked out gate by gate as soon as inputs are known."""
    values: dict[int, bool] = {}
    for pin in netlist.inputs:
        values |= {net: bool(inputs[pin.name] >> bit & 1) for bit, net in enumerate(pin.nets)}
    waiting = list(netlist.gates)
    while waiting:
        ready = [gate for gate in waiting if all(net in values for net in gate.inputs)]
        assert ready, "a loop of gates"
        for gate in ready:
            values[gate.output] = gate_value(gate.kind, [values[net] for net in gate.inputs])
        waiting = [gate for gate in waiting if gate.output not in values]
    return {pin.name: sum(values[net] << bit for bit, net in enumerate(pin.nets)) for pin in netlist.outputs}


def gate_value(kind: GateKind, inputs: list[bool]) -> bool:
    rules: dict[GateKind, Callable[[], bool]] = {
        GateKind.LOW: lambda: False,
        GateKind.HIGH: lambda: True,
        GateKind.BUFFER: lambda: inputs[0],
        GateKind.NOT: lambda: not inputs[0],
        GateKind.AND: lambda: all(inputs),
        GateKind.OR: lambda: any(inputs),
        GateKind.NAND: lambda: not all(inputs),
        GateKind.NOR: lambda: not any(inputs),
        GateKind.XOR: lambda: sum(inputs) % 2 == 1,
        GateKind.XNOR: lambda: sum(inputs) % 2 == 0,
        GateKind.MAJORITY: lambda: sum(inputs) * 2 > len(inputs),
        GateKind.SELECT: lambda: inputs[1] if inputs[0] else inputs[2],
    }
    return rules[kind]()


def test_every_written_gate_is_there_and_nothing_else() -> None:
    netlist = netlist_of("    input a, b, c\n    output ring\n    ring = (a and b and c) or not (a xor b)\n")
    assert gates_by_name(netlist) == {
        "ring~1": ("and", ["a", "b", "c"]),
        "ring~2": ("not", ["ring~3"]),
        "ring~3": ("xor", ["a", "b"]),
        "ring": ("or", ["ring~1", "ring~2"]),
    }
    assert [net.name for net in netlist.nets if net.anonymous] == ["ring~1", "ring~2", "ring~3"]


@pytest.mark.parametrize(
    ("expression", "gate"),
    [
        ("a", ("buffer", ["a"])),
        ("(a)", ("buffer", ["a"])),
        ("n[2]", ("buffer", ["n[2]"])),
        ("0", ("low", [])),
        ("1", ("high", [])),
        ("if a then b else c", ("select", ["a", "b", "c"])),
        ("majority(a, b, c)", ("majority", ["a", "b", "c"])),
        ("nor(a, b)", ("nor", ["a", "b"])),
        ("and(a, b)", ("and", ["a", "b"])),
        ("a xor b xor c", ("xor", ["a", "b", "c"])),
        ("a == b", ("xnor", ["a", "b"])),
        ("a != b", ("xor", ["a", "b"])),
        ("a == 1", ("buffer", ["a"])),
        ("a == 0", ("not", ["a"])),
        ("a < 1", ("not", ["a"])),
    ],
)
def test_one_bit_expressions_are_one_gate(expression: str, gate: tuple[str, list[str]]) -> None:
    netlist = netlist_of(f"    input a, b, c, n[3]\n    output ring\n    ring = {expression}\n")
    assert gates_by_name(netlist) == {"ring": gate}


def test_parentheses_make_a_gate_of_their_own() -> None:
    gates = gates_by_name(netlist_of("    input a, b, c\n    output r\n    r = (a and b) and c\n"))
    assert gates == {"r~1": ("and", ["a", "b"]), "r": ("and", ["r~1", "c"])}


def test_constants_that_are_written_as_gate_inputs_are_gates() -> None:
    gates = gates_by_name(netlist_of("    input a\n    output r\n    r = a and 1\n"))
    assert gates == {"r~1": ("high", []), "r": ("and", ["a", "r~1"])}


def test_counting_up_is_a_chain_of_half_adders() -> None:
    netlist = netlist_of("    input clk\n    output n[3]\n    n = flipflop(n + 1) on rise of clk start 5\n")
    assert gates_by_name(netlist) == {
        "n~1": ("not", ["n[0]"]),
        "n~2": ("xor", ["n[1]", "n[0]"]),
        "n~3": ("and", ["n[1]", "n[0]"]),
        "n~4": ("xor", ["n[2]", "n~3"]),
    }
    assert [flip_flop.start for flip_flop in netlist.flip_flops] == [True, False, True]


def test_bus_gates_are_one_a_bit_and_join_puts_the_high_part_first() -> None:
    netlist = netlist_of("    input a[2], b\n    output y[3]\n    y = not join(a, b)\n")
    names = [net.name for net in netlist.nets]
    assert [names[gate.inputs[0]] for gate in netlist.gates] == ["b", "a[0]", "a[1]"]
    assert [names[gate.output] for gate in netlist.gates] == ["y[0]", "y[1]", "y[2]"]


def test_a_bus_may_be_driven_whole_by_bits_and_by_slices() -> None:
    netlist = netlist_of(
        "    input a[4]\n    output y[4]\n    net m[4]\n    y[3] = m[0]\n    y[2..1] = m[2..1]\n    y[0] = m[3]\n"
        "    m[4] = a\n"
    )
    assert outputs_for(netlist, {"a": 0b0001}) == {"y": 0b1000}
    assert outputs_for(netlist, {"a": 0b0110}) == {"y": 0b0110}


def test_widths_follow_from_definitions_in_any_order() -> None:
    netlist = netlist_of(
        "    input a[5]\n    output y[5]\n    y = third\n    third = second\n"
        "    second = if a[0] then 0x1F else first\n    first = not a\n"
    )
    assert {net.name for net in netlist.nets} >= {"first[4]", "second[4]", "third[4]"}
    assert outputs_for(netlist, {"a": 0b10010}) == {"y": 0b01101}


def test_cross_coupled_gates_are_one_bit_wide_and_may_have_a_start() -> None:
    netlist = netlist_of("    output q\n    q = nand(p) start 1 takes 3..15 ns\n    p = nand(q)\n")
    assert netlist.gates == (
        Gate(output=0, kind=GateKind.NAND, inputs=(1,), start=True, takes=both_edges(3, 15)),
        Gate(output=1, kind=GateKind.NAND, inputs=(0,)),
    )


def test_storage_has_the_pins_that_are_written() -> None:
    netlist = netlist_of(
        "    input a, b, clk\n    output q[2], j, l, s, t\n"
        "    q = flipflop(join(a, b)) on fall of clk, clear when a low, preset when b high start 2 takes 13..40 ns\n"
        "    j = jk(a, b) on rise of clk\n"
        "    t = toggle(a) on rise of clk start unknown\n"
        "    l = latch(a) while b low start 1\n"
        "    s = set_reset(a, b)\n"
    )
    a, b, clk = 0, 1, 2
    common = {"clock": clk, "edge": Edge.FALL, "clear": Level(a, False), "preset": Level(b, True)}
    takes = both_edges(13, 40)
    assert netlist.flip_flops == (
        FlipFlop(output=3, kind=FlipFlopKind.D, data=(b,), start=False, takes=takes, **common),
        FlipFlop(output=4, kind=FlipFlopKind.D, data=(a,), start=True, takes=takes, **common),
        FlipFlop(output=5, kind=FlipFlopKind.JK, data=(a, b), clock=clk, edge=Edge.RISE),
        FlipFlop(output=8, kind=FlipFlopKind.TOGGLE, data=(a,), clock=clk, edge=Edge.RISE),
    )
    assert netlist.latches == (Latch(output=6, data=a, enable=Level(b, False), start=True),)
    assert netlist.set_resets == (SetReset(output=7, set=a, reset=b),)


PARTS = (
    "part half_adder(a, b) gives (sum, carry)\n    sum = xor(a, b)\n    carry = a and b\n"
    "part full_adder(a, b, c) gives (sum, carry)\n    s, first = half_adder(a, b)\n    sum, second = half_adder(s, c)\n"
    "    carry = first or second\n"
    "part inverse(x[2]) gives y[2]\n    held = x\n    y = not held\n"
)


def test_parts_are_laid_out_in_place_with_their_hierarchy_in_the_names() -> None:
    netlist = netlist_of(
        "    input a, b, c\n    output s, k, probe\n    s, k = full_adder(a, b, c and a)\n    probe = s.first\n",
        before=PARTS,
    )
    assert [net.name for net in netlist.nets] == [
        "a", "b", "c", "s", "k", "probe", "s.s", "s.first", "s.second", "s~1",
    ]  # fmt: skip
    signals = {name: [netlist.nets[net].name for net in nets] for name, nets in netlist.signals.items()}
    assert signals["s.sum"] == ["s"]
    assert signals["s.carry"] == ["k"]
    assert signals["s.s.sum"] == signals["s.s"] == ["s.s"]
    for value in range(8):
        a, b, c = value & 1, value >> 1 & 1, value >> 2
        total = a + b + (c & a)
        assert outputs_for(netlist, {"a": a, "b": b, "c": c}) == {"s": total & 1, "k": total >> 1, "probe": a & b}


def test_a_part_inside_an_expression_has_anonymous_nets() -> None:
    netlist = netlist_of("    input a[2]\n    output y[2]\n    y = inverse(inverse(a)) or a\n", before=PARTS)
    assert outputs_for(netlist, {"a": 2}) == {"y": 2}
    assert {net.name for net in netlist.nets if not net.anonymous} == {"a[0]", "a[1]", "y[0]", "y[1]"}
    assert set(netlist.signals) == {"a", "y"}


def test_a_family_gives_delays_where_none_are_written() -> None:
    netlist = netlist_of(
        "    input a\n    output x, y, z\n    delays from ls\n    x = nand(a, a)\n    y = nand(a, a) takes 7 ns\n"
        "    z = latch(if a then 0 else a) while a high\n",
        before="family ls\n    nand, nor takes 9..15 ns\n    if takes 3 ns\n    latch takes 27 ns\n",
    )
    assert {netlist.nets[gate.output].name: gate.takes for gate in netlist.gates} == {
        "x": both_edges(9, 15), "y": both_edges(7, 7), "z~1": both_edges(3, 3), "z~2": None,
    }  # fmt: skip
    assert netlist.latches[0].takes == both_edges(27, 27)


def test_pins_keep_their_class_and_timing() -> None:
    netlist = netlist_of(
        "    input tempo free running low 40..60 ns, high 30 ns\n    input lever, choose by hand apart 200 ns\n"
        "    input board[2] strapped\n    input data\n    inputs may change together\n    output ring\n"
        "    ring = data\n"
    )
    assert [(pin.name, pin.input_class) for pin in netlist.inputs] == [
        ("tempo", InputClass.FREE_RUNNING), ("lever", InputClass.BY_HAND), ("choose", InputClass.BY_HAND),
        ("board", InputClass.STRAPPED), ("data", InputClass.FREE),
    ]  # fmt: skip
    assert (netlist.inputs[0].high, netlist.inputs[0].low) == (Range(30, 30), Range(40, 60))
    assert [pin.apart for pin in netlist.inputs] == [None, 200, 200, None, None]
    assert netlist.inputs_may_change_together


def test_the_net_of_an_output_stands_where_it_is_driven() -> None:
    netlist = netlist_of("    input a\n    output ring\n\n    ring = not a\n")
    span = netlist.nets[1].span
    assert span is not None
    assert (span.line, span.column, span.end_column) == (5, 5, 9)


OPERATIONS: dict[str, Callable[[int, int, int], int]] = {
    "+": lambda a, b, width: (a + b) % (1 << width),
    "-": lambda a, b, width: (a - b) % (1 << width),
    "==": lambda a, b, width: a == b,
    "!=": lambda a, b, width: a != b,
    "<": lambda a, b, width: a < b,
    "<=": lambda a, b, width: a <= b,
    ">": lambda a, b, width: a > b,
    ">=": lambda a, b, width: a >= b,
}


@settings(deadline=None, max_examples=60)
@given(st.sampled_from(sorted(OPERATIONS)), st.integers(1, 4), st.data())
def test_arithmetic_is_right_for_all_values(sign: str, width: int, data: st.DataObject) -> None:
    """Against Python's integers, every pair of values, each side a bus or a number."""
    fixed = {side: data.draw(st.none() | st.integers(0, (1 << width) - 1), label=side) for side in ("a", "b")}
    if fixed["a"] is not None and fixed["b"] is not None and sign not in "+-":
        width = max(1, fixed["a"].bit_length(), fixed["b"].bit_length())
    texts = {side: side if number is None else f"0b{number:b}" for side, number in fixed.items()}
    out = width if sign in "+-" else 1
    netlist = netlist_of(
        f"    input a[{width}], b[{width}]\n    output y[{out}]\n    y = {texts['a']} {sign} {texts['b']}\n"
    )
    for a in range(1 << width):
        for b in range(1 << width):
            left = a if fixed["a"] is None else fixed["a"]
            right = b if fixed["b"] is None else fixed["b"]
            expected = OPERATIONS[sign](left, right, width)
            assert outputs_for(netlist, {"a": a, "b": b}) == {"y": expected}
