"""Random transition systems for the property-based tests."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import strategies as st

from verifier.logic.bit_graph import TRUE, BitGraph, Literal
from verifier.logic.transition_system import Register, TransitionSystem


@st.composite
def systems(
    draw: st.DrawFn, *, most_registers: int = 6, most_inputs: int = 4, most_fairness: int | None = None
) -> TransitionSystem:
    """`most_fairness` makes it a question about endless runs, with at most so many fairness literals."""
    graph = BitGraph()
    registers = [graph.variable(f"bell {i}") for i in range(draw(st.integers(0, most_registers)))]
    inputs = [graph.variable(f"lever {i}") for i in range(draw(st.integers(0, most_inputs)))]
    pool: list[Literal] = [TRUE, *registers, *inputs]
    random = draw(st.randoms(use_true_random=False))

    def pick() -> Literal:
        return random.choice(pool) ^ random.getrandbits(1)

    for _ in range(draw(st.integers(0, 30))):
        make = random.choice(("conjunction", "conjunction", "exclusive_or", "select"))
        operands = [pick() for _ in range(3 if make == "select" else 2)]
        pool.append(getattr(graph, make)(*operands))
    system = TransitionSystem(
        graph=graph,
        registers=tuple(Register(variable, pick()) for variable in registers),
        inputs=tuple(inputs),
        constraints=tuple(graph.disjunction(pick(), pick()) for _ in range(draw(st.integers(0, 2)))),
        bad=graph.all_of(pick() for _ in range(draw(st.integers(1, 4)))),
        preferences=tuple(pick() for _ in range(draw(st.integers(0, 2)))),
    )
    if most_fairness is not None:
        wanted = draw(st.integers(0, most_fairness))
        system = replace(system, fairness=tuple(graph.conjunction(pick(), pick()) for _ in range(wanted)))
    system.check_invariants()
    return system
