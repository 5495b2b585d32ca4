"""Random small designs, biased to what is hard: clocked storage, ripple clocks, pulses, loops that race or settle."""

from __future__ import annotations

from dataclasses import dataclass, replace
from random import Random

from oracle.random_formulas import FormulaMaker, as_source
from oracle.targets import Structure
from oracle.wiring import Pin, Wiring, as_calls, design_of
from verifier.circuit.netlist import Edge, FlipFlopKind, GateKind, InputClass, Latch, Netlist
from verifier.claims.claim import Design

INPUT_NAMES = ("tempo", "lever", "choose")
MOST_LOOP_VARIABLES = 7
CLASSES = {
    InputClass.FREE: 10,
    InputClass.FREE_RUNNING: 2,
    InputClass.BY_HAND: 3,
    InputClass.STRAPPED: 2,
}
GATES = {
    GateKind.LOW: 1,
    GateKind.HIGH: 1,
    GateKind.BUFFER: 1,
    GateKind.NOT: 6,
    GateKind.AND: 6,
    GateKind.OR: 6,
    GateKind.NAND: 6,
    GateKind.NOR: 6,
    GateKind.XOR: 4,
    GateKind.XNOR: 3,
    GateKind.MAJORITY: 2,
    GateKind.SELECT: 4,
}


@dataclass
class Plan:
    """The names of the nets before anything is wired."""

    inputs: list[str]
    gates: list[str]
    storage: list[str]


def random_design(random: Random) -> Design:
    """Draws until a circuit comes out that the oracle has a meaning for and whose loops are small."""
    while True:
        netlist = _random_netlist(random)
        if netlist is not None:
            break
    maker = FormulaMaker(random, netlist)
    claims = [maker.claim(f"claim_{number}") for number in range(random.randrange(1, 4))]
    if len(maker.stored) > 1 and random.random() < 0.4:
        claims.append(maker.far_away("corner"))
    givens = [maker.given(f"given_{number}") for number in range(random.choice((0, 0, 0, 0, 1, 1, 2)))]
    return design_of(netlist, claims, givens)


def as_test(design: Design) -> str:
    """The design as Python, to be pasted into a regression test."""
    claims = "".join(f"    {as_source(claim)},\n" for claim in design.claims[:-1])
    givens = "".join(f"    {as_source(given)},\n" for given in design.givens)
    words = "".join(f"# {claim.kind.value} {claim.name}: {claim.text}\n" for claim in design.claims[:-1])
    words += "".join(f"# given {given.name}: {given.text}\n" for given in design.givens)
    return f"{words}netlist = {as_calls(design.netlist)}\ndesign = design_of(netlist, [\n{claims}], [\n{givens}])\n"


def _random_netlist(random: Random) -> Netlist | None:
    wiring = Wiring("random", inputs_may_change_together=random.random() < 0.3)
    inputs = _wire_inputs(random, wiring)
    storage = [f"hammer_{number}" for number in range(random.choices((0, 1, 2, 3), (15, 30, 35, 20))[0])]
    gates = [f"gate_{number}" for number in range(random.randrange(1, 8))]
    plan = Plan(inputs, gates, storage)
    for net in (*gates, *storage):
        wiring.net(net)
    _wire_gates(random, wiring, plan)
    how = random.random()
    if len(storage) > 1 and how < 0.45:
        _wire_chain(random, wiring, plan)
    elif len(storage) > 1 and how < 0.65:
        _wire_pulses(random, wiring, plan)
    else:
        _wire_storage(random, wiring, plan)
    netlist = wiring.netlist()
    structure = Structure(netlist)
    if any(part.is_loop and _variables(structure, part.members) > MOST_LOOP_VARIABLES for part in structure.parts):
        return None
    return _with_gate_starts(random, structure)


def _wire_inputs(random: Random, wiring: Wiring) -> list[str]:
    nets: list[str] = []
    count = random.choices((1, 2, 3), (30, 45, 25))[0]
    bus = random.randrange(count) if count < 3 and random.random() < 0.2 else None
    for number, name in enumerate(INPUT_NAMES[:count]):
        input_class = random.choices(list(CLASSES), list(CLASSES.values()))[0]
        width = 2 if number == bus else 1
        wiring.input(name, input_class, width)
        nets.extend([name] if width == 1 else [f"{name}[0]", f"{name}[1]"])
    return nets


