"""Which signals a table or a record shows, and their values as numbers.

Inputs first, then outputs, then what the claim names besides. Never every net: who wants more asks for it by name.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from verifier.circuit.netlist import InputClass, NetId, Netlist
from verifier.claims.claim import Claim
from verifier.claims.formula import Signal, walk
from verifier.claims.run import Instant


@dataclass(frozen=True, kw_only=True)
class Shown:
    """One signal to show: a net, or a bus as one number."""

    name: str
    nets: tuple[NetId, ...]
    """Lowest bit first."""
    input_class: InputClass | None = None
    """None when it is not an input."""

    @property
    def width(self) -> int:
        return len(self.nets)

    def value(self, instant: Instant) -> int:
        return sum(instant[net] << position for position, net in enumerate(self.nets))


def shown_signals(netlist: Netlist, claim: Claim | None = None, further: Iterable[str] = ()) -> tuple[Shown, ...]:
    """Inputs, outputs, the signals that the claim names, and the further names (each one of `netlist.signals`)."""
    found = [Shown(name=pin.name, nets=pin.nets, input_class=pin.input_class) for pin in netlist.inputs]
    found += [Shown(name=pin.name, nets=pin.nets) for pin in netlist.outputs]
    if claim is not None:
        named = [node for node in walk(claim.formula) if isinstance(node, Signal)]
        found += [Shown(name=node.name, nets=node.nets) for node in named]
    found += [Shown(name=name, nets=netlist.signals[name]) for name in further]
    return _without_repeats(found)


def _without_repeats(signals: Sequence[Shown]) -> tuple[Shown, ...]:
    """The first of each name. A bit of a bus that is shown anyway needs no column of its own."""
    kept: dict[str, Shown] = {}
    for signal in signals:
        kept.setdefault(signal.name, signal)
    within_buses = {net for signal in kept.values() if signal.width > 1 for net in signal.nets}
    return tuple(
        signal
        for signal in kept.values()
        if signal.input_class is not None or signal.width > 1 or signal.nets[0] not in within_buses
    )


def level(shown: Shown, value: int) -> str:
    """A value in words: `high` and `low` for one bit, the number for a bus."""
    if shown.width > 1:
        return str(value)
    return "high" if value else "low"
