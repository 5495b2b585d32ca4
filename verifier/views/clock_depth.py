"""How many rounds a step can need, read off the structure of the clocks (`grammar/README.md`, 12.3 and 12.7)."""

from __future__ import annotations

from verifier.circuit.loops import dependences
from verifier.circuit.netlist import NetId, Netlist, Storage
from verifier.views.unrest import UnrestStructure


def rounds_needed(netlist: Netlist, structure: UnrestStructure) -> tuple[int, bool]:
    """The most rounds a step can take, and whether an edge may still be due after the last of them.

    An element is triggered (by a clock edge, by opening, or by a pulse on one of its other pins) in round 1 at the
    earliest, and otherwise one round after an element that the pin depends on. Where that dependence has no cycle, the
    longest chain bounds the rounds; where it has one, the limit of the reference does: twice the number of elements,
    and two.
    """
    storages: list[Storage] = [*netlist.flip_flops, *netlist.latches, *netlist.set_resets]
    limit = 2 * len(storages) + 2
    elements = [element for element in storages if structure.trigger_pins(element)]
    behind = _elements_behind_triggers(netlist, elements, structure)
    depth: dict[NetId, int] = {}
    on_path: set[NetId] = set()
    for element in elements:
        pending = [element.output]
        while pending:
            net = pending[-1]
            if net in depth:
                pending.pop()
                continue
            missing = [other for other in behind[net] if other not in depth]
            if not missing:
                depth[net] = 1 + max((depth[other] for other in behind[net]), default=0)
                on_path.discard(net)
                pending.pop()
            elif net in on_path:
                return limit, True
            else:
                on_path.add(net)
                pending.extend(missing)
    return 1 + max(depth.values(), default=0), False


def _elements_behind_triggers(
    netlist: Netlist, elements: list[Storage], structure: UnrestStructure
) -> dict[NetId, frozenset[NetId]]:
    """For each element, those whose output one of its trigger pins can see within a round."""
    drivers = netlist.drivers
    triggered = frozenset(element.output for element in elements)
    result: dict[NetId, frozenset[NetId]] = {}
    for element in elements:
        seen: set[NetId] = set()
        pending = list(structure.trigger_pins(element))
        while pending:
            net = pending.pop()
            if net in seen or net not in drivers:
                continue
            seen.add(net)
            pending.extend(dependences(drivers[net]))
        result[element.output] = triggered & seen
    return result
