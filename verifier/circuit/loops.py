"""The order in which a circuit settles: its loops, and everything outside them, dependences first.

What depends on what is said in `grammar/README.md`, section 10. Data and one graph walk; nothing is simulated here.
"""

from __future__ import annotations

from dataclasses import dataclass

from verifier.circuit.netlist import Driver, FlipFlop, Gate, Latch, NetId, Netlist, SetReset


@dataclass(frozen=True)
class Component:
    """A loop, or one member outside loops."""

    members: tuple[Driver, ...]
    is_loop: bool

    @property
    def outputs(self) -> tuple[NetId, ...]:
        return tuple(member.output for member in self.members)

    @property
    def outside_nets(self) -> tuple[NetId, ...]:
        """Nets that the members depend on and that no member drives, in order of first mention."""
        inside = set(self.outputs)
        nets = dict.fromkeys(net for member in self.members for net in dependences(member))
        return tuple(net for net in nets if net not in inside)


def dependences(member: Driver) -> tuple[NetId, ...]:
    """Nets that a member's target depends on at once, besides its own value."""
    match member:
        case Gate():
            return member.inputs
        case Latch():
            return (member.data, member.enable.net)
        case SetReset():
            return (member.set, member.reset)
        case FlipFlop():
            return tuple(level.net for level in (member.clear, member.preset) if level is not None)


def components(netlist: Netlist) -> tuple[Component, ...]:
    """Strongly connected components of the combinational dependence, each after all it depends on.

    Tarjan, "Depth-first search and linear graph algorithms", SIAM J. Computing 1(2), 1972, with its own stack. Linear
    time.
    """
    drivers = netlist.drivers
    index: dict[NetId, int] = {}
    lowest: dict[NetId, int] = {}
    open_nets: list[NetId] = []
    is_open: set[NetId] = set()
    found: list[Component] = []
    for root in drivers:
        if root in index:
            continue
        index[root] = lowest[root] = len(index)
        open_nets.append(root)
        is_open.add(root)
        path = [(root, iter(dependences(drivers[root])))]
        while path:
            net, remaining = path[-1]
            for successor in remaining:
                if successor not in drivers:
                    continue
                if successor not in index:
                    index[successor] = lowest[successor] = len(index)
                    open_nets.append(successor)
                    is_open.add(successor)
                    path.append((successor, iter(dependences(drivers[successor]))))
                    break
                if successor in is_open:
                    lowest[net] = min(lowest[net], index[successor])
            else:
                path.pop()
                if path:
                    lowest[path[-1][0]] = min(lowest[path[-1][0]], lowest[net])
                if lowest[net] == index[net]:
                    members = _close(net, open_nets, is_open)
                    found.append(_component(members, drivers))
    return tuple(found)


def _close(root: NetId, open_nets: list[NetId], is_open: set[NetId]) -> list[NetId]:
    members: list[NetId] = []
    while True:
        net = open_nets.pop()
        is_open.discard(net)
        members.append(net)
        if net == root:
            return sorted(members)


def _component(nets: list[NetId], drivers: dict[NetId, Driver]) -> Component:
    members = tuple(drivers[net] for net in nets)
    feeds_itself = any(member.output in dependences(member) for member in members)
    return Component(members, is_loop=len(members) > 1 or feeds_itself)
