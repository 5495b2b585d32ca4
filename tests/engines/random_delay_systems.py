"""Random small systems with delays, for the property-based tests."""

from __future__ import annotations

from random import Random

from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.logic.delay_system import (
    Bit,
    Delay,
    DelayedElement,
    DelaySystem,
    Follower,
    Reading,
    SourceMove,
    Timer,
)


def random_delay_system(random: Random, *, most_elements: int = 4, longest: int = 3) -> DelaySystem:
    """Every part of a system occurs, most of them often; what may not be read somewhere is never offered there."""
    graph = BitGraph()
    timed = random.random() < 0.75

    def bits(name: str, count: int) -> list[Bit]:
        return [Bit(f"{name} {i}", graph.variable(f"before {name} {i}"), graph.variable(name)) for i in range(count)]

    def mixed(pool: list[Literal], size: int = 2) -> Literal:
        literal = random.choice(pool) ^ random.getrandbits(1)
        for _ in range(random.randint(0, size)):
            make = random.choice((graph.conjunction, graph.disjunction, graph.exclusive_or))
            literal = make(literal, random.choice(pool) ^ random.getrandbits(1))
        return literal

    def delay() -> Delay:
        low = random.randint(0, longest)
        return Delay(low, random.randint(max(low, 1), longest + 1))

    sources = bits("lever", random.randint(0, 2))
    gates = bits("bell", random.randint(1, most_elements))
    memory = bits("memory", random.randint(0, 2))
    choices = [graph.variable(f"choice {i}") for i in range(random.randint(0, 2))]
    tick = graph.variable("tick") if random.random() < 0.5 else None
    timers: list[tuple[str, int, tuple[Reading, ...]]] = []
    for index in range(random.randint(0, 2) if timed else 0):
        most = random.randint(0, 4)
        readings = tuple(Reading(random.randint(0, most + 1), graph.variable("reading")) for _ in range(2))
        timers.append((f"timer {index}", most, readings))
    readings = [reading.variable for _, _, some in timers for reading in some]
    now = [bit.now for bit in (*sources, *gates, *memory)]
    ways = [(delay(), delay()) for _ in gates]
    elements = tuple(
        DelayedElement(
            bit=gate,
            target=mixed(now),
            rise=rise,
            fall=fall if random.random() < 0.5 else rise,
            optional=mixed(now) if random.random() < 0.2 else FALSE,
        )
        for gate, (rise, fall) in zip(gates, ways, strict=True)
    )
    stepwise = [*(bit.before for bit in (*sources, *gates, *memory)), *readings, *choices]
    stepwise += [bit.now for bit in (*sources, *gates)] + ([] if tick is None else [tick])
    followers = []
    for bit in memory:
        followers.append(Follower(bit=bit, next=mixed([*stepwise, bit.before, bit.before])))
        stepwise.append(bit.now)
    moved = [tuple(random.sample(sources, random.randint(1, len(sources)))) for _ in range(3 if sources else 0)]
    state = [*now, *readings]
    return DelaySystem(
        graph=graph,
        timed=timed,
        sources=tuple(sources),
        elements=elements,
        followers=tuple(followers),
        timers=tuple(
            Timer(name=name, most=most, reset=mixed(stepwise), start=random.randint(0, most), readings=some)
            for name, most, some in timers
        ),
        moves=tuple(SourceMove(bits=some, enabled=mixed(state) if random.random() < 0.7 else TRUE) for some in moved),
        first=mixed(now, 4),
        bad_at_first=graph.all_of([mixed(now), mixed(now), mixed(now), mixed(now)]),
        bad=FALSE if random.random() < 0.5 else graph.all_of(mixed(stepwise, 1) for _ in range(random.randint(2, 6))),
        permitted_at_first=mixed(now) if random.random() < 0.2 else TRUE,
        permitted=graph.disjunction(mixed(stepwise), mixed(stepwise)) if random.random() < 0.3 else TRUE,
        holds_time=mixed(state, 3) if random.random() < 0.2 else FALSE,
        choices=tuple(choices),
        tick=tick,
    )
