"""How a circuit may stand at the first instant of the delay views (grammar/README.md, 31)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from verifier.circuit.netlist import Driver, FlipFlop, Gate, Latch, NetId, Netlist, SetReset
from verifier.claims.run import Instant
from verifier.evidence.budget import Budget
from verifier.evidence.settling_order import Part, settling_order
from verifier.evidence.three_valued import Ternary, gate_value, set_reset_target, target


class DelayStart:
    """The first instants of one netlist. A flip-flop holds its output there."""

    def __init__(self, netlist: Netlist) -> None:
        self._netlist = netlist
        self._parts = settling_order(netlist).parts

    def is_first(self, instant: Instant) -> bool:
        return all(_may_stand(part, instant) for part in self._parts)

    def first_instants(
        self, inputs: Mapping[NetId, bool], wanted: Mapping[NetId, bool], budget: Budget
    ) -> Iterator[Instant]:
        """Those with these inputs and wanted values; depth first, one part after the other, 0 before 1.

        Raises:
            ValueError: an input has no value.
            SimulationLimit: too much to look at.
        """
        missing = [self._netlist.nets[net].name for net in self._netlist.input_nets if net not in inputs]
        if missing:
            raise ValueError(f"no value for the inputs {', '.join(missing)}")
        if any(wanted.get(net, value) != value for net, value in inputs.items()):
            return
        order = [(part, net) for part in self._parts for net in part.nets]
        values: list[Ternary] = [inputs.get(net) for net in range(len(self._netlist.nets))]
        pending: list[tuple[int, list[Ternary]]] = [(0, values)]
        while pending:
            budget.spend()
            done, values = pending.pop()
            if done == len(order):
                yield tuple(value is True for value in values)
                continue
            part, net = order[done]
            for value in (True, False):
                guess = [*values[:net], value, *values[net + 1 :]]
                if wanted.get(net, value) == value and _may_stand(part, guess):
                    pending.append((done + 1, guess))


def _may_stand(part: Part, values: Sequence[Ternary]) -> bool:
    """False only when the part cannot stand like this, whatever the values of its members that are not yet known."""
    if not part.is_loop:
        return values[part.elements[0].output] in _lone_values(part.elements[0], values)
    if all(member.start is not None for member in part.elements):
        return all(values[member.output] in (None, member.start) for member in part.elements)
    return all(_is_at_rest(member, values) and _obeys_start(member, values) for member in part.elements)


def _lone_values(element: Driver, values: Sequence[Ternary]) -> set[Ternary]:
    if isinstance(element, Gate):
        return {gate_value(element.kind, [values[pin] for pin in element.inputs])}
    if isinstance(element, SetReset) and values[element.set] and values[element.reset]:
        return {False, True}
    owns = (False, True) if element.start is None else (element.start,)
    return {target(element, values, own) for own in owns}


def _is_at_rest(member: Driver, values: Sequence[Ternary]) -> bool:
    own = values[member.output]
    wanted = _rest(member, values, own)
    return own is None or wanted is None or own == wanted


def _rest(member: Driver, values: Sequence[Ternary], own: Ternary) -> Ternary:
    """Its target, but that of a set-reset latch with both pins active is where it stands: it need not move."""
    if isinstance(member, SetReset):
        return set_reset_target(values[member.set], values[member.reset], own=own, both=own)
    return target(member, values, own)


def _obeys_start(member: Driver, values: Sequence[Ternary]) -> bool:
    own = values[member.output]
    if member.start is None or own is None or own == member.start:
        return True
    if isinstance(member, Gate):
        return False
    if isinstance(member, SetReset) and values[member.set] is not False and values[member.reset] is not False:
        return True  # Both pins active, as far as is known: it has either value.
    both = [_rest_from(member, values, value) for value in (False, True)]
    return None in both or both[0] == both[1]


def _rest_from(member: FlipFlop | Latch | SetReset, values: Sequence[Ternary], own: bool) -> Ternary:
    """Where it would go from this value of its own, a pin on its own output seeing that too."""
    moved = list(values)
    moved[member.output] = own
    return _rest(member, moved, own)
