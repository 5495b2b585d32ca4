"""The oracle: transition systems judged by walking every state with plain sets. Slow, and easy to believe.

It shares one thing with the engines, the graph's own `evaluate`, which `tests/logic` checks against truth tables.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from verifier.logic.transition_system import Counterexample, Invariant, TransitionSystem

State = tuple[bool, ...]


def start(system: TransitionSystem) -> State:
    return (False,) * len(system.registers)


def assignments(system: TransitionSystem, state: State) -> Iterator[dict[int, bool]]:
    """The state together with every choice of inputs."""
    for inputs in itertools.product((False, True), repeat=len(system.inputs)):
        registers = {register.variable: value for register, value in zip(system.registers, state, strict=True)}
        yield registers | dict(zip(system.inputs, inputs, strict=True))


def permitted(system: TransitionSystem, values: dict[int, bool]) -> bool:
    return all(system.graph.evaluate(system.constraints, values))


def is_bad(system: TransitionSystem, values: dict[int, bool]) -> bool:
    return system.graph.evaluate([system.bad], values) == [True]


def following(system: TransitionSystem, values: dict[int, bool]) -> State:
    return tuple(system.graph.evaluate([register.next for register in system.registers], values))


def shortest_counterexample(system: TransitionSystem) -> int | None:
    """Frames of the shortest permitted run whose last frame is bad; None when there is none."""
    seen: set[State] = set()
    layer = {start(system)}
    length = 1
    while layer:
        after: set[State] = set()
        for state in layer:
            for values in assignments(system, state):
                if permitted(system, values):
                    if is_bad(system, values):
                        return length
                    after.add(following(system, values))
        seen |= layer
        layer = after - seen
        length += 1
    return None


def longest_permitted_run(system: TransitionSystem) -> int | None:
    """Frames of the longest permitted run; None when there is an endless one."""
    states = {start(system)}
    for length in range(2 ** len(system.registers) + 1):
        states = {
            following(system, values)
            for state in states
            for values in assignments(system, state)
            if permitted(system, values)
        }
        if not states:
            return length
    return None


def replayed(system: TransitionSystem, run: Counterexample) -> list[dict[int, bool]]:
    """Values of registers and inputs in each frame of the run. Raises ValueError where a constraint forbids it."""
    state = start(system)
    frames = []
    for number, inputs in enumerate(run.frames):
        values = dict.fromkeys(system.inputs, False) | dict(inputs)
        values |= {register.variable: value for register, value in zip(system.registers, state, strict=True)}
        if not permitted(system, values):
            raise ValueError(f"frame {number} is not permitted")
        frames.append(values)
        state = following(system, values)
    return frames


def holds(invariant: Invariant, system: TransitionSystem, state: State) -> bool:
    values = {register.variable: value for register, value in zip(system.registers, state, strict=True)}
    return all(any(values[literal & ~1] != bool(literal & 1) for literal in clause) for clause in invariant.clauses)


def is_invariant(invariant: Invariant, system: TransitionSystem) -> bool:
    """(I1), (I2) and (I3) of `Invariant`, by looking at every state there is."""
    if not holds(invariant, system, start(system)):
        return False
    for state in itertools.product((False, True), repeat=len(system.registers)):
        if holds(invariant, system, state):
            for values in assignments(system, state):
                if permitted(system, values) and (
                    is_bad(system, values) or not holds(invariant, system, following(system, values))
                ):
                    return False
    return True
