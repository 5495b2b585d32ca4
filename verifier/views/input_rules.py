"""What the outside world may do with the inputs in one step, by construction: `grammar/README.md`, 12.1.

Which input moves is chosen by a binary number, so that no constraint is needed and the choice 0 is "nothing moves".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from verifier.circuit.netlist import Input, InputClass, NetId, Netlist
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.views.loop_result import Chooser


def changed_inputs(
    graph: BitGraph, netlist: Netlist, old: Mapping[NetId, Literal], choose: Chooser
) -> dict[NetId, Literal]:
    """New values of all input nets: every permitted change and no other, as the free choices vary."""
    movable = [pin for pin in netlist.inputs if pin.input_class is not InputClass.STRAPPED]
    together = netlist.inputs_may_change_together
    alone = [
        pin
        for pin in movable
        if pin.input_class is not InputClass.FLOATING and (not together or pin.input_class is InputClass.BY_HAND)
    ]
    chosen = _one_of(graph, len(alone), choose)
    nobody_alone = graph.any_of(chosen) ^ 1
    may_move = {pin.name: literal for pin, literal in zip(alone, chosen, strict=True)}
    values = {net: old[net] for net in netlist.input_nets}
    for pin in movable:
        if pin.input_class is InputClass.FLOATING:
            values.update({net: graph.exclusive_or(old[net], choose()) for net in pin.nets})
            continue
        permitted = may_move.get(pin.name, nobody_alone)
        values.update(_moved(graph, pin, permitted, old, choose, single_is_sure=pin in alone))
    return values


def _moved(
    graph: BitGraph,
    pin: Input,
    permitted: Literal,
    old: Mapping[NetId, Literal],
    choose: Chooser,
    single_is_sure: bool,
) -> dict[NetId, Literal]:
    """An input chosen to move alone does move when it has one bit; otherwise each bit chooses for itself."""
    if len(pin.nets) == 1 and single_is_sure:
        flips = [permitted]
    else:
        flips = [graph.conjunction(permitted, choose()) for _ in pin.nets]
    return {net: graph.exclusive_or(old[net], flip) for net, flip in zip(pin.nets, flips, strict=True)}


def _one_of(graph: BitGraph, count: int, choose: Chooser) -> list[Literal]:
    """At most one of the literals is 1, and each can be: literal `i` when the choices spell `i + 1`."""
    choices = [choose() for _ in range(count.bit_length())]
    return [_spells(graph, choices, index + 1) for index in range(count)]


def _spells(graph: BitGraph, choices: Sequence[Literal], number: int) -> Literal:
    if not choices:
        return TRUE if number == 0 else FALSE
    return graph.all_of(bit if number >> place & 1 else bit ^ 1 for place, bit in enumerate(choices))
