"""A part of a circuit for the timed view: some elements as they are, whatever else they read free to do anything.

Every run of the whole circuit is a run of the part, so what the part never does the whole never does. A run of the
part need not be one of the whole. This is localization reduction, Kurshan, "Computer-Aided Verification of
Coordinating Processes", Princeton 1994, for elements that take time.

(C1) A freed net may change at any instant, alone or together with elements that are ready, and never has to.
(C2) Where the whole moves something that the part has not, the part may stand still for a move, so what is remembered
     of steps stays the same.
(C3) The first instants of the whole, looked at in the part, are first instants of the part: conditions are those of
     the elements that were kept, in the loops that they are in in the whole.
(C4) An input waits no longer than `patience` before it may change, and may wait for ever where it had to change later
     than that. So how long a slow clock stands need not be counted.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass

from verifier.circuit.element_pins import pins_of
from verifier.circuit.netlist import Driver, FlipFlop, Input, Latch, NetId, Netlist
from verifier.claims.formula import Formula, KeepsTiming, NeverGlitches, Signal, TimingRule, walk
from verifier.claims.support import bound_of


@dataclass(frozen=True, kw_only=True)
class Cut:
    """What is looked at."""

    netlist: Netlist
    """Nets keep their numbers; those that nothing reads have no driver."""
    freed: tuple[NetId, ...]
    whole: Netlist
    patience: int
    """ns."""
    watched: tuple[tuple[FlipFlop | Latch, TimingRule], ...]
    """Storage parts that are not there themselves, of which a formula judges a figure: that is seen at their pins."""


def nets_asked_about(netlist: Netlist, formulas: Iterable[Formula]) -> tuple[NetId, ...]:
    """Nets that the formulas speak of, and the pins of storage parts whose timing they judge."""
    nets: dict[NetId, None] = {}
    drivers = netlist.drivers
    for formula in formulas:
        for node in walk(formula):
            if isinstance(node, Signal):
                nets |= dict.fromkeys(node.nets)
            elif isinstance(node, KeepsTiming):
                nets |= dict.fromkeys(_pins_judged(drivers[node.storage], node.rule))
    return tuple(nets)


def _pins_judged(part: Driver, rule: TimingRule) -> tuple[NetId, ...]:
    """What a figure is about."""
    match part, rule:
        case FlipFlop(clock=clock), TimingRule.CLOCK_WIDTH:
            return (clock,)
        case Latch(enable=enable), TimingRule.CLOCK_WIDTH:
            return (enable.net,)
        case FlipFlop(clear=clear, preset=preset), TimingRule.CLEAR_WIDTH:
            return tuple(level.net for level in (clear, preset) if level is not None)
        case _:
            return pins_of(part)


def cut(netlist: Netlist, formulas: tuple[Formula, ...], kept: frozenset[NetId]) -> Cut:
    """The elements that drive `kept`, and the nets that these or the formulas read, freed where nothing drives them.

    The patience is enough for what was kept to come to rest and for what the formulas count.
    """
    drivers = netlist.drivers
    constants = {gate.output for gate in netlist.gates if not gate.inputs}
    read = {pin for net in kept for pin in pins_of(drivers[net])} | set(nets_asked_about(netlist, formulas)) | kept
    # A glitch is counted from the last change of any input (section 20 of the reference).
    every_input = any(isinstance(node, NeverGlitches) for formula in formulas for node in walk(formula))
    inputs = tuple(pin for pin in netlist.inputs if every_input or not read.isdisjoint(pin.nets))
    driven = kept | constants | {net for pin in inputs for net in pin.nets}
    reduced = dataclasses.replace(
        netlist,
        inputs=inputs,
        gates=tuple(gate for gate in netlist.gates if gate.output in driven),
        flip_flops=tuple(part for part in netlist.flip_flops if part.output in kept),
        latches=tuple(part for part in netlist.latches if part.output in kept),
        set_resets=tuple(part for part in netlist.set_resets if part.output in kept),
    )
    watched = [(drivers[node.storage], node.rule) for node in _judged_timing(formulas) if node.storage not in kept]
    return Cut(
        netlist=reduced,
        freed=tuple(sorted(read - driven)),
        whole=netlist,
        patience=_patience(netlist, kept, formulas),
        watched=tuple((part, rule) for part, rule in watched if isinstance(part, FlipFlop | Latch)),
    )


def _judged_timing(formulas: Iterable[Formula]) -> list[KeepsTiming]:
    return [node for formula in formulas for node in walk(formula) if isinstance(node, KeepsTiming)]


def _patience(netlist: Netlist, kept: Iterable[NetId], formulas: tuple[Formula, ...]) -> int:
    drivers = netlist.drivers
    delays = [_longest_delay(drivers[net]) for net in kept]
    bounds = [bound for formula in formulas for node in walk(formula) if (bound := bound_of(node)) is not None]
    counted = [bound.amount for bound in bounds if isinstance(bound.amount, int)]
    figures = [_figure(drivers[node.storage], node.rule) for node in _judged_timing(formulas)]
    return sum(delays) + max(counted + figures, default=0)


def _longest_delay(driver: Driver) -> int:
    settling = driver.timing.settling if isinstance(driver, FlipFlop) and driver.timing is not None else 0
    return settling if driver.takes is None else settling + max(driver.takes.rise.high, driver.takes.fall.high)


def _figure(part: Driver, rule: TimingRule) -> int:
    timing = part.timing if isinstance(part, FlipFlop | Latch) else None
    return 0 if timing is None else getattr(timing, rule.value) or 0


def leaves_nothing_out(netlist: Netlist, kept: frozenset[NetId], formulas: tuple[Formula, ...]) -> bool:
    """The part is the whole, and so is the patience: what happens there happens."""
    longest = max((_longest_wait(pin) for pin in netlist.inputs), default=0)
    everything = {net for net, driver in netlist.drivers.items() if pins_of(driver)}
    return kept >= everything and longest <= _patience(netlist, netlist.drivers, formulas)


def _longest_wait(pin: Input) -> int:
    return max([stretch.high for stretch in (pin.high, pin.low) if stretch is not None] + [pin.apart or 0])


def everything_behind(netlist: Netlist, nets: Iterable[NetId]) -> frozenset[NetId]:
    """Of all nets that these depend on, those that elements drive; constants are none."""
    drivers = netlist.drivers
    found: set[NetId] = set()
    pending = list(nets)
    while pending:
        net = pending.pop()
        if net in found or net not in drivers or not pins_of(drivers[net]):
            continue
        found.add(net)
        pending += pins_of(drivers[net])
    return frozenset(found)
