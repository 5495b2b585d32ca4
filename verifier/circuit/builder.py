"""The one door through which netlists are made; it raises ValueError with the offending value on a caller's mistake.

It knows nets of one bit and what drives them. It knows no text, no widths and no expressions, and does not ask which
gates stand in loops.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import fields

from verifier.circuit.netlist import (
    Delay,
    Driver,
    Edge,
    FlipFlop,
    FlipFlopKind,
    Gate,
    GateKind,
    Input,
    InputClass,
    Latch,
    Level,
    Net,
    NetId,
    Netlist,
    Output,
    Range,
    SetReset,
    Timing,
)
from verifier.errors import Span

NetReference = NetId | str
"""A net by its number or by its name; a name not met before makes a net that must be driven before `build`."""

LevelReference = Level | NetReference
"""A net with its active level; a bare net is active high."""

_FIXED_PIN_COUNT = {GateKind.LOW: 0, GateKind.HIGH: 0, GateKind.BUFFER: 1, GateKind.NOT: 1, GateKind.SELECT: 3}
_DATA_PIN_COUNT = {FlipFlopKind.D: 1, FlipFlopKind.TOGGLE: 1, FlipFlopKind.JK: 2}


def check_pin_count(kind: GateKind, count: int) -> None:
    """A gate of this kind can have that many inputs.

    Raises:
        ValueError: it cannot.
    """
    fixed = _FIXED_PIN_COUNT.get(kind)
    if fixed is not None and count != fixed:
        raise ValueError(f"a {kind.value} gate takes {fixed} inputs, not {count}")
    if fixed is None and count < 1:
        raise ValueError(f"a {kind.value} gate takes at least one input")
    if kind is GateKind.MAJORITY and count % 2 == 0:
        raise ValueError(f"a majority gate takes an odd number of inputs, not {count}")


class NetlistBuilder:
    """Collects nets, drivers and pins in any order; `build` gives the finished netlist.

    Invariants: a net has at most one driver; every net number in a driver or a pin is an index of `_nets`; the names of
    nets differ.
    """

    def __init__(self, name: str, *, inputs_may_change_together: bool = False) -> None:
        self._name = name
        self._inputs_may_change_together = inputs_may_change_together
        self._nets: list[Net] = []
        self._net_by_name: dict[str, NetId] = {}
        self._inputs: dict[str, Input] = {}
        self._outputs: dict[str, Output] = {}
        # What drives each net: an input pin or a gate or storage element. The only place where drivers are kept.
        self._driver: dict[NetId, Input | Driver] = {}
        self._signals: dict[str, tuple[NetId, ...]] = {}
        self._anonymous_count: dict[str, int] = {}

    # Nets

    def net(self, name: str, *, span: Span | None = None, anonymous: bool = False) -> NetId:
        """The net of this name, made now if there is none yet."""
        known = self._net_by_name.get(name)
        return self.add_net(name, span=span, anonymous=anonymous) if known is None else known

    def add_net(self, name: str, *, span: Span | None = None, anonymous: bool = False) -> NetId:
        """A new net.

        Raises:
            ValueError: the name is empty or taken.
        """
        if not name:
            raise ValueError("a net needs a name")
        if name in self._net_by_name:
            raise ValueError(f"there is already a net {name!r}")
        self._nets.append(Net(name, span, anonymous))
        self._net_by_name[name] = len(self._nets) - 1
        return len(self._nets) - 1

    def anonymous(self, stem: str, *, span: Span | None = None) -> NetId:
        """A new net for a gate inside a larger expression: `stem~1`, `stem~2`, ... in the order of the calls."""
        count = self._anonymous_count.get(stem, 0) + 1
        self._anonymous_count[stem] = count
        return self.add_net(f"{stem}~{count}", span=span, anonymous=True)

    def bus(self, name: str, width: int, *, span: Span | None = None) -> tuple[NetId, ...]:
        """Nets `name[0]` .. `name[width - 1]`, made where there are none yet, and the signal `name` for all of them."""
        if width < 1:
            raise ValueError(f"the bus {name!r} is {width} bits wide")
        nets = tuple(self.net(f"{name}[{bit}]", span=span) for bit in range(width))
        self._signals[name] = nets
        return nets

    def signal(self, name: str, nets: Iterable[NetReference]) -> None:
        """A name that claims may use for these nets, lowest bit first.

        Raises:
            ValueError: the name already stands for other nets, or there are no nets.
        """
        found = self._resolve_all(nets)
        if not found:
            raise ValueError(f"the signal {name!r} has no nets")
        if self._signals.setdefault(name, found) != found:
            raise ValueError(f"there is already a signal {name!r}")

    def name_of(self, net: NetId) -> str:
        return self._nets[self._resolve(net)].name

    def is_driven(self, net: NetReference) -> bool:
        return self._resolve(net) in self._driver

    # Pins

    def input(
        self,
        name: str,
        input_class: InputClass = InputClass.FREE,
        *,
        high: Range | None = None,
        low: Range | None = None,
        apart: int | None = None,
        span: Span | None = None,
    ) -> NetId:
        """An input pin of one bit."""
        nets = (self.net(name, span=span),)
        pin = Input(name=name, nets=nets, input_class=input_class, high=high, low=low, apart=apart)
        return self.add_input(pin).nets[0]

    def input_bus(
        self, name: str, width: int, input_class: InputClass = InputClass.FREE, *, span: Span | None = None
    ) -> tuple[NetId, ...]:
        """An input pin of several bits, lowest bit first."""
        nets = self.bus(name, width, span=span)
        return self.add_input(Input(name=name, nets=nets, input_class=input_class)).nets

    def add_input(self, pin: Input) -> Input:
        """Raises ValueError when the pin is already there, has no nets or wrong times, or one of its nets is driven."""
        if pin.name in self._inputs:
            raise ValueError(f"there is already an input {pin.name!r}")
        if not pin.nets:
            raise ValueError(f"the input {pin.name!r} has no nets")
        for stretch in (pin.high, pin.low):
            if stretch is not None:
                _check_range(stretch, "a time")
        if pin.apart is not None:
            _check_time(pin.apart, "`apart`")
        for net in pin.nets:
            self._drive(net, pin)
        self._inputs[pin.name] = pin
        return pin

    def output(self, name: str, nets: NetReference | Iterable[NetReference] | None = None) -> None:
        """An output pin; without `nets` it shows the bus or the net of its own name."""
        if name in self._outputs:
            raise ValueError(f"there is already an output {name!r}")
        if nets is None:
            found = self._signals.get(name) or (self.net(name),)
        elif isinstance(nets, int | str):
            found = (self._resolve(nets),)
        else:
            found = self._resolve_all(nets)
        if not found:
            raise ValueError(f"the output {name!r} has no nets")
        self._outputs[name] = Output(name, found)
        if self._net_by_name.get(name) not in found:
            self.signal(name, found)

    # What drives a net

    def gate(
        self,
        output: NetReference,
        kind: GateKind,
        inputs: Iterable[NetReference] = (),
        *,
        start: bool | None = None,
        takes: Delay | None = None,
    ) -> NetId:
        """Drives `output` with a gate."""
        pins = self._resolve_all(inputs)
        return self.add(Gate(output=self._resolve(output), kind=kind, inputs=pins, start=start, takes=takes))

    def flip_flop(
        self,
        output: NetReference,
        data: NetReference | Sequence[NetReference],
        clock: NetReference,
        *,
        kind: FlipFlopKind = FlipFlopKind.D,
        edge: Edge = Edge.RISE,
        clear: LevelReference | None = None,
        preset: LevelReference | None = None,
        start: bool | None = None,
        takes: Delay | None = None,
        timing: Timing | None = None,
    ) -> NetId:
        """Drives `output` with a flip-flop; `data` is one net, or the nets `j` and `k`."""
        pins = (self._resolve(data),) if isinstance(data, int | str) else self._resolve_all(data)
        flip_flop = FlipFlop(
            output=self._resolve(output),
            kind=kind,
            data=pins,
            clock=self._resolve(clock),
            edge=edge,
            clear=self._level(clear),
            preset=self._level(preset),
            start=start,
            takes=takes,
            timing=timing,
        )
        return self.add(flip_flop)

    def latch(
        self,
        output: NetReference,
        data: NetReference,
        enable: LevelReference,
        *,
        start: bool | None = None,
        takes: Delay | None = None,
        timing: Timing | None = None,
    ) -> NetId:
        """Drives `output` with a transparent latch."""
        level = self._level(enable)
        if level is None:
            raise ValueError("a latch needs an enable")
        pins = {"output": self._resolve(output), "data": self._resolve(data)}
        return self.add(Latch(enable=level, start=start, takes=takes, timing=timing, **pins))

    def set_reset(
        self,
        output: NetReference,
        set_pin: NetReference,
        reset_pin: NetReference,
        *,
        start: bool | None = None,
        takes: Delay | None = None,
    ) -> NetId:
        """Drives `output` with a set-reset latch."""
        pins = {"set": self._resolve(set_pin), "reset": self._resolve(reset_pin)}
        return self.add(SetReset(output=self._resolve(output), start=start, takes=takes, **pins))

    def add(self, driver: Driver) -> NetId:
        """Takes a gate or storage element as it is.

        Raises:
            ValueError: a net is unknown, its output is already driven, it has the wrong number of pins, or its times
                are none.
        """
        for net in _nets_of(driver):
            self._resolve(net)
        if isinstance(driver, Gate):
            check_pin_count(driver.kind, len(driver.inputs))
        if isinstance(driver, FlipFlop) and len(driver.data) != _DATA_PIN_COUNT[driver.kind]:
            wanted = _DATA_PIN_COUNT[driver.kind]
            raise ValueError(f"a {driver.kind.value} takes {wanted} data inputs, not {len(driver.data)}")
        if driver.takes is not None:
            _check_range(driver.takes.rise, "a delay")
            _check_range(driver.takes.fall, "a delay")
        if isinstance(driver, FlipFlop | Latch) and driver.timing is not None:
            _check_timing(driver.timing)
        self._drive(driver.output, driver)
        return driver.output

    # The end

    def undriven(self) -> list[NetId]:
        """Nets that nothing drives yet, in the order they were made."""
        return [net for net in range(len(self._nets)) if net not in self._driver]

    def build(self) -> Netlist:
        """The finished netlist.

        Raises:
            ValueError: a net is undriven.
        """
        undriven = self.undriven()
        if undriven:
            raise ValueError("nothing drives " + ", ".join(repr(self._nets[net].name) for net in undriven))
        drivers = self._driver.values()
        return Netlist(
            name=self._name,
            nets=tuple(self._nets),
            inputs=tuple(self._inputs.values()),
            outputs=tuple(self._outputs.values()),
            gates=tuple(driver for driver in drivers if isinstance(driver, Gate)),
            flip_flops=tuple(driver for driver in drivers if isinstance(driver, FlipFlop)),
            latches=tuple(driver for driver in drivers if isinstance(driver, Latch)),
            set_resets=tuple(driver for driver in drivers if isinstance(driver, SetReset)),
            signals=self._all_signals(),
            inputs_may_change_together=self._inputs_may_change_together,
        )

    def check_invariants(self) -> None:
        """Raises ValueError with the offending value if this object's own bookkeeping has gone wrong."""
        for name, net in self._net_by_name.items():
            if self._nets[net].name != name:
                raise ValueError(f"net {net} is called {self._nets[net].name!r}, not {name!r}")
        if len(self._net_by_name) != len(self._nets):
            raise ValueError(f"{len(self._nets)} nets but {len(self._net_by_name)} names")
        for net, driver in self._driver.items():
            driven = driver.nets if isinstance(driver, Input) else (driver.output,)
            if net not in driven or not 0 <= net < len(self._nets):
                raise ValueError(f"net {net} is not driven by {driver}")

    def _all_signals(self) -> dict[str, tuple[NetId, ...]]:
        """The named signals, and every named net that is part of none, in the order in which their nets were made."""
        buses = self._signals.items()
        covered = {net for bus, nets in buses for net in nets if self._nets[net].name.startswith(f"{bus}[")}
        signals = dict(self._signals)
        for number, net in enumerate(self._nets):
            if not net.anonymous and number not in covered and net.name not in signals:
                signals[net.name] = (number,)
        return dict(sorted(signals.items(), key=lambda entry: min(entry[1])))

    def _drive(self, net: NetId, driver: Input | Driver) -> None:
        if self._resolve(net) in self._driver:
            raise ValueError(f"the net {self._nets[net].name!r} is driven twice")
        self._driver[net] = driver

    def _level(self, level: LevelReference | None) -> Level | None:
        if level is None or isinstance(level, Level):
            return level
        return Level(self._resolve(level), active_high=True)

    def _resolve_all(self, references: Iterable[NetReference]) -> tuple[NetId, ...]:
        return tuple(self._resolve(reference) for reference in references)

    def _resolve(self, reference: NetReference) -> NetId:
        if isinstance(reference, str):
            return self.net(reference)
        if isinstance(reference, bool) or not 0 <= reference < len(self._nets):
            raise ValueError(f"there is no net number {reference!r}")
        return reference


def _check_range(found: Range, what: str) -> None:
    if not 0 <= found.low <= found.high:
        raise ValueError(f"{what} of {found.low}..{found.high} ns is no range")


def _check_time(found: int, what: str) -> None:
    if found < 0:
        raise ValueError(f"{what} of {found} ns is no time")


def _check_timing(timing: Timing) -> None:
    for figure in fields(timing):
        found = getattr(timing, figure.name)
        if found is not None:
            _check_time(found, f"`{figure.name}`")


def _nets_of(driver: Driver) -> tuple[NetId, ...]:
    """Every net that the driver touches."""
    if isinstance(driver, Gate):
        return (driver.output, *driver.inputs)
    if isinstance(driver, Latch):
        return (driver.output, driver.data, driver.enable.net)
    if isinstance(driver, SetReset):
        return (driver.output, driver.set, driver.reset)
    asynchronous = (level.net for level in (driver.clear, driver.preset) if level is not None)
    return (driver.output, *driver.data, driver.clock, *asynchronous)
