"""Two circuits on one board: the same input pins drive both, everything else stays apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches

from verifier.circuit.netlist import (
    FlipFlop,
    Gate,
    Input,
    Latch,
    Level,
    Net,
    NetId,
    Netlist,
    Output,
    SetReset,
)


class DifferentPins(ValueError):
    """The two circuits do not have the same pins; the message says everything that differs."""

    def __init__(self, differences: Sequence[str], unpaired: Sequence[tuple[str, str]]) -> None:
        super().__init__("; ".join(differences))
        self.unpaired = tuple(unpaired)
        """Pins that only one of the circuits has: those of the left one, and those of the right one, near in name."""


@dataclass(frozen=True, kw_only=True)
class SideBySide:
    netlist: Netlist
    left_of: tuple[NetId, ...]
    """Net of the left circuit to its net in the whole."""
    right_of: tuple[NetId, ...]


def side_by_side(left: Netlist, right: Netlist, left_name: str, right_name: str) -> SideBySide:
    """The whole's nets are called `left_name.net` and `right_name.net`; input pins keep their names.

    Raises:
        DifferentPins: inputs or outputs differ in name or width, or inputs in class.
    """
    _check_pins(left, right, left_name, right_name)
    inputs, nets, left_of = _placed(left, left_name, (), ())
    _, nets, right_of = _placed(right, right_name, inputs, nets)
    parts = [_moved(left, left_of), _moved(right, right_of)]
    signals = {pin.name: pin.nets for pin in inputs}
    outputs: list[Output] = []
    for circuit, name, placed in ((left, left_name, left_of), (right, right_name, right_of)):
        inside = {signal: tuple(placed[net] for net in bits) for signal, bits in circuit.signals.items()}
        signals |= {f"{name}.{signal}": bits for signal, bits in inside.items()}
        outputs += [Output(f"{name}.{pin.name}", tuple(placed[net] for net in pin.nets)) for pin in circuit.outputs]
    whole = Netlist(
        name=f"{left_name} and {right_name}",
        nets=nets,
        inputs=inputs,
        outputs=tuple(outputs),
        gates=tuple(gate for part in parts for gate in part.gates),
        flip_flops=tuple(flip_flop for part in parts for flip_flop in part.flip_flops),
        latches=tuple(latch for part in parts for latch in part.latches),
        set_resets=tuple(set_reset for part in parts for set_reset in part.set_resets),
        signals=signals,
        inputs_may_change_together=left.inputs_may_change_together,
    )
    return SideBySide(netlist=whole, left_of=left_of, right_of=right_of)


def _check_pins(left: Netlist, right: Netlist, left_name: str, right_name: str) -> None:
    """Raises DifferentPins with every difference. The order of pins is none."""
    found: list[str] = []
    unpaired: list[tuple[str, str]] = []
    for what, ours, theirs in (("input", left.inputs, right.inputs), ("output", left.outputs, right.outputs)):
        here, there = ({pin.name: len(pin.nets) for pin in pins} for pins in (ours, theirs))
        only_here, only_there = (sorted(one.keys() - two.keys()) for one, two in ((here, there), (there, here)))
        found += [f"only {left_name} has an {what} `{name}`" for name in only_here]
        found += [f"only {right_name} has an {what} `{name}`" for name in only_there]
        near = ((name, get_close_matches(name.lower(), [n.lower() for n in only_there], n=1)) for name in only_here)
        unpaired += [(name, next(n for n in only_there if n.lower() == close[0])) for name, close in near if close]
        found += [
            f"the {what} `{name}` has {_bits(here[name])} in {left_name} and {_bits(there[name])} in {right_name}"
            for name in here
            if here[name] != there.get(name, here[name])
        ]
    classes = {pin.name: pin.input_class for pin in left.inputs}
    found += [
        f"the input `{pin.name}` is {classes[pin.name].value} in {left_name}, {pin.input_class.value} in {right_name}"
        for pin in right.inputs
        if pin.input_class is not classes.get(pin.name, pin.input_class)
    ]
    if left.inputs_may_change_together != right.inputs_may_change_together:
        found.append(
            f"inputs may change together in {left_name if left.inputs_may_change_together else right_name} only"
        )
    if found:
        raise DifferentPins(found, unpaired)


def _bits(width: int) -> str:
    return "1 bit" if width == 1 else f"{width} bits"


def _placed(
    circuit: Netlist, name: str, inputs: tuple[Input, ...], nets: tuple[Net, ...]
) -> tuple[tuple[Input, ...], tuple[Net, ...], tuple[NetId, ...]]:
    """Where the circuit's nets go; input pins that are there already are shared."""
    place: dict[NetId, NetId] = {}
    shared = {pin.name: pin for pin in inputs}
    grown = list(nets)
    pins: list[Input] = []
    for pin in circuit.inputs:
        if pin.name in shared:
            place.update(zip(pin.nets, shared[pin.name].nets, strict=True))
        else:
            place.update({net: len(grown) + index for index, net in enumerate(pin.nets)})
            grown += [circuit.nets[net] for net in pin.nets]
            pins.append(replace(pin, nets=tuple(place[net] for net in pin.nets)))
    for net, described in enumerate(circuit.nets):
        if net not in place:
            place[net] = len(grown)
            grown.append(replace(described, name=f"{name}.{described.name}"))
    return (*inputs, *pins), tuple(grown), tuple(place[net] for net in range(len(circuit.nets)))


def _moved(circuit: Netlist, place: tuple[NetId, ...]) -> Netlist:
    """The circuit's gates and storage over the nets of the whole."""

    def level(at: Level | None) -> Level | None:
        return None if at is None else Level(place[at.net], at.active_high)

    def gate(old: Gate) -> Gate:
        return replace(old, output=place[old.output], inputs=tuple(place[net] for net in old.inputs))

    def flip_flop(old: FlipFlop) -> FlipFlop:
        return replace(
            old,
            output=place[old.output],
            data=tuple(place[net] for net in old.data),
            clock=place[old.clock],
            clear=level(old.clear),
            preset=level(old.preset),
        )

    def latch(old: Latch) -> Latch:
        enable = Level(place[old.enable.net], old.enable.active_high)
        return replace(old, output=place[old.output], data=place[old.data], enable=enable)

    def set_reset(old: SetReset) -> SetReset:
        return replace(old, output=place[old.output], set=place[old.set], reset=place[old.reset])

    return replace(
        circuit,
        gates=tuple(map(gate, circuit.gates)),
        flip_flops=tuple(map(flip_flop, circuit.flip_flops)),
        latches=tuple(map(latch, circuit.latches)),
        set_resets=tuple(map(set_reset, circuit.set_resets)),
    )
