"""Circuits with delays for tests, written in one line a gate, and walks through them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import product
from random import Random

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import (
    Delay,
    Driver,
    Gate,
    GateKind,
    Input,
    InputClass,
    Latch,
    Level,
    Netlist,
    Range,
    SetReset,
)
from verifier.claims.run import Instant, Run, StepEvents
from verifier.evidence.delay_simulator import DelaySimulator, DelayState, Move


def takes(rise: tuple[int, int], fall: tuple[int, int] | None = None) -> Delay:
    return Delay(Range(*rise), Range(*(fall or rise)))


def wire(builder: NetlistBuilder, gates: str, start: str = "") -> None:
    """Gates written as `q = nand s_n qn 3 5`, with its delay in ns at the end or without one, parted by semicolons.

    `start` gives values as `q=1 qn=0`.
    """
    starts = dict(pair.split("=") for pair in start.split())
    for line in gates.replace(";", "\n").splitlines():
        if not line.strip():
            continue
        output, function = (half.strip() for half in line.split("="))
        kind, *pins = function.split()
        times = [int(pin) for pin in pins if pin.isdigit()]
        nets = [pin for pin in pins if not pin.isdigit()]
        first = bool(int(starts[output])) if output in starts else None
        delay = takes((times[0], times[1])) if times else None
        builder.gate(output, GateKind(kind), nets, start=first, takes=delay)


def circuit(inputs: str, gates: str, start: str = "") -> Netlist:
    """Free inputs that may not change together, and gates."""
    builder = NetlistBuilder("delayed")
    for name in inputs.split():
        builder.input(name)
    wire(builder, gates, start)
    return builder.build()


def numbers(netlist: Netlist) -> dict[str, int]:
    return {net.name: number for number, net in enumerate(netlist.nets)}


def start(simulator: DelaySimulator, **values: int) -> DelayState:
    """The only first state with these values; inputs that are not named are 0."""
    net = numbers(simulator.netlist)
    wanted = {net[name]: bool(value) for name, value in values.items()}
    inputs = {pin: wanted.get(pin, False) for pin in simulator.netlist.input_nets}
    found = list(simulator.first_states(inputs, wanted))
    assert len(found) == 1, f"{len(found)} first states"
    return found[0]


def every_start(simulator: DelaySimulator) -> list[DelayState]:
    pins = simulator.netlist.input_nets
    choices = product((False, True), repeat=len(pins))
    return [state for values in choices for state in simulator.first_states(dict(zip(pins, values, strict=True)))]


def read(netlist: Netlist, instant: Instant, names: str) -> str:
    net = numbers(netlist)
    return "".join(str(int(instant[net[name]])) for name in names.split())


def run_of(netlist: Netlist, first: Mapping[str, int], *moves: tuple[int, str], until: int | None = None) -> Run:
    """The run that starts with these values; each move gives a time and the names of the nets that turn over then."""
    net = numbers(netlist)
    values = [bool(first[one.name]) for one in netlist.nets]
    instants, times = [tuple(values)], [0]
    for time, names in moves:
        for name in names.split():
            values[net[name]] = not values[net[name]]
        instants.append(tuple(values))
        times.append(time)
    if until is not None:
        instants.append(tuple(values))
        times.append(until)
    return Run(tuple(instants), (StepEvents(),) * len(instants), times=tuple(times))


def reachable(simulator: DelaySimulator, starts: Iterable[DelayState]) -> set[DelayState]:
    found = set(starts)
    pending = list(found)
    while pending:
        for _, following in simulator.successors(pending.pop()):
            if following not in found:
                found.add(following)
                pending.append(following)
    return found


def random_walk(random: Random, simulator: DelaySimulator, length: int) -> tuple[Run, list[Move]]:
    """A run with all its ticks, and the move that leads to each instant but the first."""
    state = random.choice(every_start(simulator))
    instants, times, moves = [state.values], [0], []
    for _ in range(length):
        ways = list(simulator.successors(state))
        if not ways:
            break
        ticks = [way for way in ways if not way[0].nets]
        move, state = random.choice(ticks if ticks and random.random() < 0.6 else ways)
        instants.append(state.values)
        times.append(times[-1] + (0 if move.nets or not simulator.timed else 1))
        moves.append(move)
    return Run(tuple(instants), (StepEvents(),) * len(instants), times=tuple(times)), moves


_KINDS = [GateKind.NOT, GateKind.AND, GateKind.OR, GateKind.NAND, GateKind.NOR, GateKind.XOR, GateKind.SELECT]
_PINS = {GateKind.NOT: 1, GateKind.SELECT: 3}


def random_circuit(random: Random) -> Netlist:
    """Up to three inputs of any class, up to four gates, latches and set-reset latches, with loops among them."""
    builder = NetlistBuilder("random", inputs_may_change_together=random.random() < 0.3)
    count = random.randrange(1, 4)
    outputs = [f"y{number}" for number in range(random.randrange(1, 5))]
    for number in range(count):
        builder.add_input(_random_input(random, builder, number))
    nets = [*(f"x{number}" for number in range(count)), *outputs]
    for name in outputs:
        builder.add(_random_element(random, builder, name, nets))
    return builder.build()


def random_simulator(random: Random, timed: bool) -> DelaySimulator:
    """Of a random circuit that can start."""
    while True:
        simulator = DelaySimulator(random_circuit(random), timed)
        if every_start(simulator):
            return simulator


def _random_input(random: Random, builder: NetlistBuilder, number: int) -> Input:
    pin = Input(name=f"x{number}", nets=(builder.net(f"x{number}"),), input_class=random.choice(list(InputClass)))
    if pin.input_class is InputClass.FREE_RUNNING:
        return replace(pin, high=_random_range(random, 3), low=_random_range(random, 3))
    if pin.input_class is InputClass.BY_HAND and random.random() < 0.6:
        return replace(pin, apart=random.randrange(4))
    return pin


def _random_element(random: Random, builder: NetlistBuilder, name: str, nets: list[str]) -> Driver:
    output, delay = builder.net(name), Delay(_random_range(random, 2), _random_range(random, 2))
    pins = [builder.net(random.choice(nets)) for _ in range(3)]
    how = random.random()
    if how < 0.15:
        return Latch(output=output, data=pins[0], enable=Level(pins[1], random.random() < 0.5), takes=delay)
    if how < 0.3:
        return SetReset(output=output, set=pins[0], reset=pins[1], takes=delay)
    kind = random.choice(_KINDS)
    return Gate(output=output, kind=kind, inputs=tuple(pins[: _PINS.get(kind, 2)]), takes=delay)


def _random_range(random: Random, most: int) -> Range:
    low = random.randrange(most)
    return Range(low, max(low + random.randrange(2), 1))
