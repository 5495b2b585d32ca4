"""How large a circuit is: what is counted before it is built."""

from __future__ import annotations

from dataclasses import dataclass

from verifier.circuit.loops import components, dependences
from verifier.circuit.netlist import FlipFlop, Gate, GateKind, NetId, Netlist
from verifier.circuit.packages import PartsNeeded, parts_needed

NO_GATES = frozenset({GateKind.LOW, GateKind.HIGH, GateKind.BUFFER})
"""A wire to a supply, and a wire."""


@dataclass(frozen=True, kw_only=True)
class Measures:
    gates: int
    """Gates as written; constants and buffers are wires."""
    flip_flops: int
    latches: int
    """Set-reset latches too."""
    loops: int
    depth: int
    """The most gates and latches that one after another lie between an input pin or a flip-flop and any net.

    A loop counts with all its members, which no way through it passes more often than once.
    """
    parts: PartsNeeded


def measures(netlist: Netlist) -> Measures:
    loops = [part for part in components(netlist) if part.is_loop]
    return Measures(
        gates=sum(gate.kind not in NO_GATES for gate in netlist.gates),
        flip_flops=len(netlist.flip_flops),
        latches=len(netlist.latches) + len(netlist.set_resets),
        loops=len(loops),
        depth=_depth(netlist),
        parts=parts_needed(netlist),
    )


def _depth(netlist: Netlist) -> int:
    """Linear time: every loop and every element outside loops is met after all it depends on."""
    depth: dict[NetId, int] = {}
    for part in components(netlist):
        passed = [member for member in part.members if not isinstance(member, FlipFlop)]
        own = sum(not (isinstance(member, Gate) and member.kind in NO_GATES) for member in passed)
        inside = set(part.outputs)
        before = [depth.get(net, 0) for member in passed for net in dependences(member) if net not in inside]
        depth.update(dict.fromkeys(part.outputs, max(before, default=0) + own if passed else 0))
    return max(depth.values(), default=0)
