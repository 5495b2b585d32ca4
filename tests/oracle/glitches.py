"""Which nets may glitch in a step (grammar/README.md, 12.6). X is written None."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache
from itertools import product

from oracle.targets import Structure, gate_function
from verifier.circuit.netlist import Driver, FlipFlop, FlipFlopKind, Gate, GateKind, Latch, Level, NetId, SetReset
from verifier.claims.run import Instant

Three = bool | None
Approximate = list[Three]


def may_glitch(structure: Structure, old: Instant, new: Instant, moved: frozenset[NetId]) -> frozenset[NetId]:
    """`moved`: the nets that did not keep one value from the old instant through all rounds, or were restless."""
    values: Approximate = [None if net in moved else value for net, value in enumerate(old)]
    while True:
        following = list(values)
        for net, element in structure.drivers.items():
            following[net] = join((values[net], _wanted(element, values, old, new)))
        if following == values:
            break
        values = following
    return frozenset(net for net, value in enumerate(values) if value is None and old[net] == new[net])


def join(values: Iterable[Three]) -> Three:
    different = set(values)
    return different.pop() if len(different) == 1 else None


def choices(values: Sequence[Three]) -> Iterable[tuple[bool, ...]]:
    return product(*((False, True) if value is None else (value,) for value in values))


@cache
def three_valued_gate(kind: GateKind, pins: tuple[Three, ...]) -> Three:
    return join(gate_function(kind, chosen) for chosen in choices(pins))


def _wanted(element: Driver, values: Approximate, old: Instant, new: Instant) -> Three:
    own = values[element.output]
    if isinstance(element, Gate):
        return three_valued_gate(element.kind, tuple(values[net] for net in element.inputs))
    if isinstance(element, Latch):
        is_open = _active(element.enable, values)
        if is_open is None:
            return join((own, values[element.data]))
        return values[element.data] if is_open else own
    if isinstance(element, SetReset):
        return _set_reset(element, values)
    return join((_asynchronous(element, values), _clocked(element, values, old, new)))


def _active(level: Level, values: Approximate) -> Three:
    value = values[level.net]
    return None if value is None else value == level.active_high


def _set_reset(latch: SetReset, values: Approximate) -> Three:
    own = values[latch.output]
    wanted: set[Three] = set()
    for is_set, is_reset in choices((values[latch.set], values[latch.reset])):
        if is_set and is_reset:
            wanted.add(None)
        else:
            wanted.add(True if is_set else False if is_reset else own)
    return join(wanted)


def _asynchronous(flip_flop: FlipFlop, values: Approximate) -> Three:
    own = values[flip_flop.output]
    levels = [False if level is None else _active(level, values) for level in (flip_flop.clear, flip_flop.preset)]
    return join(True if is_preset else False if is_clear else own for is_clear, is_preset in choices(levels))


def _clocked(flip_flop: FlipFlop, values: Approximate, old: Instant, new: Instant) -> Three:
    """What it could take when its clock, which ends where it began, may glitch."""
    own = values[flip_flop.output]
    clock = flip_flop.clock
    if values[clock] is not None or old[clock] != new[clock]:
        return own
    pins = [values[net] for net in flip_flop.data]
    if flip_flop.kind is FlipFlopKind.D:
        return pins[0]
    if flip_flop.kind is FlipFlopKind.TOGGLE:
        return own if pins[0] is False else None
    set_is_harmless = pins[0] is False or own is True
    reset_is_harmless = pins[1] is False or own is False
    return own if set_is_harmless and reset_is_harmless else None
