"""What textbooks say of single stuck-at faults, against the fault model."""

from __future__ import annotations

from itertools import product

import pytest

from outside.netlist_data import shipped
from outside.published_circuits import design_from
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.fault import Fault, FaultClass, FaultKind, Technology
from verifier.circuit.faulty import faulty
from verifier.circuit.netlist import GateKind, Netlist
from verifier.circuit.single_faults import single_faults
from verifier.evidence.simulator import Simulator

C17 = design_from("c17", shipped("c17")).netlist


def stuck_classes(netlist: Netlist) -> list[list[Fault]]:
    """Only outputs are looked at."""
    classes = single_faults(netlist, Technology.CMOS, observed=())
    found = [[fault for fault in each.faults if fault.kind is FaultKind.STUCK] for each in classes]
    return [faults for faults in found if faults]


def outputs(netlist: Netlist, vector: tuple[bool, ...]) -> list[bool]:
    """What a circuit of gates shows at its outputs."""
    simulator = Simulator(netlist)
    ((instant, _),) = simulator.first_instants(dict(zip(netlist.input_nets, vector, strict=True)))
    return [instant[net] for pin in netlist.outputs for net in pin.nets]


def detecting(netlist: Netlist, fault: Fault) -> set[tuple[bool, ...]]:
    """The input vectors at which an output differs."""
    changed = faulty(netlist, fault)
    vectors = product((False, True), repeat=len(netlist.input_nets))
    return {vector for vector in vectors if outputs(netlist, vector) != outputs(changed, vector)}


# Brglez, Fujiwara, ISCAS 1985 (the circuit, looked up); the two counts are from memory: 17 lines make 34 faults, and
# equivalence leaves 22 of them.
def test_c17_has_22_stuck_at_faults_after_equivalence() -> None:
    assert len(stuck_classes(C17)) == 22


# Brglez, Fujiwara, ISCAS 1985; that no stuck-at fault of c17 is redundant is from memory, and walked here over all
# 32 vectors.
@pytest.mark.parametrize("faults", stuck_classes(C17), ids=lambda faults: faults[0].name)
def test_every_stuck_at_fault_of_c17_is_detected_and_equivalent_ones_by_the_same_vectors(faults: list[Fault]) -> None:
    seen = [detecting(C17, fault) for fault in faults]
    assert seen[0]
    assert all(vectors == seen[0] for vectors in seen)


# Common practice: equivalent faults of c17 are no more than the classes; two classes differ at some vector.
def test_no_two_classes_of_c17_have_the_same_faulty_function() -> None:
    functions = set()
    for faults in stuck_classes(C17):
        changed = faulty(C17, faults[0])
        table = [outputs(changed, vector) for vector in product((False, True), repeat=5)]
        functions.add(tuple(bit for row in table for bit in row))
    assert len(functions) == 22


def cover(consensus: bool) -> Netlist:
    """`f = a b' + b c`, with the term `a c` or without it."""
    builder = NetlistBuilder("cover", inputs_may_change_together=True)
    for name in "abc":
        builder.input(name)
    builder.gate("b_n", GateKind.NOT, ["b"])
    builder.gate("first", GateKind.AND, ["a", "b_n"])
    builder.gate("second", GateKind.AND, ["b", "c"])
    terms = ["first", "second"]
    if consensus:
        terms.append(builder.name_of(builder.gate("third", GateKind.AND, ["a", "c"])))
    builder.gate("f", GateKind.OR, terms)
    builder.output("f")
    return builder.build()


def classes_of_faults_never_seen(netlist: Netlist) -> list[set[str]]:
    never = [faults for faults in stuck_classes(netlist) if not detecting(netlist, faults[0])]
    return [{fault.name for fault in faults} for faults in never]


# The consensus term that keeps `f` from glitching is redundant, so nothing shows whether it is stuck low (common
# practice; the hazard and its cure: Huffman 1957, McCluskey 1962, names looked up).
def test_the_redundant_consensus_term_hides_being_stuck_low() -> None:
    low = {"third: output stuck low", "third: input 1 (a) stuck low", "third: input 2 (c) stuck low"}
    found = classes_of_faults_never_seen(cover(consensus=True))
    assert any(low <= names for names in found)
    assert classes_of_faults_never_seen(cover(consensus=False)) == []


# The same term stuck high is plain to see.
def test_the_consensus_term_stuck_high_is_detected() -> None:
    netlist = cover(consensus=True)
    faults = [fault for faults in stuck_classes(netlist) for fault in faults]
    (stuck,) = [fault for fault in faults if fault.name == "third: output stuck high"]
    assert detecting(netlist, stuck)


def classes_of(kind: GateKind) -> list[FaultClass]:
    builder = NetlistBuilder("gate")
    builder.gate("y", kind, [builder.input("a"), builder.input("b"), builder.input("c")])
    builder.output("y")
    return list(single_faults(builder.build(), Technology.CMOS, observed=()))


# Common practice: a gate of n inputs with a controlling level has n + 2 classes of stuck-at faults, an XOR has 2 n + 2.
@pytest.mark.parametrize(("kind", "count"), [(GateKind.AND, 5), (GateKind.NOR, 5), (GateKind.XOR, 8)])
def test_a_gate_has_as_many_stuck_at_classes_as_the_rule_says(kind: GateKind, count: int) -> None:
    found = [each for each in classes_of(kind) if any(fault.kind is FaultKind.STUCK for fault in each.faults)]
    assert len(found) == count
