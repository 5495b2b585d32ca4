"""Machines whose answers are known from books, papers or a line of reasoning."""

from __future__ import annotations

import pytest

from engines.machines import (
    Bits,
    arbiter,
    counter,
    equals,
    is_used_by_johnson,
    johnson,
    lock_step,
    machine,
    register_bits,
    ring,
    shift_register,
    two_shift_registers,
)
from verifier.engines.chooser import Chooser
from verifier.engines.decision import Decision, Reached, Unreachable
from verifier.engines.property_directed import prove
from verifier.evidence.certificate import recheck
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.logic.transition_system import Invariant, TransitionSystem

# Sheeran, Singh, Stalmarck, Checking Safety Properties Using Induction and a SAT-Solver (FMCAD 2000), give plain
# induction as never enough for the machines with an enable, and as needing the depth in `depth` for the others (own
# computation, redone by the test below). A proof method that finds invariants must prove them all.
UNREACHABLE = {
    "3-bit counter modulo 6, never 7": (lambda: counter(3, top=5, bad=7), 2),
    "3-bit counter modulo 6 with enable, never 7": (lambda: counter(3, top=5, bad=7, enable=True), None),
    "BCD counter, never 10": (lambda: counter(4, top=9, bad=10), 1),
    "BCD counter, never 12": (lambda: counter(4, top=9, bad=12), 3),
    "BCD counter, never 15": (lambda: counter(4, top=9, bad=15), 6),
    "BCD counter with enable, never 15": (lambda: counter(4, top=9, bad=15, enable=True), None),
    "4-bit Johnson counter, never 0101": (lambda: johnson(4, lambda graph, bits: equals(graph, bits, 0b0101)), 8),
    "4-bit Johnson counter, in its used cycle": (
        lambda: johnson(4, lambda graph, bits: is_used_by_johnson(graph, bits) ^ 1),
        1,
    ),
    "4-bit ring counter, exactly one 1": (lambda: ring(4), 1),
    "two 3-stage shift registers on one input": (lambda: two_shift_registers(3), 3),
}


@pytest.mark.parametrize("name", UNREACHABLE)
def test_what_cannot_happen_is_proved(name: str) -> None:
    system = UNREACHABLE[name][0]()
    for decision in (Chooser().decide(system, limit_seconds=60), prove(system, 60)):
        assert isinstance(decision, Unreachable)
        recheck(system, decision.invariant)


@pytest.mark.parametrize("name", [name for name, (_, depth) in UNREACHABLE.items() if depth is not None])
def test_the_published_induction_depth_is_the_least_that_does(name: str) -> None:
    build, depth = UNREACHABLE[name]
    assert [k for k in range(1, depth + 1) if _is_inductive_at(build(), k)] == [depth]


@pytest.mark.parametrize("name", [name for name, (_, depth) in UNREACHABLE.items() if depth is None])
def test_with_an_enable_plain_induction_does_not_do_at_any_depth_tried(name: str) -> None:
    assert not any(_is_inductive_at(UNREACHABLE[name][0](), k) for k in range(1, 9))


def _is_inductive_at(system: TransitionSystem, k: int) -> bool:
    """No `k` good frames in a row, from any state, are followed by a bad one. Asked of the engines with free first
    registers.

    A counter of frames stands at 0 in frame 0, where the registers, free inputs in disguise, take any value.
    """
    graph = system.graph
    running = graph.variable("running")
    free = {register.variable: graph.variable("any value") for register in system.registers}
    shown = {variable: graph.select(running, variable, any_value) for variable, any_value in free.items()}
    roots = [system.bad, *(register.next for register in system.registers)]
    bad, *after = graph.substitute(roots, shown)
    good_so_far = [graph.variable(f"good {i}") for i in range(k)]
    return isinstance(
        Chooser().decide(
            machine(
                graph,
                [*free.keys(), running, *good_so_far],
                [*after, TRUE, bad ^ 1, *(graph.conjunction(one, bad ^ 1) for one in good_so_far[:-1])],
                graph.conjunction(bad, good_so_far[-1]),
                inputs=[*system.inputs, *free.values()],
            ),
            limit_seconds=60,
        ),
        Unreachable,
    )


