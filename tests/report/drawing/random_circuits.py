"""Random circuits of any size, wired like the ones people draw: mostly from near by, with feedback through storage."""

from __future__ import annotations

from random import Random

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import Edge, FlipFlopKind, GateKind, Level, NetId, Netlist

KINDS = {
    GateKind.AND: 6,
    GateKind.NAND: 6,
    GateKind.OR: 6,
    GateKind.NOR: 6,
    GateKind.XOR: 3,
    GateKind.XNOR: 2,
    GateKind.NOT: 6,
    GateKind.BUFFER: 1,
    GateKind.SELECT: 3,
    GateKind.MAJORITY: 1,
    GateKind.HIGH: 1,
}
FIXED = {GateKind.NOT: 1, GateKind.BUFFER: 1, GateKind.SELECT: 3, GateKind.MAJORITY: 3, GateKind.HIGH: 0}


def random_circuit(seed: int, gates: int, storage: int | None = None) -> Netlist:
    """A circuit of so many gates; every tenth as many storage parts when nothing is said."""
    random = Random(seed)
    builder = NetlistBuilder(f"random_{gates}_{seed}")
    inputs = [builder.input(f"lever_{number}") for number in range(max(2, gates // 10))]
    kept = [builder.net(f"hammer_{number}") for number in range(gates // 10 if storage is None else storage)]
    known: list[NetId] = [*inputs, *kept]
    driven: list[NetId] = []
    for number in range(gates):
        kind = random.choices(list(KINDS), list(KINDS.values()))[0]
        count = FIXED.get(kind, random.choices((1, 2, 3, 4, 7), (1, 30, 10, 4, 1))[0])
        near = known[-20:] if random.random() < 0.7 else known
        output = builder.net(f"gate_{number}") if random.random() < 0.6 else builder.anonymous("gate")
        known.append(builder.gate(output, kind, [random.choice(near) for _ in range(count)]))
        driven.append(output)
    for net in kept:
        _store(random, builder, net, known, inputs)
    for number in range(max(1, gates // 10)):
        builder.output(f"bell_{number}", random.choice(driven or inputs))
    return builder.build()


def _store(random: Random, builder: NetlistBuilder, net: NetId, known: list[NetId], inputs: list[NetId]) -> None:
    shape = random.random()
    if shape < 0.15:
        builder.latch(net, random.choice(known), Level(random.choice(known), random.random() < 0.5))
    elif shape < 0.25:
        builder.set_reset(net, random.choice(known), random.choice(known))
    else:
        kind = random.choice(list(FlipFlopKind))
        levels = [Level(random.choice(known), random.random() < 0.5) if random.random() < 0.3 else None for _ in "cp"]
        builder.flip_flop(
            net,
            [random.choice(known) for _ in range(2 if kind is FlipFlopKind.JK else 1)],
            random.choice(inputs),
            kind=kind,
            edge=random.choice(list(Edge)),
            clear=levels[0],
            preset=levels[1],
            start=random.choice((None, False, True)),
        )
