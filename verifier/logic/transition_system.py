"""The one thing that engines read: registers, inputs, constraints and a bad bit over a `BitGraph`.

All registers are 0 in frame 0. A frame assigns the registers and the inputs; the next frame's registers have the values
of the `next` literals in this one. Every constraint must be 1 in every frame of a run, the last one included. The
system is *bad* when a run reaches a frame in which `bad` is 1. A system with `fairness` asks for an endless run
instead: it is *bad* when there is a run on which every fairness literal is 1 again and again, and `bad` plays no part.

    frame 0: registers all 0, inputs free -> frame 1: registers = next(frame 0), inputs free -> ...
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from verifier.logic.bit_graph import FALSE, BitGraph, Literal


@dataclass(frozen=True)
class Register:
    """One bit of state; 0 in frame 0."""

    variable: Literal
    """Positive literal of its variable."""
    next: Literal


@dataclass(frozen=True, kw_only=True)
class TransitionSystem:
    graph: BitGraph
    registers: tuple[Register, ...]
    inputs: tuple[Literal, ...]
    """Positive literals of the input variables."""
    constraints: tuple[Literal, ...] = ()
    bad: Literal = FALSE
    fairness: tuple[Literal, ...] | None = None
    """None: the question is `bad`. Otherwise the question is an endless run; no literals at all: any endless run."""
    preferences: tuple[Literal, ...] = ()
    """What a counterexample should make 1 where it has the freedom to, most wanted first. Never changes a verdict."""

    def check_invariants(self) -> None:
        """Raises ValueError when a variable has two roles, or one in the cone has none."""
        roles: dict[Literal, str] = {}
        for role, variables in (("register", [r.variable for r in self.registers]), ("input", self.inputs)):
            for variable in variables:
                if not self.graph.is_variable(variable) or variable & 1:
                    raise ValueError(f"{role} {variable} is not the positive literal of a variable")
                if variable in roles:
                    raise ValueError(f"variable {self.graph.names[variable >> 1]} is {roles[variable]} and {role}")
                roles[variable] = role
        roots = [*(r.next for r in self.registers), *self.constraints, self.bad, *self.preferences]
        roots += self.fairness or ()
        for node in self.graph.cone(roots):
            if node and self.graph.is_variable(2 * node) and 2 * node not in roles:
                raise ValueError(f"variable {self.graph.names[node]} is neither a register nor an input")

    def cone_of_influence(self) -> TransitionSystem:
        """The same question with the registers and inputs that cannot matter left out.

        Constraints always matter (they may forbid a run), so their variables stay.
        """
        next_of = {register.variable: register.next for register in self.registers}
        kept: set[Literal] = set()
        seen_nodes: set[int] = set()
        pending: list[Literal] = [self.bad, *self.constraints, *(self.fairness or ())]
        while pending:
            for node in self.graph.cone_beyond(pending, seen_nodes):
                if node and self.graph.is_variable(2 * node):
                    kept.add(2 * node)
            pending = [next_of.pop(variable) for variable in kept & next_of.keys()]
        preferences = tuple(
            wish
            for wish in self.preferences
            if all(not self.graph.is_variable(2 * node) or 2 * node in kept for node in self.graph.cone([wish]))
        )
        return TransitionSystem(
            graph=self.graph,
            registers=tuple(register for register in self.registers if register.variable in kept),
            inputs=tuple(variable for variable in self.inputs if variable in kept),
            constraints=self.constraints,
            bad=self.bad,
            fairness=self.fairness,
            preferences=preferences,
        )


@dataclass(frozen=True)
class Counterexample:
    """Plain data that outlives the solver: for each frame, the inputs the solver gave a value (others: 0 will do)."""

    frames: tuple[Mapping[Literal, bool], ...]

    def __len__(self) -> int:
        return len(self.frames)


Clause = tuple[Literal, ...]
"""Literals of register variables, at least one of them 1."""


@dataclass(frozen=True)
class Invariant:
    """Clauses over registers, each 1 in every frame of every run, that together with the constraints exclude `bad`.

    (I1) all registers 0 satisfies every clause; (I2) clauses and constraints in a frame give the clauses in the next;
    (I3) clauses and constraints in a frame exclude `bad` there.
    """

    clauses: tuple[Clause, ...]
