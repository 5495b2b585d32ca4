"""Pulses inside a round: which elements outside loops are restless, and what may feel it (grammar/README.md, 12.7).

What moves inside a loop is said in `race.py`; what follows from a felt pulse, in `sampling.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from itertools import product

from verifier.circuit.netlist import FlipFlop, Gate, GateKind, Latch, Level, NetId, SetReset
from verifier.evidence.settling_order import Feeler
from verifier.evidence.three_valued import Ternary, gate_value, is_active, is_forced


def is_gate_restless(gate: Gate, before: Sequence[bool], after: Sequence[bool], restless: Collection[NetId]) -> bool:
    """The restless pins decide what the gate gives, for some choice of old and new values at its other pins.

    Every pin is chosen for by itself, also where two pins are on one net.
    """
    pins: list[tuple[Ternary, ...]] = [
        (None,) if pin in restless else (before[pin],) if before[pin] == after[pin] else (before[pin], after[pin])
        for pin in gate.inputs
    ]
    if (None,) not in pins:
        return False
    may_decide = gate_value(gate.kind, [choices[0] if len(choices) == 1 else None for choices in pins]) is None
    if gate.kind is not GateKind.SELECT:
        # These functions are symmetric in their pins, and each moving pin can be made to leave it to the others.
        return may_decide
    return may_decide and any(gate_value(gate.kind, chosen) is None for chosen in product(*pins))


def is_taken_away(carried: bool, before: bool, after: bool) -> bool:
    """What a storage element carried into the round, or a member of a loop started from, does not show."""
    return carried != before and carried != after


def felt_values(
    feeler: Feeler,
    own: bool,
    *,
    before: Sequence[bool],
    after: Sequence[bool],
    restless: Collection[NetId],
    sample: Callable[[FlipFlop, bool], Iterable[bool]],
) -> set[bool]:
    """What the element may carry into the next round, beside `own`, for a pulse that reached it in this one.

    `sample` tells what a flip-flop with this value of its own may take at one edge more.
    """
    element = feeler.element
    if isinstance(element, FlipFlop):
        found: set[bool] = set()
        if element.clock in restless and not is_forced(element, after):
            found.update(sample(element, own))
        for level, value in ((element.clear, False), (element.preset, True)):
            if not feeler.is_in_loop and level is not None and _gone_by(level, after, restless):
                found.add(value)
        return found
    if isinstance(element, Latch):
        if not _gone_by(element.enable, after, restless):
            return set()
        return {False, True} if element.data in restless else {before[element.data], after[element.data]}
    return _felt_by_set_reset(element, after, restless)


def _felt_by_set_reset(element: SetReset, after: Sequence[bool], restless: Collection[NetId]) -> set[bool]:
    pins = ((element.set, True), (element.reset, False))
    return {value for net, value in pins if _gone_by(Level(net, active_high=True), after, restless)}


def _gone_by(level: Level, after: Sequence[bool], restless: Collection[NetId]) -> bool:
    """The pin may have been active in the round, but is not at its end."""
    return level.net in restless and not is_active(level, after)