def _wire_gates(random: Random, wiring: Wiring, plan: Plan) -> None:
    pins_of: dict[str, list[str]] = {}
    kind_of: dict[str, GateKind] = {}
    for number, name in enumerate(plan.gates):
        kind_of[name] = random.choices(list(GATES), list(GATES.values()))[0]
        known = [*plan.inputs, *plan.storage, *plan.gates[:number]]
        pins_of[name] = [random.choice(known) for _ in range(_pin_count(random, kind_of[name]))]
    if len(plan.gates) > 1 and random.random() < 0.35:
        _cross_couple(random, plan, kind_of, pins_of)
    if random.random() < 0.08:
        _feed_back(random, plan, pins_of)
    for name in plan.gates:
        wiring.gate(name, kind_of[name], *pins_of[name])


def _pin_count(random: Random, kind: GateKind) -> int:
    if kind in (GateKind.LOW, GateKind.HIGH):
        return 0
    if kind in (GateKind.BUFFER, GateKind.NOT):
        return 1
    if kind in (GateKind.MAJORITY, GateKind.SELECT):
        return 3
    return random.choices((1, 2, 3), (3, 75, 22))[0]


def _cross_couple(random: Random, plan: Plan, kind_of: dict[str, GateKind], pins_of: dict[str, list[str]]) -> None:
    pair = random.sample(plan.gates, 2)
    kind = random.choice((GateKind.NAND, GateKind.NOR)) if random.random() < 0.75 else None
    for name, other in (pair, pair[::-1]):
        outside = random.choice((*plan.inputs, *plan.storage, *plan.gates))
        kind_of[name] = kind or random.choice((GateKind.NAND, GateKind.NOR, GateKind.AND, GateKind.OR, GateKind.XOR))
        pins_of[name] = random.sample([other, outside], 2)


def _feed_back(random: Random, plan: Plan, pins_of: dict[str, list[str]]) -> None:
    name = random.choice(plan.gates)
    if pins_of[name]:
        pins_of[name][random.randrange(len(pins_of[name]))] = random.choice(plan.gates)


def _wire_storage(random: Random, wiring: Wiring, plan: Plan) -> None:
    shared_clock = _clock(random, plan) if random.random() < 0.4 else None
    all_start = random.random() < 0.6
    for name in plan.storage:
        start = random.choice((False, True) if all_start else (False, True, None))
        kind = random.choices(("flip-flop", "latch", "pair"), (65, 22, 13))[0]
        anything = [*plan.inputs, *plan.storage, *plan.gates]
        others = anything if random.random() < 0.1 else [net for net in anything if net != name]
        if kind == "latch":
            enable = (random.choice([*plan.inputs, *random.sample(others, 1)]), random.random() < 0.6)
            wiring.latch(name, random.choice(others), enable=enable, start=start)
        elif kind == "pair":
            pins = random.choices(others, k=2)
            wiring.set_reset(name, set=pins[0], reset=pins[1], start=start)
        else:
            _wire_flip_flop(random, wiring, plan, name, shared_clock or _clock(random, plan), others, start)


def _wire_chain(random: Random, wiring: Wiring, plan: Plan) -> None:
    """A ripple counter or a shift register that eats its own tail: it takes a long run to see all of it."""
    clock = _clock(random, plan)
    edge = random.choice(list(Edge))
    ripples = random.random() < 0.5
    clear = _pin(random, [*plan.inputs, *plan.gates]) if random.random() < 0.2 else None
    data = "high" if ripples else random.choice(plan.gates)
    if ripples:
        wiring.gate("high", GateKind.HIGH)
    for name in plan.storage:
        kind = FlipFlopKind.TOGGLE if ripples else FlipFlopKind.D
        start = random.choice((False, True))
        wiring.flip_flop(name, kind, data, clock=clock, edge=edge, clear=clear, start=start)
        clock, data = (name, data) if ripples else (clock, name)


