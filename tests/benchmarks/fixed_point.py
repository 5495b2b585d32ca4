"""z3's own fixed-point engine on a transition system: one relation over the registers, a rule for the start, one for
the step.

The rules are the plain ones anybody would write. Parameters other than the engine's name are left as z3 has them,
but for those named in `PARAMETERS`.
"""

from __future__ import annotations

from typing import Any

import z3

from benchmarks.answers import Answer
from verifier.logic.bit_graph import TRUE, VARIABLE, Literal
from verifier.logic.transition_system import TransitionSystem

PARAMETERS: dict[str, Any] = {"engine": "spacer"}


class _Terms:
    """Terms of z3 for the nodes of a graph, made once each and in topological order."""

    def __init__(self, system: TransitionSystem) -> None:
        self._graph = system.graph
        self._terms: dict[int, Any] = {0: z3.BoolVal(False)}
        roots = [*(r.next for r in system.registers), *(r.variable for r in system.registers), *system.inputs]
        for node in self._graph.cone([*roots, *system.constraints, system.bad]):
            self._terms.setdefault(node, self._term(node))

    def literal(self, literal: Literal) -> Any:
        term = self._terms[literal >> 1]
        return z3.Not(term) if literal & 1 else term

    def _term(self, node: int) -> Any:
        left, right = self._graph.lefts[node], self._graph.rights[node]
        if left == VARIABLE:
            return z3.Bool(f"n{node}") if node else self._terms[0]
        return z3.And(self.literal(left), self.literal(right))


def decide(system: TransitionSystem) -> Answer | None:
    """Is `bad` reachable?"""
    terms = _Terms(system)
    engine = z3.Fixedpoint()
    engine.set(**PARAMETERS)
    variables = [register.variable for register in system.registers]
    now = [terms.literal(variable) for variable in variables]
    after = [z3.Bool(f"after{variable}") for variable in variables]
    holds = z3.Function("holds", *[z3.BoolSort()] * len(variables), z3.BoolSort())
    engine.register_relation(holds)
    engine.declare_var(*now, *after, *(terms.literal(variable) for variable in system.inputs))
    permitted = [terms.literal(literal) for literal in system.constraints if literal != TRUE]
    step = [new == terms.literal(register.next) for new, register in zip(after, system.registers, strict=True)]
    engine.rule(holds(*[z3.BoolVal(False)] * len(variables)))
    engine.rule(holds(*after), [holds(*now), *permitted, *step])
    result = engine.query(z3.And(holds(*now), *permitted, terms.literal(system.bad)))
    if result == z3.unknown:
        return None
    return Answer(result == z3.sat)
