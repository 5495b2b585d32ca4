"""Gates, storage and depth of small circuits worked out by hand."""

from __future__ import annotations

from evidence.bench import wire

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.measures import Measures, measures
from verifier.circuit.netlist import GateKind


def builder(inputs: str, gates: str) -> NetlistBuilder:
    found = NetlistBuilder("small")
    for name in inputs.split():
        found.input(name)
    wire(found, gates)
    return found


def sizes(found: Measures) -> tuple[int, int, int, int, int]:
    return found.gates, found.flip_flops, found.latches, found.loops, found.depth


def test_depth_is_the_longest_chain_of_gates() -> None:
    small = builder("a b c", "x = and a b; y = or x c; z = nand y x; w = not a")
    assert sizes(measures(small.build())) == (4, 0, 0, 0, 3)


def test_a_flip_flop_ends_a_chain_and_begins_another() -> None:
    small = builder("a b", "x = and a b; y = not q; z = not y; w = not z")
    small.flip_flop("q", "x", "a")
    assert sizes(measures(small.build())) == (4, 1, 0, 0, 3)


def test_latches_count_as_one_and_a_loop_with_all_its_members() -> None:
    small = builder("s_n r_n en", "x = not q; q = nand s_n q_n; q_n = nand r_n q")
    small.latch("held", "x", "en")
    small.set_reset("pair", "held", "en")
    assert sizes(measures(small.build())) == (3, 0, 2, 1, 5)


def test_constants_and_buffers_are_wires() -> None:
    small = builder("a", "y = and copy a")
    small.gate("copy", GateKind.BUFFER, ["one"])
    small.gate("one", GateKind.HIGH)
    assert sizes(measures(small.build())) == (1, 0, 0, 0, 1)


def test_a_circuit_of_wires_alone_has_depth_none() -> None:
    assert sizes(measures(builder("a", "").build())) == (0, 0, 0, 0, 0)
