"""How many rounds a step can need, read off the structure of the clocks (`grammar/README.md`, 12.3)."""

from __future__ import annotations

from verifier.circuit.loops import dependences
from verifier.circuit.netlist import FlipFlop, Latch, NetId, Netlist


def rounds_needed(netlist: Netlist) -> tuple[int, bool]:
    """The most rounds a step can take, and whether an edge may still be due after the last of them.

    An element (flip-flop or latch) is triggered in round 1 at the earliest, and otherwise one round after an element
    that its clock or enable depends on. Where that dependence has no cycle, the longest chain bounds the rounds; where
    it has one, the limit of the reference does: twice the number of elements, and two.
    """
    elements: list[FlipFlop | Latch] = [*netlist.flip_flops, *netlist.latches]
    limit = 2 * len(elements) + 2
    behind = _elements_behind_triggers(netlist, elements)
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


def _elements_behind_triggers(netlist: Netlist, elements: list[FlipFlop | Latch]) -> dict[NetId, frozenset[NetId]]:
    """For each element, those whose output its clock or enable can see within a round."""
    drivers = netlist.drivers
    result: dict[NetId, frozenset[NetId]] = {}
    for element in elements:
        trigger = element.clock if isinstance(element, FlipFlop) else element.enable.net
        seen: set[NetId] = set()
        pending = [trigger]
        while pending:
            net = pending.pop()
            if net in seen or net not in drivers:
                continue
            seen.add(net)
            pending.extend(dependences(drivers[net]))
        result[element.output] = frozenset(n for n in seen if isinstance(drivers[n], FlipFlop | Latch))
    return result
