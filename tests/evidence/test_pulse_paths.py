"""Which gates pass a pulse, and where it takes a loop: against the language reference read word for word."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import product
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verifier.circuit.netlist import Gate, GateKind
from verifier.evidence.budget import Budget
from verifier.evidence.pulses import is_gate_restless
from verifier.evidence.race import Race
from verifier.evidence.three_valued import gate_value


def decides(gate: Gate, before: list[bool], after: list[bool], restless: set[int]) -> bool:
    """All choices at the other pins, and for each of them all choices at the restless ones."""
    moving = [i for i, pin in enumerate(gate.inputs) if pin in restless]
    for others in product(*({before[pin], after[pin]} for pin in gate.inputs)):
        results = set()
        for choice in product((False, True), repeat=len(moving)):
            pins = list(others)
            for i, value in zip(moving, choice, strict=True):
                pins[i] = value
            results.add(gate_value(gate.kind, pins))
        if len(results) == 2:
            return True
    return False


PIN_COUNTS = {GateKind.BUFFER: [1], GateKind.NOT: [1], GateKind.MAJORITY: [1, 3], GateKind.SELECT: [3]}
WITH_PINS = [kind for kind in GateKind if kind not in (GateKind.LOW, GateKind.HIGH)]


@pytest.mark.parametrize("kind", WITH_PINS)
def test_a_gate_is_restless_when_its_restless_pins_decide_for_some_old_or_new_values_of_the_others(
    kind: GateKind,
) -> None:
    for count in PIN_COUNTS.get(kind, [1, 2, 3]):
        for pins in {tuple(range(count)), (0,) * count, tuple(i % 2 for i in range(count))}:
            gate = Gate(output=count, kind=kind, inputs=pins)
            nets = product(product((False, True), repeat=3), repeat=count)
            for rows in nets:
                before, after = [row[0] for row in rows], [row[1] for row in rows]
                restless = {net for net, row in enumerate(rows) if row[2]}
                assert is_gate_restless(gate, before, after, restless) == decides(gate, before, after, restless)


State = tuple[bool, ...]
LOOP_KINDS = [GateKind.NOT, GateKind.AND, GateKind.NAND, GateKind.NOR, GateKind.XOR]


def moves(targets: Callable[[State], State], state: State) -> Iterator[State]:
    """Any non-empty set of excited members takes its targets at once."""
    choices = [{value, wanted} for value, wanted in zip(state, targets(state), strict=True)]
    return (after for after in product(*choices) if after != state)


def closure(starts: set[State], rules: list[Callable[[State], State]]) -> set[State]:
    found: set[State] = set()
    pending = list(starts)
    while pending:
        state = pending.pop()
        if state not in found:
            found.add(state)
            pending.extend(after for rule in rules for after in moves(rule, state))
    return found


def lasting(reached: set[State], rule: Callable[[State], State]) -> set[State]:
    """Stable, or in a component of moves that no member must leave sooner or later."""
    onward = {state: closure({state}, [rule]) for state in reached}
    found = set()
    for state in reached:
        component = [other for other in onward[state] if state in onward[other]]
        must_fire = any(
            len({other[i] for other in component}) == 1 and all(rule(other)[i] != other[i] for other in component)
            for i in range(len(state))
        )
        if not must_fire:
            found.add(state)
    return found


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 10**9))
def test_a_loop_with_restless_nets_around_ends_where_the_race_read_word_for_word_ends(seed: int) -> None:
    random = Random(seed)
    size, around = random.randint(2, 4), random.randint(1, 3)
    kinds = random.choices(LOOP_KINDS, k=size)
    nets = range(size + around)
    gates = [
        Gate(output=i, kind=kind, inputs=tuple(random.choices(nets, k=1 if kind is GateKind.NOT else 2)))
        for i, kind in enumerate(kinds)
    ]
    start, values = (tuple(random.random() < 0.5 for _ in range(count)) for count in (size, around))
    restless = [size + i for i in range(around) if random.random() < 0.6]

    def rule_at(standing: State) -> Callable[[State], State]:
        def targets(state: State) -> State:
            levels = [*state, *standing]
            return tuple(gate_value(gate.kind, [levels[pin] for pin in gate.inputs]) is True for gate in gates)

        return targets

    standings = product(*({False, True} if size + i in restless else {value} for i, value in enumerate(values)))
    rules = [rule_at(standing) for standing in standings]
    reached = closure({start}, rules)
    steps = {(state, after) for state in reached for rule in rules for after in moves(rule, state)}

    race = Race(gates, [*start, *values], budget=Budget(10**6), restless=restless).end(start)
    assert {outcome.state for outcome in race.outcomes} == lasting(reached, rule_at(values))
    for i in range(size):
        assert race.falling[i] == any(state[i] and not after[i] for state, after in steps)
        assert race.rising[i] == any(after[i] and not state[i] for state, after in steps)
