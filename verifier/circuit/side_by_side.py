"""Two circuits on one board: the same input pins drive both, everything else stays apart."""

from __future__ import annotations

from dataclasses import dataclass, replace

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
    """The two circuits do not have the same pins; the message says which differ."""


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
    _check_pins(left, right)
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


def _check_pins(left: Netlist, right: Netlist) -> None:
    for what, ours, theirs in (("input", left.inputs, right.inputs), ("output", left.outputs, right.outputs)):
        widths = [{pin.name: len(pin.nets) for pin in pins} for pins in (ours, theirs)]
        for name in sorted(widths[0].keys() | widths[1].keys()):
            ours_wide, theirs_wide = widths[0].get(name), widths[1].get(name)
            if ours_wide is None or theirs_wide is None:
                raise DifferentPins(f"only one of the two circuits has an {what} `{name}`")
            if ours_wide != theirs_wide:
                raise DifferentPins(
                    f"the {what} `{name}` has {ours_wide} bits in one circuit and {theirs_wide} in the other"
                )
    classes = {pin.name: pin.input_class for pin in left.inputs}
    for pin in right.inputs:
        if pin.input_class is not classes[pin.name]:
            here, there = classes[pin.name].value, pin.input_class.value
            raise DifferentPins(f"the input `{pin.name}` is {here} in one circuit and {there} in the other")
    if left.inputs_may_change_together != right.inputs_may_change_together:
        raise DifferentPins("inputs may change together in one of the two circuits only")


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
