"""The first instant as literals: every assignment that `grammar/README.md`, 12.4, allows, chosen by free variables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from verifier.circuit.netlist import Driver, FlipFlop, Gate, Latch, NetId, SetReset
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.views.gate_logic import gate_literal, level_literal
from verifier.views.loop_result import Chooser
from verifier.views.rounds import StepLogic
from verifier.views.settling import Values


@dataclass(frozen=True, kw_only=True)
class FirstInstant:
    values: Values
    raced: Literal
    oscillated: Literal
    possible: Literal
    """0 for choices that are no first instant."""


def first_instant(
    graph: BitGraph,
    logic: StepLogic,
    inputs: Mapping[NetId, Literal],
    choose: Chooser,
    held: Mapping[NetId, Literal] | None = None,
) -> FirstInstant:
    """`held` gives storage outside loops what it comes up with, where it has no start: in place of a free choice."""
    values: Values = dict(inputs)
    held = held or {}
    raced = oscillated = FALSE
    possible = TRUE
    for index, component in enumerate(logic.order):
        if component.is_loop:
            loop = logic.loop(index)
            outside = {net: values[net] for net in loop.table.outside}
            result = loop.power_up(outside, choose)
            values.update(result.values)
            oscillated = graph.disjunction(oscillated, result.unstable)
            possible = graph.conjunction(possible, result.possible)
        else:
            member = component.members[0]
            values[member.output] = _settled(graph, member, values, _chooser_for(member, choose, held))
            if isinstance(member, SetReset):
                both = graph.conjunction(values[member.set], values[member.reset])
                raced = graph.disjunction(raced, both)
    return FirstInstant(values=values, raced=raced, oscillated=oscillated, possible=possible)


def _chooser_for(member: Driver, choose: Chooser, held: Mapping[NetId, Literal]) -> Chooser:
    return (lambda: held[member.output]) if member.output in held else choose


def _settled(graph: BitGraph, member: Driver, values: Values, choose: Chooser) -> Literal:
    match member:
        case Gate():
            return gate_literal(graph, member.kind, [values[net] for net in member.inputs])
        case Latch():
            return graph.select(level_literal(member.enable, values), values[member.data], _own(member, choose))
        case SetReset():
            set_pin, reset_pin, own = values[member.set], values[member.reset], _own(member, choose)
            both = graph.conjunction(set_pin, reset_pin)
            target = graph.disjunction(set_pin, graph.conjunction(reset_pin ^ 1, own))
            return target if both == FALSE else graph.select(both, choose(), target)
        case FlipFlop():
            clear, preset = level_literal(member.clear, values), level_literal(member.preset, values)
            return graph.disjunction(preset, graph.conjunction(clear ^ 1, _own(member, choose)))


def _own(member: FlipFlop | Latch | SetReset, choose: Chooser) -> Literal:
    if member.start is None:
        return choose()
    return TRUE if member.start else FALSE