def test_two_numbers_that_only_grow_stay_positive_as_in_bradleys_example() -> None:
    """Bradley, Understanding IC3 (SAT 2012): x, y := 1, 1; then x, y := x + 1, y + x for ever; y >= 1 throughout.

    With four bits that stop at 15 instead of whole numbers. There as here y >= 1 is not inductive without x >= 0 or its
    like.
    """
    graph = BitGraph()
    x_register, y_register = register_bits(graph, "x", 4), register_bits(graph, "y", 4)
    x, y = [x_register[0] ^ 1, *x_register[1:]], [y_register[0] ^ 1, *y_register[1:]]
    x_after, y_after = _saturating_sum(graph, x, [TRUE, FALSE, FALSE, FALSE]), _saturating_sum(graph, y, x)
    after = [x_after[0] ^ 1, *x_after[1:], y_after[0] ^ 1, *y_after[1:]]
    system = machine(graph, x_register + y_register, after, graph.any_of(y) ^ 1)
    decision = Chooser().decide(system, limit_seconds=60)
    assert isinstance(decision, Unreachable)
    recheck(system, decision.invariant)


def _saturating_sum(graph: BitGraph, left: Bits, right: Bits) -> Bits:
    carry: Literal = FALSE
    total = []
    for a, b in zip(left, right, strict=True):
        half = graph.exclusive_or(a, b)
        total.append(graph.exclusive_or(half, carry))
        carry = graph.disjunction(graph.conjunction(a, b), graph.conjunction(half, carry))
    return [graph.disjunction(bit, carry) for bit in total]


# The length of the shortest way follows from how each machine is built.
REACHED = {
    "a counter comes to 5 in frame 5": (lambda: counter(3, top=5, bad=5), 6),
    "a counter with an enable, no sooner": (lambda: counter(3, top=5, bad=5, enable=True), 6),
    "a counter comes to 40 in frame 40": (lambda: counter(6, top=63, bad=40), 41),
    "an n-stage shift register shows its input after n steps": (lambda: shift_register(9), 10),
    "an n-stage Johnson counter comes to all ones after n steps": (
        lambda: johnson(7, lambda graph, bits: graph.all_of(bits)),
        8,
    ),
    "a careless arbiter, once everybody asks": (lambda: arbiter(4, careful=False), 2),
}


@pytest.mark.parametrize("name", REACHED)
def test_what_can_happen_is_reached_in_the_fewest_frames(name: str) -> None:
    build, frames = REACHED[name]
    decision = Chooser().decide(build(), limit_seconds=60)
    assert isinstance(decision, Reached)
    assert len(decision.counterexample) == frames


@pytest.mark.parametrize(
    "system", [arbiter(6, careful=True), lock_step(6), ring(8), two_shift_registers(6)], ids=lambda s: str(len(s.graph))
)
def test_larger_machines_are_proved(system: TransitionSystem) -> None:
    decision = Chooser().decide(system, limit_seconds=60)
    assert isinstance(decision, Unreachable)
    recheck(system, decision.invariant)


def test_a_bad_bit_that_is_constantly_0_needs_no_solver() -> None:
    graph = BitGraph()
    assert Chooser().decide(machine(graph, [], [], FALSE), limit_seconds=1) == _nothing_to_do()


def _nothing_to_do() -> Decision:
    return Unreachable(invariant=Invariant(()), engine="constant")


def test_a_constraint_that_forbids_frame_0_makes_everything_unreachable() -> None:
    graph = BitGraph()
    bit = graph.variable("bell")
    decision = Chooser().decide(machine(graph, [bit], [bit ^ 1], TRUE, constraints=[bit]), limit_seconds=10)
    assert isinstance(decision, Unreachable)


def test_the_last_frame_of_a_counterexample_is_held_to_the_constraints_too() -> None:
    graph = BitGraph()
    bit = graph.variable("bell")
    system = machine(graph, [bit], [TRUE], bit, constraints=[bit ^ 1])
    decision = Chooser().decide(system, limit_seconds=10)
    assert isinstance(decision, Unreachable)
    recheck(system, decision.invariant)
