"""Functions of gates as literals, two-valued and three-valued.

A three-valued bit is two rails, `Rails(can_be_high, can_be_low)`: 1 is (1, 0), 0 is (0, 1), X is (1, 1). Every function
here gives the hull: what can come out when each X pin is 0 or 1 independently of the others.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from verifier.circuit.netlist import FlipFlop, GateKind, Level, NetId
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal


class Rails(NamedTuple):
    high: Literal
    """The bit can be 1."""
    low: Literal
    """The bit can be 0."""


def known(literal: Literal) -> Rails:
    return Rails(literal, literal ^ 1)


def is_unknown(graph: BitGraph, rails: Rails) -> Literal:
    return graph.conjunction(rails.high, rails.low)


def join(graph: BitGraph, left: Rails, right: Rails) -> Rails:
    return Rails(graph.disjunction(left.high, right.high), graph.disjunction(left.low, right.low))


def select_rails(graph: BitGraph, selector: Rails, when_high: Rails, when_low: Rails) -> Rails:
    return Rails(
        *(
            graph.disjunction(graph.conjunction(selector.high, a), graph.conjunction(selector.low, b))
            for a, b in zip(when_high, when_low, strict=True)
        )
    )


def gate_literal(graph: BitGraph, kind: GateKind, pins: Sequence[Literal]) -> Literal:
    match kind:
        case GateKind.LOW:
            return FALSE
        case GateKind.HIGH:
            return TRUE
        case GateKind.BUFFER:
            return pins[0]
        case GateKind.NOT:
            return pins[0] ^ 1
        case GateKind.AND:
            return graph.all_of(pins)
        case GateKind.OR:
            return graph.any_of(pins)
        case GateKind.NAND:
            return graph.all_of(pins) ^ 1
        case GateKind.NOR:
            return graph.any_of(pins) ^ 1
        case GateKind.XOR:
            return _parity(graph, pins)
        case GateKind.XNOR:
            return _parity(graph, pins) ^ 1
        case GateKind.MAJORITY:
            return _majority(graph, pins)
        case GateKind.SELECT:
            return graph.select(pins[0], pins[1], pins[2])


def gate_rails(graph: BitGraph, kind: GateKind, pins: Sequence[Rails]) -> Rails:
    highs, lows = [pin.high for pin in pins], [pin.low for pin in pins]
    match kind:
        case GateKind.LOW:
            return known(FALSE)
        case GateKind.HIGH:
            return known(TRUE)
        case GateKind.BUFFER:
            return pins[0]
        case GateKind.NOT:
            return _opposite(pins[0])
        case GateKind.AND:
            return Rails(graph.all_of(highs), graph.any_of(lows))
        case GateKind.NAND:
            return Rails(graph.any_of(lows), graph.all_of(highs))
        case GateKind.OR:
            return Rails(graph.any_of(highs), graph.all_of(lows))
        case GateKind.NOR:
            return Rails(graph.all_of(lows), graph.any_of(highs))
        case GateKind.XOR:
            return _parity_rails(graph, pins)
        case GateKind.XNOR:
            return _opposite(_parity_rails(graph, pins))
        case GateKind.MAJORITY:
            return Rails(_majority(graph, highs), _majority(graph, lows))
        case GateKind.SELECT:
            return select_rails(graph, pins[0], pins[1], pins[2])


def latch_rails(graph: BitGraph, enable: Rails, data: Rails, own: Rails) -> Rails:
    return select_rails(graph, enable, data, own)


def set_reset_rails(graph: BitGraph, set_pin: Rails, reset_pin: Rails, own: Rails) -> Rails:
    """Both pins active is X."""
    both = graph.conjunction(set_pin.high, reset_pin.high)
    neither = graph.conjunction(set_pin.low, reset_pin.low)
    set_only = graph.conjunction(set_pin.high, reset_pin.low)
    reset_only = graph.conjunction(set_pin.low, reset_pin.high)
    return Rails(
        graph.any_of([both, set_only, graph.conjunction(neither, own.high)]),
        graph.any_of([both, reset_only, graph.conjunction(neither, own.low)]),
    )


def asynchronous_rails(graph: BitGraph, clear: Rails, preset: Rails, own: Rails) -> Rails:
    """What the asynchronous pins of a flip-flop make of its value; `preset` wins."""
    kept = Rails(graph.conjunction(clear.low, own.high), graph.disjunction(clear.high, own.low))
    return Rails(
        graph.disjunction(preset.high, graph.conjunction(preset.low, kept.high)),
        graph.conjunction(preset.low, kept.low),
    )


def level_rails(level: Level | None, rails: Mapping[NetId, Rails]) -> Rails:
    """Activity of a pin with an active level; a pin that is not there is never active."""
    if level is None:
        return known(FALSE)
    return rails[level.net] if level.active_high else _opposite(rails[level.net])


def level_literal(level: Level | None, values: Mapping[NetId, Literal]) -> Literal:
    if level is None:
        return FALSE
    return values[level.net] if level.active_high else values[level.net] ^ 1


def both_asynchronous(graph: BitGraph, flip_flop: FlipFlop, values: Mapping[NetId, Literal]) -> Literal:
    return graph.conjunction(level_literal(flip_flop.clear, values), level_literal(flip_flop.preset, values))


def either_asynchronous(graph: BitGraph, flip_flop: FlipFlop, values: Mapping[NetId, Literal]) -> Literal:
    return graph.disjunction(level_literal(flip_flop.clear, values), level_literal(flip_flop.preset, values))


def _opposite(rails: Rails) -> Rails:
    return Rails(rails.low, rails.high)


def _parity(graph: BitGraph, pins: Sequence[Literal]) -> Literal:
    result = FALSE
    for pin in pins:
        result = graph.exclusive_or(result, pin)
    return result


def _parity_rails(graph: BitGraph, pins: Sequence[Rails]) -> Rails:
    unknown = graph.any_of([is_unknown(graph, pin) for pin in pins])
    parity = _parity(graph, [pin.high for pin in pins])
    return Rails(graph.disjunction(unknown, parity), graph.disjunction(unknown, parity ^ 1))


def _majority(graph: BitGraph, pins: Sequence[Literal]) -> Literal:
    """At least half of an odd number of pins, by a ladder of counts."""
    threshold = len(pins) // 2 + 1
    reached = [TRUE] + [FALSE] * threshold
    for pin in pins:
        for count in range(threshold, 0, -1):
            reached[count] = graph.disjunction(reached[count], graph.conjunction(pin, reached[count - 1]))
    return reached[threshold]
