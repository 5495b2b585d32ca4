"""What storage parts ask of their pins, as claims that are always there in the timed view (`grammar/README.md`, 33)."""

from __future__ import annotations

from collections.abc import Iterator

from verifier.circuit.netlist import FlipFlop, Latch, Netlist, Timing
from verifier.claims.claim import Claim, ClaimKind, View
from verifier.claims.formula import KeepsTiming, TimingRule


def timing_claims(netlist: Netlist) -> Iterator[Claim]:
    """One for each figure of each flip-flop and latch, named after its output: `q.set_up`."""
    storages: list[FlipFlop | Latch] = [*netlist.flip_flops, *netlist.latches]
    for storage in storages:
        net = netlist.nets[storage.output]
        for rule, amount in _figures(storage):
            yield Claim(
                name=f"{net.name}.{rule.value}",
                kind=ClaimKind.ALWAYS_THERE,
                formula=KeepsTiming(rule=rule, storage=storage.output),
                text=f"{net.name}: {_named(storage, rule)} of at least {amount} ns",
                view=View.TIMED,
                span=net.span,
            )


def _figures(storage: FlipFlop | Latch) -> list[tuple[TimingRule, int]]:
    timing = storage.timing or Timing()
    figures = [
        (TimingRule.SET_UP, timing.set_up),
        (TimingRule.HOLD, timing.hold),
        (TimingRule.CLOCK_WIDTH, timing.clock_width),
    ]
    if isinstance(storage, FlipFlop) and (storage.clear or storage.preset):
        figures.append((TimingRule.CLEAR_WIDTH, timing.clear_width))
    return [(rule, amount) for rule, amount in figures if amount]


def _named(storage: FlipFlop | Latch, rule: TimingRule) -> str:
    if rule is TimingRule.CLOCK_WIDTH and isinstance(storage, Latch):
        return "enable width"
    return rule.value.replace("_", "-" if rule is TimingRule.SET_UP else " ")
