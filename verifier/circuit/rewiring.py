"""A netlist with some of its wires and elements changed, everything else as it was.

Nets that begin to stand at a constant level are followed through the gates behind them, so that a gate which nothing
can move any more is no member of a loop. Where the same changes come out, two faults are the same fault.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable
from dataclasses import replace
from functools import cached_property

from verifier.circuit.constant_pins import constant, reduced
from verifier.circuit.element_pins import constant_value, element_pins, readers, with_pin_nets
from verifier.circuit.loops import components
from verifier.circuit.netlist import (
    Delay,
    Driver,
    FlipFlop,
    Gate,
    Input,
    InputClass,
    Latch,
    Net,
    NetId,
    Netlist,
    Output,
    Range,
    SetReset,
)

LOW_WIRE, HIGH_WIRE, FLOATING_WIRE = -1, -2, -3
"""Stand for nets that are made only if something reads them."""
_WIRE_NAMES = {LOW_WIRE: "stuck~low", HIGH_WIRE: "stuck~high"}
FLOATING_NAME = "floating"

AT_ONCE = Delay(Range(0, 1), Range(0, 1))
"""What the elements of a short take where elements take time: a delay of 0 alone is none."""


class Surroundings:
    """What is looked up again and again while one netlist is changed in many ways."""

    def __init__(self, netlist: Netlist) -> None:
        self.netlist = netlist
        self.drivers = netlist.drivers
        self.readers = readers(netlist)
        self.output_nets = frozenset(net for pin in netlist.outputs for net in pin.nets)
        takes_time = any(element.takes is not None for element in self.drivers.values())
        # Of the gate that stands for two wires which touch.
        self.short_takes = AT_ONCE if takes_time else None

    @cached_property
    def loop_nets(self) -> frozenset[NetId]:
        """Outputs of the members of loops."""
        return frozenset(net for part in components(self.netlist) if part.is_loop for net in part.outputs)


class Rewiring:
    """The changes so far.

    Invariants: `_changed` has the present element of every net whose element differs from the netlist's, and of every
    new net; no present element has a pin on a net of `_constant`.
    """

    def __init__(self, around: Surroundings) -> None:
        self._around = around
        self._changed: dict[NetId, Driver] = {}
        self._new_nets: list[Net] = []
        self._constant: dict[NetId, bool] = {}
        # An element's net that floats: its element is gone, and the floating input drives it.
        self._floating_net: NetId | None = None
        # What an output pin of the circuit shows in place of an input's net.
        self._shown: dict[NetId, NetId] = {}

    def element(self, net: NetId) -> Driver | None:
        return self._changed.get(net) or self._around.drivers.get(net)

    def put(self, element: Driver) -> None:
        self._changed[element.output] = element

    # Constant levels

    def stick_pin(self, output: NetId, position: int, value: bool) -> None:
        """The pin stands at the level, whatever its net does."""
        self._on_constant(output, [position], value)
        self._follow([output])

    def stick_net(self, net: NetId, value: bool) -> None:
        """The net stands at the level, and so do all pins on it. An input's own net stays as the outside drives it."""
        self._follow(self._stuck(net, value))

    def _stuck(self, net: NetId, value: bool) -> list[NetId]:
        """Outputs of the elements that read the net."""
        self._constant[net] = value
        if net in self._around.drivers:
            self.put(constant(net, value))
        elif net in self._around.output_nets:
            self._shown[net] = HIGH_WIRE if value else LOW_WIRE
        found = self._around.readers.get(net, ())
        for output, _ in found:
            self._on_constant(output, self._positions(output, net), value)
        return [output for output, _ in found]

    def _positions(self, output: NetId, net: NetId) -> list[int]:
        element = self.element(output)
        pins = () if element is None else element_pins(element)
        return [position for position, pin in enumerate(pins) if pin.net == net]

    def _on_constant(self, output: NetId, positions: Collection[int], value: bool) -> None:
        self._on_wire(output, positions, HIGH_WIRE if value else LOW_WIRE)

    def _follow(self, touched: list[NetId]) -> None:
        """Reduces the touched gates; one that stands still from now on touches those behind it."""
        while touched:
            element = self.element(touched.pop())
            if isinstance(element, FlipFlop) and element.clock == HIGH_WIRE:
                self.put(replace(element, clock=LOW_WIRE))  # without edges it is all the same at which level it stands
            if not isinstance(element, Gate):
                continue
            left = reduced(element, [self._level(net) for net in element.inputs])
            level = constant_value(left)
            if level is None:
                if left != element:
                    self.put(left)
            elif constant_value(element) is None:
                touched += self._stuck(element.output, level)

    def _level(self, net: NetId) -> bool | None:
        if net < 0:
            return {LOW_WIRE: False, HIGH_WIRE: True}.get(net)
        return constant_value(self.element(net))

    # Open wires

    def float_pin(self, output: NetId, position: int) -> None:
        self._on_wire(output, [position], FLOATING_WIRE)

    def float_net(self, net: NetId) -> None:
        """All pins on the net read one floating wire; the net of an element floats itself."""
        if net in self._around.drivers:
            self._floating_net = net
        else:
            self.move_readers(net, FLOATING_WIRE)

    # Other wires

    def new_net(self, name: str) -> NetId:
        """A net that must be given an element with `put`."""
        self._new_nets.append(Net(name, anonymous=True))
        return len(self._around.netlist.nets) + len(self._new_nets) - 1

    def driver_apart(self, net: NetId) -> NetId:
        """Takes the element off its net and gives the net on which its output is now. An input's net is its own."""
        element = self.element(net)
        if element is None:
            return net
        apart = self.new_net(f"{self._around.netlist.nets[net].name}~driver")
        self.put(replace(element, output=apart))
        return apart

    def move_readers(self, net: NetId, to: NetId) -> None:
        """All pins on the net, and what the circuit shows of an input's net, go to another."""
        self._move_pins(net, to)
        if net not in self._around.drivers and net in self._around.output_nets:
            self._shown[net] = to

    def _move_pins(self, net: NetId, to: NetId) -> None:
        for element in self._present_readers(net):
            nets = [to if pin.net == net else pin.net for pin in element_pins(element)]
            self.put(with_pin_nets(element, nets))

    def _present_readers(self, net: NetId) -> list[Driver]:
        """The elements that read it now. An element taken off its net is met on its new one."""
        outputs = dict.fromkeys(output for output, _ in self._around.readers.get(net, ()))
        found = [element for output in outputs if (element := self.element(output)) is not None]
        first_new = len(self._around.netlist.nets)
        found += [element for output, element in self._changed.items() if output >= first_new]
        return [element for element in found if any(pin.net == net for pin in element_pins(element))]

    def _on_wire(self, output: NetId, positions: Collection[int], wire: NetId) -> None:
        element = self.element(output)
        if element is None:
            raise ValueError(f"net {output} has no element with pins")
        pins = element_pins(element)
        nets = [wire if position in positions else pin.net for position, pin in enumerate(pins)]
        self.put(with_pin_nets(element, nets))

    # The end

    def key(self, observed: Collection[NetId]) -> Hashable:
        """Equal for two sets of changes of one netlist only if all observed nets and outputs do the same in both.

        A net that has become constant is read by nobody any more; if nobody looks at it either, and its gate could not
        race or refuse to start, it makes no difference.
        """
        kept = {
            net: element
            for net, element in self._changed.items()
            if net in observed
            or net in self._around.output_nets
            or net not in self._constant
            or net in self._around.loop_nets
            or not isinstance(self._around.drivers[net], Gate)
        }
        return frozenset(kept.items()), frozenset(self._shown.items()), self._floating_net

    @property
    def changes_nothing(self) -> bool:
        return not self._changed and not self._shown and self._floating_net is None

    def netlist(self) -> Netlist:
        """The whole. Gates in loops that have changed have no `start` any more."""
        if self.changes_nothing:
            return self._around.netlist
        good = self._around.netlist
        changed = {net: element for net, element in self._changed.items() if net != self._floating_net}
        elements = [changed.pop(net, element) for net, element in self._around.drivers.items()]
        elements = [element for element in elements if element.output != self._floating_net]
        place, nets = self._placed([*elements, *changed.values()])
        all_elements = [self._on_placed(element, place) for element in (*elements, *changed.values())]
        all_elements += [constant(place[w], w == HIGH_WIRE) for w in (LOW_WIRE, HIGH_WIRE) if w in place]
        floating = self._floating_net if self._floating_net is not None else place.get(FLOATING_WIRE)
        return _without_lost_starts(good, self._whole(nets, all_elements, place, floating))

    def _placed(self, elements: list[Driver]) -> tuple[dict[NetId, NetId], tuple[Net, ...]]:
        """Numbers for the wires that are read, and all nets."""
        read = {pin.net for element in elements for pin in element_pins(element)} | set(self._shown.values())
        nets = [*self._around.netlist.nets, *self._new_nets]
        place: dict[NetId, NetId] = {}
        for wire in sorted((net for net in read if net < 0), reverse=True):
            place[wire] = len(nets)
            name = _WIRE_NAMES.get(wire) or floating_name(self._around.netlist)
            nets.append(Net(name, anonymous=wire != FLOATING_WIRE))
        return place, tuple(nets)

    def _on_placed(self, element: Driver, place: dict[NetId, NetId]) -> Driver:
        pins = [pin.net for pin in element_pins(element)]
        if all(net >= 0 for net in pins):
            return element
        return with_pin_nets(element, [place.get(net, net) for net in pins])

    def _whole(
        self, nets: tuple[Net, ...], elements: list[Driver], place: dict[NetId, NetId], floating: NetId | None
    ) -> Netlist:
        good = self._around.netlist
        inputs, signals = good.inputs, dict(good.signals)
        if floating is not None:
            name = floating_name(good)
            inputs = (*inputs, Input(name=name, nets=(floating,), input_class=InputClass.FLOATING))
            signals[name] = (floating,)
        shown = {net: place.get(to, to) for net, to in self._shown.items()}
        return replace(
            good,
            nets=nets,
            inputs=inputs,
            outputs=tuple(Output(pin.name, tuple(shown.get(net, net) for net in pin.nets)) for pin in good.outputs),
            gates=tuple(element for element in elements if isinstance(element, Gate)),
            flip_flops=tuple(element for element in elements if isinstance(element, FlipFlop)),
            latches=tuple(element for element in elements if isinstance(element, Latch)),
            set_resets=tuple(element for element in elements if isinstance(element, SetReset)),
            signals=signals,
        )


def floating_name(netlist: Netlist) -> str:
    """What the input is called that stands for an open pin of this netlist."""
    taken = {net.name for net in netlist.nets} | {pin.name for pin in netlist.inputs} | netlist.signals.keys()
    name = FLOATING_NAME
    while name in taken:
        name += "~"
    return name


def _without_lost_starts(good: Netlist, changed: Netlist) -> Netlist:
    """A gate keeps its `start` only in a loop that is, gate for gate, one of the good circuit's."""
    if not any(gate.start is not None for gate in changed.gates):
        return changed
    loops = {frozenset(part.members) for part in components(good) if part.is_loop}
    kept = {
        net for part in components(changed) if part.is_loop and frozenset(part.members) in loops for net in part.outputs
    }
    gates = tuple(gate if gate.output in kept else replace(gate, start=None) for gate in changed.gates)
    return replace(changed, gates=gates)
