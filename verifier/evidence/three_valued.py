"""Values 0, 1 and X (Eichelberger 1965): functions of gates, targets of storage elements, and which nets may glitch.

X is None. A function of known values is known, so the two-valued functions are these as well. What a latch or a
flip-flop does over the rounds of a step is not said here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from verifier.circuit.netlist import Driver, FlipFlop, FlipFlopKind, Gate, GateKind, Latch, Level, NetId, SetReset
from verifier.claims.run import Instant

Ternary = bool | None
"""None is X: not known, or on the way between 0 and 1."""

_NEGATED = {GateKind.NAND, GateKind.NOR, GateKind.XNOR, GateKind.NOT}


def join(values: Iterable[Ternary]) -> Ternary:
    """The common value; X when they differ or one is X."""
    found = set(values)
    return found.pop() if len(found) == 1 else None


def negation(value: Ternary) -> Ternary:
    return None if value is None else not value


def gate_value(kind: GateKind, pins: Sequence[Ternary]) -> Ternary:
    """X exactly when some choice of 0 and 1 for the pins that are X gives 0 and some other gives 1."""
    if kind is GateKind.SELECT:
        selector, when_high, when_low = pins
        return join([when_high, when_low]) if selector is None else when_high if selector else when_low
    if kind in (GateKind.LOW, GateKind.HIGH):
        return kind is GateKind.HIGH
    value = _positive_value(kind, pins)
    return negation(value) if kind in _NEGATED else value


def _positive_value(kind: GateKind, pins: Sequence[Ternary]) -> Ternary:
    """The value before the negation that some kinds have at their output."""
    ones, zeros = sum(pin is True for pin in pins), sum(pin is False for pin in pins)
    unknown = len(pins) - ones - zeros
    if kind in (GateKind.BUFFER, GateKind.NOT):
        return pins[0]
    if kind in (GateKind.AND, GateKind.NAND):
        return False if zeros else None if unknown else True
    if kind in (GateKind.OR, GateKind.NOR):
        return True if ones else None if unknown else False
    if kind in (GateKind.XOR, GateKind.XNOR):
        return None if unknown else ones % 2 == 1
    if kind is GateKind.MAJORITY:
        return True if 2 * ones > len(pins) else False if 2 * zeros > len(pins) else None
    raise ValueError(f"no function for a gate of kind {kind}")


def level_value(level: Level | None, values: Sequence[Ternary]) -> Ternary:
    """Whether the pin is active; a pin that is not there never is."""
    if level is None:
        return False
    return values[level.net] if level.active_high else negation(values[level.net])


def is_active(level: Level | None, values: Sequence[bool]) -> bool:
    return level is not None and values[level.net] == level.active_high


def is_forced(flip_flop: FlipFlop, values: Sequence[bool]) -> bool:
    return is_active(flip_flop.clear, values) or is_active(flip_flop.preset, values)


def is_doubly_forced(flip_flop: FlipFlop, values: Sequence[bool]) -> bool:
    return is_active(flip_flop.clear, values) and is_active(flip_flop.preset, values)


def _choices(value: Ternary) -> tuple[bool, ...]:
    return (False, True) if value is None else (value,)


def latch_target(is_open: Ternary, data: Ternary, own: Ternary) -> Ternary:
    return join([data if choice else own for choice in _choices(is_open)])


def set_reset_target(set_pin: Ternary, reset_pin: Ternary, *, own: Ternary, both: Ternary) -> Ternary:
    """`both` is what it goes to when both pins are active."""
    targets = {(True, False): True, (False, True): False, (False, False): own, (True, True): both}
    return join(targets[s, r] for s in _choices(set_pin) for r in _choices(reset_pin))


def asynchronous_target(flip_flop: FlipFlop, values: Sequence[Ternary], own: Ternary) -> Ternary:
    """What the clear and preset pins want; preset wins over clear, and without both it stays."""
    clears = _choices(level_value(flip_flop.clear, values))
    presets = _choices(level_value(flip_flop.preset, values))
    return join(True if preset else False if clear else own for preset in presets for clear in clears)


def target(element: Driver, values: Sequence[Ternary], own: Ternary) -> Ternary:
    """What a member of a loop moves to (grammar/README.md, section 11); a latch is open when its enable is active."""
    if isinstance(element, Gate):
        return gate_value(element.kind, [values[pin] for pin in element.inputs])
    if isinstance(element, Latch):
        return latch_target(level_value(element.enable, values), values[element.data], own)
    if isinstance(element, SetReset):
        return set_reset_target(values[element.set], values[element.reset], own=own, both=negation(own))
    return asynchronous_target(element, values, own)


def nets_that_may_glitch(
    elements: Sequence[Driver], old: Instant, new: Instant, moved: frozenset[NetId]
) -> frozenset[NetId]:
    """The nets that may glitch in a step, `moved` being those that moved in any of its rounds (12.6).

    Changed, between the values before and after a round, or restless in one.
    """
    values: list[Ternary] = [None if net in moved else value for net, value in enumerate(old)]
    changed = True
    while changed:
        changed = False
        for element in elements:
            own = values[element.output]
            if own is not None and join([own, _excursion(element, values, old, new)]) is None:
                values[element.output] = None
                changed = True
    return frozenset(net for net, value in enumerate(values) if value is None and old[net] == new[net])


def _excursion(element: Driver, values: Sequence[Ternary], old: Instant, new: Instant) -> Ternary:
    """Where the element may go while the nets have these values; its own value is known."""
    own = values[element.output]
    if isinstance(element, SetReset):
        return set_reset_target(values[element.set], values[element.reset], own=own, both=None)
    if not isinstance(element, FlipFlop):
        return target(element, values, own)
    moved = asynchronous_target(element, values, own)
    if values[element.clock] is None and old[element.clock] == new[element.clock]:
        return join([moved, _taken(element, values, own)])
    return moved


def _taken(flip_flop: FlipFlop, values: Sequence[Ternary], own: Ternary) -> Ternary:
    """The join of all that a glitch of its clock could make it take."""
    pins = [values[pin] for pin in flip_flop.data]
    if flip_flop.kind is FlipFlopKind.D:
        return pins[0]
    if flip_flop.kind is FlipFlopKind.TOGGLE:
        return own if pins[0] is False else None
    j, k = pins
    return own if (j is False or own is True) and (k is False or own is False) else None
