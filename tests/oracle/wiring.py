"""Small circuits by name: a netlist is written down in calls, and written out again as the same calls.

It stands in for the language and the builder, so that the oracle's circuits come from nowhere in `verifier`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from verifier.circuit.netlist import (
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
    SetReset,
)
from verifier.claims.claim import Claim, ClaimKind, Design, Given
from verifier.claims.formula import Formula, Settles, Signal

Pin = tuple[str, bool]
"""The name of a net and whether it acts when high."""


@dataclass
class Wiring:
    name: str = "small"
    inputs_may_change_together: bool = False
    numbers: dict[str, NetId] = field(default_factory=dict)
    inputs: list[Input] = field(default_factory=list)
    gates: list[Gate] = field(default_factory=list)
    flip_flops: list[FlipFlop] = field(default_factory=list)
    latches: list[Latch] = field(default_factory=list)
    set_resets: list[SetReset] = field(default_factory=list)

    def net(self, name: str) -> NetId:
        return self.numbers.setdefault(name, len(self.numbers))

    def input(self, name: str, input_class: InputClass = InputClass.FREE, width: int = 1) -> Wiring:
        names = [name] if width == 1 else [f"{name}[{bit}]" for bit in range(width)]
        self.inputs.append(Input(name=name, nets=tuple(map(self.net, names)), input_class=input_class))
        return self

    def gate(self, output: str, kind: GateKind, *pins: str, start: bool | None = None) -> Wiring:
        inputs = tuple(map(self.net, pins))
        self.gates.append(Gate(output=self.net(output), kind=kind, inputs=inputs, start=start))
        return self

    def flip_flop(
        self,
        output: str,
        kind: FlipFlopKind,
        *data: str,
        clock: str,
        edge: Edge = Edge.RISE,
        clear: Pin | None = None,
        preset: Pin | None = None,
        start: bool | None = None,
    ) -> Wiring:
        self.flip_flops.append(
            FlipFlop(
                output=self.net(output),
                kind=kind,
                data=tuple(map(self.net, data)),
                clock=self.net(clock),
                edge=edge,
                clear=None if clear is None else self._level(clear),
                preset=None if preset is None else self._level(preset),
                start=start,
            )
        )
        return self

    def latch(self, output: str, data: str, *, enable: Pin, start: bool | None = None) -> Wiring:
        made = Latch(output=self.net(output), data=self.net(data), enable=self._level(enable), start=start)
        self.latches.append(made)
        return self

    def set_reset(self, output: str, *, set: str, reset: str, start: bool | None = None) -> Wiring:
        made = SetReset(output=self.net(output), set=self.net(set), reset=self.net(reset), start=start)
        self.set_resets.append(made)
        return self

    def _level(self, pin: Pin) -> Level:
        return Level(self.net(pin[0]), pin[1])

    def netlist(self) -> Netlist:
        signals: dict[str, tuple[NetId, ...]] = {name: (number,) for name, number in self.numbers.items()}
        signals.update({pin.name: pin.nets for pin in self.inputs})
        return Netlist(
            name=self.name,
            nets=tuple(Net(name) for name in self.numbers),
            inputs=tuple(self.inputs),
            outputs=(),
            gates=tuple(self.gates),
            flip_flops=tuple(self.flip_flops),
            latches=tuple(self.latches),
            set_resets=tuple(self.set_resets),
            signals=signals,
            inputs_may_change_together=self.inputs_may_change_together,
        )


def signal(netlist: Netlist, name: str) -> Signal:
    nets = netlist.signals[name]
    return Signal(width=len(nets), name=name, nets=nets)


def design_of(netlist: Netlist, claims: Iterable[Claim], givens: Iterable[Given] = ()) -> Design:
    """The claims in order, and `settles` behind them."""
    settles = Claim(name="settles", kind=ClaimKind.ALWAYS_THERE, formula=Settles(), text="settles")
    return Design(netlist=netlist, file="random.wiring", claims=(*claims, settles), givens=tuple(givens))


def must(name: str, formula: Formula, text: str = "") -> Claim:
    return Claim(name=name, kind=ClaimKind.MUST, formula=formula, text=text or name)


def can(name: str, formula: Formula, text: str = "") -> Claim:
    return Claim(name=name, kind=ClaimKind.CAN, formula=formula, text=text or name)


def as_calls(netlist: Netlist) -> str:
    """The netlist as calls on `Wiring`, to be pasted into a regression test."""
    names = [net.name for net in netlist.nets]
    lines = [f"Wiring({netlist.name!r}, inputs_may_change_together={netlist.inputs_may_change_together})"]
    for pin in netlist.inputs:
        lines.append(f".input({pin.name!r}, {pin.input_class}, width={len(pin.nets)})")
    for gate in netlist.gates:
        pins = "".join(f", {names[net]!r}" for net in gate.inputs)
        lines.append(f".gate({names[gate.output]!r}, {gate.kind}{pins}, start={gate.start})")
    for part in netlist.flip_flops:
        pins = "".join(f", {names[net]!r}" for net in part.data)
        levels = f"clear={_pin(part.clear, names)}, preset={_pin(part.preset, names)}"
        lines.append(
            f".flip_flop({names[part.output]!r}, {part.kind}{pins}, clock={names[part.clock]!r}, "
            f"edge={part.edge}, {levels}, start={part.start})"
        )
    for latch in netlist.latches:
        enable = _pin(latch.enable, names)
        lines.append(f".latch({names[latch.output]!r}, {names[latch.data]!r}, enable={enable}, start={latch.start})")
    for pair in netlist.set_resets:
        pins = f"set={names[pair.set]!r}, reset={names[pair.reset]!r}"
        lines.append(f".set_reset({names[pair.output]!r}, {pins}, start={pair.start})")
    return "(\n    " + "\n    ".join(lines) + "\n    .netlist()\n)"


def _pin(level: Level | None, names: list[str]) -> Pin | None:
    return None if level is None else (names[level.net], level.active_high)
