"""Every single fault of a netlist, those that nothing can tell apart together: `grammar/README.md`, part V."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterator
from itertools import combinations

from verifier.circuit.element_names import net_names
from verifier.circuit.element_pins import ElementPin, constant_value, element_pins
from verifier.circuit.fault import Fault, FaultClass, FaultKind, Technology
from verifier.circuit.faulty import rewired
from verifier.circuit.netlist import (
    Driver,
    Edge,
    FlipFlop,
    FlipFlopKind,
    Gate,
    GateKind,
    InputClass,
    Latch,
    NetId,
    Netlist,
    SetReset,
)
from verifier.circuit.pinouts import mistaken_for
from verifier.circuit.rewiring import Surroundings

_LEVELS = ((False, "low"), (True, "high"))


def single_faults(
    netlist: Netlist, technology: Technology, observed: Collection[NetId] | None = None
) -> tuple[FaultClass, ...]:
    """In the order in which the inputs and elements stand in the netlist.

    `observed`: the nets that are looked at besides the outputs, such as those that claims and givens name or that have
    an LED; None: every net with a name. The fewer are looked at, the fewer classes there are. In a class, a fault at a
    net with a name comes first. The classes are those of the settled view.
    """
    looked_at = _named_nets(netlist) if observed is None else observed
    around = Surroundings(netlist)
    classes: dict[Hashable, list[Fault]] = {}
    for fault in _Lister(around, technology).faults():
        wiring = rewired(around, fault)
        if not wiring.changes_nothing or fault.kind is FaultKind.NO_PULL_UP:
            classes.setdefault(wiring.key(looked_at), []).append(fault)
    nets = netlist.nets
    return tuple(
        FaultClass(tuple(sorted(faults, key=lambda fault: nets[fault.net].anonymous))) for faults in classes.values()
    )


def _named_nets(netlist: Netlist) -> frozenset[NetId]:
    named = {net for net, described in enumerate(netlist.nets) if not described.anonymous}
    return frozenset(named.union(*netlist.signals.values()))


class _Lister:
    """Names the faults of one netlist, input by input and element by element."""

    def __init__(self, around: Surroundings, technology: Technology) -> None:
        self._around = around
        self._technology = technology
        self._names = net_names(around.netlist)
        self._bridged: set[frozenset[NetId]] = set()

    def faults(self) -> Iterator[Fault]:
        for pin in self._around.netlist.inputs:
            for net in pin.nets:
                yield from self._net(net, f"{self._names[net]}: input pin")
                if pin.input_class is InputClass.BY_HAND and self._is_read(net):
                    yield self._fault(FaultKind.NO_PULL_UP, f"{self._names[net]}: no pull-up at the switch", net)
        for element in self._around.drivers.values():
            yield from self._element(element)

    def _element(self, element: Driver) -> Iterator[Fault]:
        own = self._names[element.output]
        pins = element_pins(element)
        yield from self._net(element.output, f"{own}: output")
        for position, pin in enumerate(pins):
            yield from self._pin(element.output, own, position, pin)
        if isinstance(element, Gate):
            for right, wrong, kind in mistaken_for(element):
                name = f"{own}: a {wrong} ({kind.value}) in place of the {right} ({element.kind.value})"
                yield self._fault(FaultKind.WRONG_GATE, name, element.output, gate=kind)
        yield from self._swaps(element, own, pins)
        yield from self._edges(element, own)
        yield from self._bridges(element, own, pins)

    def _fault(
        self,
        kind: FaultKind,
        name: str,
        net: NetId,
        *,
        pin: int | None = None,
        other_pin: int | None = None,
        other_net: NetId | None = None,
        value: bool | None = None,
        gate: GateKind | None = None,
    ) -> Fault:
        return Fault(
            kind=kind,
            name=name,
            technology=self._technology,
            net=net,
            pin=pin,
            other_pin=other_pin,
            other_net=other_net,
            value=value,
            gate=gate,
        )

    def _is_read(self, net: NetId) -> bool:
        return net in self._around.output_nets or bool(self._around.readers.get(net))

    def _level(self, net: NetId) -> bool | None:
        return constant_value(self._around.drivers.get(net))

    # Nets and pins

    def _net(self, net: NetId, where: str) -> Iterator[Fault]:
        """A wire that leads to one pin alone is listed as missing at that pin."""
        for value, level in _LEVELS:
            if self._level(net) is not value:
                yield self._fault(FaultKind.STUCK, f"{where} stuck {level}", net, value=value)
        if net in self._around.output_nets or len(self._around.readers.get(net, ())) > 1:
            name = f"{where} has no wire to anything"
            if not self._stands_so_already(net):
                yield self._fault(FaultKind.OPEN, name, net)

    def _pin(self, output: NetId, own: str, position: int, pin: ElementPin) -> Iterator[Fault]:
        where = f"{own}: {pin.name} ({self._names[pin.net]})"
        for value, level in _LEVELS:
            if self._level(pin.net) is not value:
                yield self._fault(FaultKind.STUCK, f"{where} stuck {level}", output, pin=position, value=value)
        if not self._stands_so_already(pin.net):
            yield self._fault(FaultKind.OPEN, f"{where} has no wire", output, pin=position)

    def _stands_so_already(self, net: NetId) -> bool:
        """An open TTL pin reads high, which a pin tied high does anyway."""
        return self._technology is Technology.TTL and self._level(net) is True

    # Pins that are mixed up

    def _swaps(self, element: Driver, own: str, pins: tuple[ElementPin, ...]) -> Iterator[Fault]:
        position_of = {pin.name: position for position, pin in enumerate(pins)}
        for first, second in _pins_that_differ(element):
            if first not in position_of or second not in position_of:
                continue
            one, other = position_of[first], position_of[second]
            if pins[one].net != pins[other].net:
                nets = [self._names[pins[position].net] for position in (one, other)]
                name = f"{own}: {first} ({nets[0]}) and {second} ({nets[1]}) swapped"
                yield self._fault(FaultKind.SWAPPED_PINS, name, element.output, pin=one, other_pin=other)
        if isinstance(element, FlipFlop) and (element.clear is None) is not (element.preset is None):
            used, unused = ("clear", "preset") if element.preset is None else ("preset", "clear")
            name = f"{own}: {self._names[pins[position_of[used]].net]} on {unused} in place of {used}"
            yield self._fault(FaultKind.SWAPPED_PINS, name, element.output, pin=position_of[used])

    def _edges(self, element: Driver, own: str) -> Iterator[Fault]:
        if isinstance(element, FlipFlop):
            wrong = Edge.FALL if element.edge is Edge.RISE else Edge.RISE
            name = f"{own}: clocked on the {wrong.value} in place of the {element.edge.value}"
            yield self._fault(FaultKind.WRONG_EDGE, name, element.output)
        if isinstance(element, Latch):
            words = ("low", "high")
            right, wrong_level = words[element.enable.active_high], words[not element.enable.active_high]
            name = f"{own}: open while enable is {wrong_level} in place of {right}"
            yield self._fault(FaultKind.WRONG_EDGE, name, element.output)

    # Wires that touch

    def _bridges(self, element: Driver, own: str, pins: tuple[ElementPin, ...]) -> Iterator[Fault]:
        """Between any two nets that meet at the element. A short to a supply is a stuck net."""
        nets = dict.fromkeys([*(pin.net for pin in pins), element.output])
        for first, second in combinations(nets, 2):
            pair = frozenset((first, second))
            if pair in self._bridged or self._level(first) is not None or self._level(second) is not None:
                continue
            self._bridged.add(pair)
            where = "" if element.output in (first, second) else f" (at {own})"
            name = f"{self._names[first]} touches {self._names[second]}{where}"
            yield self._fault(FaultKind.BRIDGE, name, first, other_net=second)


def _pins_that_differ(element: Driver) -> tuple[tuple[str, str], ...]:
    """Pairs of pins that do different things."""
    match element:
        case Gate(kind=GateKind.SELECT):
            return tuple(combinations(("selector", "input when high", "input when low"), 2))
        case FlipFlop(kind=FlipFlopKind.JK):
            return (("j", "k"), ("j", "clock"), ("k", "clock"), ("clear", "preset"))
        case FlipFlop(kind=kind):
            return (("d" if kind is FlipFlopKind.D else "t", "clock"), ("clear", "preset"))
        case Latch():
            return (("d", "enable"),)
        case SetReset():
            return (("set", "reset"),)
        case _:
            return ()