def _wire_pulses(random: Random, wiring: Wiring, plan: Plan) -> None:
    """Flip-flops that lose in the next round what they have just sampled, and storage that may feel it."""
    clock = random.choice(plan.inputs)
    edge = random.choice(list(Edge))
    makers, listeners = plan.storage[:1], plan.storage[1:]
    shape = random.choice(("clears itself", "presets itself", "taken away", "decoded"))
    wiring.gate("high", GateKind.HIGH)
    data = "high" if random.random() < 0.7 else random.choice([*plan.inputs, *plan.gates])
    if shape == "presets itself":
        wiring.gate("low", GateKind.LOW)
        wiring.flip_flop(
            makers[0], FlipFlopKind.D, "low", clock=clock, edge=edge, preset=(makers[0], False), start=True
        )
    elif shape == "taken away" and len(listeners) > 1:
        taker = listeners.pop()
        wiring.flip_flop(taker, FlipFlopKind.TOGGLE, "high", clock=clock, edge=edge, start=False)
        wiring.flip_flop(makers[0], FlipFlopKind.D, data, clock=clock, edge=edge, clear=(taker, True), start=False)
    elif shape == "decoded" and len(listeners) > 1:
        makers.append(listeners.pop())
        wiring.gate("decoded", GateKind.NAND, *makers)
        for name, ticks in zip(makers, random.choice(((clock, clock), (clock, makers[0]))), strict=True):
            clear = ("decoded", False)
            wiring.flip_flop(name, FlipFlopKind.TOGGLE, data, clock=ticks, edge=edge, clear=clear, start=False)
    else:
        wiring.flip_flop(makers[0], FlipFlopKind.D, data, clock=clock, edge=edge, clear=(makers[0], True), start=False)
    kind = random.choice((GateKind.NOT, GateKind.AND, GateKind.NOR, GateKind.XOR, GateKind.SELECT))
    others = [random.choice([*plan.inputs, *plan.storage]) for _ in range(_pin_count(random, kind) - 1)]
    wiring.gate("passed", kind, makers[0], *others)
    for name in listeners:
        _wire_listener(random, wiring, plan, name, random.choice((*makers, "passed")))


def _wire_listener(random: Random, wiring: Wiring, plan: Plan, name: str, pulse: str) -> None:
    """One element with a pulse on one of its pins."""
    start = random.choice((False, True, None))
    others = [net for net in (*plan.inputs, *plan.gates, *plan.storage) if net != name]
    level = (pulse, random.random() < 0.6)
    shape = random.choices(("clock", "clear", "preset", "enable", "latch data", "set or reset"), (6, 2, 2, 3, 1, 3))[0]
    if shape == "clock":
        _wire_flip_flop(random, wiring, plan, name, pulse, others, start)
    elif shape == "enable":
        wiring.latch(name, random.choice(others), enable=level, start=start)
    elif shape == "latch data":
        wiring.latch(name, pulse, enable=_pin(random, others), start=start)
    elif shape == "set or reset":
        pins = random.sample((pulse, random.choice(others)), 2)
        wiring.set_reset(name, set=pins[0], reset=pins[1], start=start)
    else:
        clear, preset = (level, None) if shape == "clear" else (None, level)
        data, clock = random.choice(others), _clock(random, plan)
        wiring.flip_flop(name, FlipFlopKind.D, data, clock=clock, clear=clear, preset=preset, start=start)


def _wire_flip_flop(
    random: Random,
    wiring: Wiring,
    plan: Plan,
    name: str,
    clock: str,
    others: list[str],
    start: bool | None,
) -> None:
    kind = random.choices(list(FlipFlopKind), (5, 3, 3))[0]
    anything = [*others, name]
    data = random.choices(anything, k=2 if kind is FlipFlopKind.JK else 1)
    clear = _pin(random, others) if random.random() < 0.25 else None
    preset = _pin(random, others) if random.random() < (0.5 if clear else 0.1) else None
    edge = random.choice(list(Edge))
    wiring.flip_flop(name, kind, *data, clock=clock, edge=edge, clear=clear, preset=preset, start=start)


def _clock(random: Random, plan: Plan) -> str:
    source = random.choices((plan.inputs, plan.storage or plan.inputs, plan.gates), (6, 2, 2))[0]
    return random.choice(source)


def _pin(random: Random, nets: list[str]) -> Pin:
    return random.choice(nets), random.random() < 0.5


def _variables(structure: Structure, members: tuple[int, ...]) -> int:
    late = sum(
        isinstance(part, Latch) and part.enable.net not in members
        for part in (structure.drivers[net] for net in members)
    )
    return len(members) + late


def _with_gate_starts(random: Random, structure: Structure) -> Netlist:
    in_loops = {net for part in structure.parts if part.is_loop for net in part.members}
    gates = tuple(
        replace(gate, start=random.choice((False, True))) if gate.output in in_loops and random.random() < 0.2 else gate
        for gate in structure.netlist.gates
    )
    return replace(structure.netlist, gates=gates)
