"""Small machines with known answers, built directly as transition systems."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence

from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.logic.transition_system import Register, TransitionSystem

Bits = list[Literal]
"""A number, lowest bit first."""


def register_bits(graph: BitGraph, name: str, width: int) -> Bits:
    return [graph.variable(f"{name}[{i}]") for i in range(width)]


def plus_one(graph: BitGraph, bits: Sequence[Literal]) -> Bits:
    carry, result = TRUE, []
    for bit in bits:
        result.append(graph.exclusive_or(bit, carry))
        carry = graph.conjunction(bit, carry)
    return result


def equals(graph: BitGraph, bits: Sequence[Literal], number: int) -> Literal:
    return graph.all_of(bit if number >> i & 1 else bit ^ 1 for i, bit in enumerate(bits))


def choose(graph: BitGraph, condition: Literal, when_high: Sequence[Literal], when_low: Sequence[Literal]) -> Bits:
    return [graph.select(condition, high, low) for high, low in zip(when_high, when_low, strict=True)]


def constant(number: int, width: int) -> Bits:
    return [TRUE if number >> i & 1 else FALSE for i in range(width)]


def machine(
    graph: BitGraph,
    state: Sequence[Literal],
    after: Sequence[Literal],
    bad: Literal,
    *,
    inputs: Sequence[Literal] = (),
    constraints: Sequence[Literal] = (),
) -> TransitionSystem:
    system = TransitionSystem(
        graph=graph,
        registers=tuple(Register(variable, following) for variable, following in zip(state, after, strict=True)),
        inputs=tuple(inputs),
        constraints=tuple(constraints),
        bad=bad,
    )
    system.check_invariants()
    return system


def counter(width: int, *, top: int, bad: int, enable: bool = False) -> TransitionSystem:
    """Counts up to `top`, then from 0 again; values above `top` count on. Bad at one value."""
    graph = BitGraph()
    count = register_bits(graph, "stroke", width)
    after = choose(graph, equals(graph, count, top), constant(0, width), plus_one(graph, count))
    inputs = []
    if enable:
        inputs.append(graph.variable("enable"))
        after = choose(graph, inputs[0], after, count)
    return machine(graph, count, after, equals(graph, count, bad), inputs=inputs)


def johnson(width: int, bad: Callable[[BitGraph, Bits], Literal]) -> TransitionSystem:
    """A shift register that takes in the complement of its last bit."""
    graph = BitGraph()
    bits = register_bits(graph, "step", width)
    return machine(graph, bits, [bits[-1] ^ 1, *bits[:-1]], bad(graph, bits))


def is_used_by_johnson(graph: BitGraph, bits: Bits) -> Literal:
    """In the used cycle at most one pair of neighbours differs."""
    changes = [graph.exclusive_or(left, right) for left, right in itertools.pairwise(bits)]
    return graph.all_of(graph.conjunction(a, b) ^ 1 for i, a in enumerate(changes) for b in changes[:i])


def ring(width: int) -> TransitionSystem:
    """One hammer after the other; bad when not exactly one strikes. Bit 0 is kept negated, as registers start at 0."""
    graph = BitGraph()
    bits = register_bits(graph, "hammer", width)
    ones = [bits[0] ^ 1, *bits[1:]]
    exactly_one = graph.any_of(
        graph.all_of(one if i == j else one ^ 1 for j, one in enumerate(ones)) for i in range(width)
    )
    return machine(graph, bits, [ones[-1] ^ 1, *ones[:-1]], exactly_one ^ 1)


def two_shift_registers(stages: int) -> TransitionSystem:
    """Two of them on one input; bad when their last bits differ."""
    graph = BitGraph()
    lever = graph.variable("lever")
    first, second = register_bits(graph, "first", stages), register_bits(graph, "second", stages)
    after = [lever, *first[:-1], lever, *second[:-1]]
    return machine(graph, first + second, after, graph.exclusive_or(first[-1], second[-1]), inputs=[lever])


def shift_register(stages: int) -> TransitionSystem:
    """Bad when the last bit is 1."""
    graph = BitGraph()
    lever = graph.variable("lever")
    bits = register_bits(graph, "stage", stages)
    return machine(graph, bits, [lever, *bits[:-1]], bits[-1], inputs=[lever])


def lock_step(width: int) -> TransitionSystem:
    """Two counters with one enable; bad when they differ."""
    graph = BitGraph()
    enable = graph.variable("enable")
    first, second = register_bits(graph, "first", width), register_bits(graph, "second", width)
    after = choose(graph, enable, plus_one(graph, first) + plus_one(graph, second), first + second)
    differ = graph.any_of(graph.exclusive_or(a, b) for a, b in zip(first, second, strict=True))
    return machine(graph, first + second, after, differ, inputs=[enable])


def arbiter(hammers: int, *, careful: bool) -> TransitionSystem:
    """A token goes round; who asks while holding it is granted. Bad when two are granted. A careless one passes the
    token on in both directions when everybody asks."""
    graph = BitGraph()
    asks = [graph.variable(f"ask[{i}]") for i in range(hammers)]
    token = register_bits(graph, "token", hammers)
    held = [token[0] ^ 1, *token[1:]]
    passed = [held[-1], *held[:-1]]
    if not careful:
        everybody = graph.all_of(asks)
        passed = [
            graph.disjunction(one, graph.conjunction(everybody, held[(i + 1) % hammers]))
            for i, one in enumerate(passed)
        ]
    grants = [graph.conjunction(ask, one) for ask, one in zip(asks, held, strict=True)]
    clash = graph.any_of(graph.conjunction(a, b) for i, a in enumerate(grants) for b in grants[:i])
    return machine(graph, token, [passed[0] ^ 1, *passed[1:]], clash, inputs=asks)


def factors_of(number: int, width: int) -> TransitionSystem:
    """Hard on purpose: bad when the product of two free numbers above 1 is the given one. Nothing ever changes."""
    graph = BitGraph()
    left, right = register_bits(graph, "left", width), register_bits(graph, "right", width)
    total = constant(0, 2 * width)
    for shift, bit in enumerate(right):
        addend = [*constant(0, shift), *(graph.conjunction(bit, other) for other in left)]
        total = add(graph, total, addend + constant(0, 2 * width - len(addend)))
    above_one = graph.conjunction(graph.any_of(left[1:]), graph.any_of(right[1:]))
    return machine(graph, [], [], graph.conjunction(equals(graph, total, number), above_one), inputs=left + right)


def add(graph: BitGraph, left: Sequence[Literal], right: Sequence[Literal]) -> Bits:
    carry, result = FALSE, []
    for a, b in zip(left, right, strict=True):
        half = graph.exclusive_or(a, b)
        result.append(graph.exclusive_or(half, carry))
        carry = graph.disjunction(graph.conjunction(a, b), graph.conjunction(half, carry))
    return result
