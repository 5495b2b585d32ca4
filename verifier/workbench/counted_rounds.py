"""Which question about rounds a certificate answers, where its claim is about endless runs.

Such a proof is an invariant of a counting system (`verifier.logic.endless`). To build that system again one has to know
how many rounds it counts and in which way; both are read off its registers here. No net has a name with a space, so
the names of counters are theirs alone.
"""

from __future__ import annotations

from dataclasses import dataclass

from verifier.logic.bit_graph import FALSE, Literal
from verifier.logic.endless import CountingSystem
from verifier.logic.transition_system import TransitionSystem

UNARY, BINARY = "unary", "binary"
_UNARY_NAME, _BINARY_NAME = "rounds ", "round count "
MOST_ROUNDS = {UNARY: 10_000, BINARY: 10**9}


@dataclass(frozen=True)
class Rounds:
    number: int
    counter: str

    @property
    def sensible(self) -> bool:
        return 0 < self.number <= MOST_ROUNDS.get(self.counter, 0)


def counted_rounds(system: TransitionSystem) -> Rounds | None:
    """What this counting system counts to; None when it is no counting system."""
    names = {r.variable: system.graph.names[r.variable >> 1] for r in system.registers}
    unary = sum(name.startswith(_UNARY_NAME) for name in names.values())
    if unary:
        return Rounds(unary, UNARY)
    places = {
        variable: int(name.removeprefix(_BINARY_NAME))
        for variable, name in names.items()
        if name.startswith(_BINARY_NAME)
    }
    high = _required(system, system.bad)
    return Rounds(sum(1 << place for bit, place in places.items() if bit in high), BINARY) if places else None


def _required(system: TransitionSystem, conjunction: Literal) -> set[Literal]:
    """The literals of variables that a conjunction of them consists of."""
    found: set[Literal] = set()
    pending = [conjunction]
    while pending:
        literal = pending.pop()
        if literal & 1 or system.graph.is_variable(literal):
            found.add(literal)
        else:
            pending += (system.graph.lefts[literal >> 1], system.graph.rights[literal >> 1])
    return found


def certified_system(system: TransitionSystem, rounds: Rounds | None) -> TransitionSystem | None:
    """The system whose invariant answers this question by counting these rounds; None when there is none such."""
    if system.fairness is None:
        return system if rounds is None else None
    system = system.cone_of_influence()
    if rounds is None:
        return _never(system) if FALSE in (*system.constraints, *(system.fairness or ())) else None
    if not rounds.sensible:
        return None
    counting = CountingSystem(system)
    return counting.below(rounds.number) if rounds.counter == BINARY else counting.after(rounds.number)


def _never(system: TransitionSystem) -> TransitionSystem:
    """Where some constraint or fairness literal is 0 for ever, there is nothing to count."""
    return TransitionSystem(
        graph=system.graph, registers=system.registers, inputs=system.inputs, constraints=system.constraints
    )
