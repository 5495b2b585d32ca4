"""What makes gates and storage fire, held against the definition of excitation on runs that the simulator walks."""

import random
from collections.abc import Sequence
from functools import reduce

import pytest
from report.timed_runs import AT_REST, STAGE, design_of, run_in_time

from verifier.circuit.netlist import FlipFlop, Gate, GateKind, Netlist
from verifier.claims.claim import Design
from verifier.claims.run import Run, StepEvents
from verifier.evidence.delay_simulator import DelaySimulator, DelayState, MoveKind
from verifier.report.causes import Cause, firings

RANDOM_WALKS = range(40)

CARILLON = """
circuit carillon
    input  rope, crank
    output bell, chime, held, count
    bell  = nand(rope, chime)   takes 1..4 ns
    chime = nand(crank, bell)   takes 2..3 ns
    hush  = bell xor crank      takes 0..5 ns
    echo  = nor(hush, rope)     takes 1..2 ns
    held  = latch(echo) while rope high start 0 takes 1..3 ns
    count = toggle(rope) on rise of crank, clear when hush low start 0 takes 2..4 ns
    both  = set_reset(echo, hush) start 0 takes 1..2 ns
    never_both = nand(held, both) takes 1 ns
    must x in timed view: never (never_both and count)
"""


def walk(design: Design, *, timed: bool, seed: int) -> tuple[Run, list[DelayState]]:
    """A run of 40 moves at random, and all that was hidden at each instant of it."""
    netlist, dice = design.netlist, random.Random(seed)
    simulator = DelaySimulator(netlist, timed)
    inputs = {net: dice.random() < 0.5 for net in netlist.input_nets}
    states = [dice.choice(list(simulator.first_states(inputs)))]
    times, now = [0], 0
    while len(states) < 40:
        moves = list(simulator.successors(states[-1]))
        kinds = {MoveKind.INPUT_CHANGE} if simulator.is_quiet(states[-1]) else {MoveKind.FIRINGS, MoveKind.TICK}
        likely = [way for way in moves if way[0].kind in kinds]
        move, state = dice.choice(likely if likely and dice.random() < 0.9 else moves)
        now += move.kind is MoveKind.TICK
        states.append(state)
        times.append(now)
    run = Run(
        tuple(state.values for state in states), (StepEvents(),) * len(states), times=tuple(times) if timed else None
    )
    return run, states


def gate_function(kind: GateKind, pins: Sequence[bool]) -> bool:
    if kind is GateKind.NAND:
        return not all(pins)
    if kind is GateKind.NOR:
        return not any(pins)
    assert kind is GateKind.XOR
    return reduce(lambda left, right: left != right, pins)


def began(gate: Gate, run: Run, fires_at: int) -> int:
    """By the definition: the last instant before at which the gate became excited, or was so again, having fired."""
    own = [instant[gate.output] for instant in run.instants]
    excited = [gate_function(gate.kind, [i[pin] for pin in gate.inputs]) != i[gate.output] for i in run.instants]
    return max(
        at for at in range(fires_at) if excited[at] and (at == 0 or not excited[at - 1] or own[at] != own[at - 1])
    )


@pytest.mark.parametrize("timed", [True, False])
@pytest.mark.parametrize("seed", RANDOM_WALKS)
def test_a_gate_fires_because_of_the_pins_that_changed_when_it_was_last_excited(seed: int, timed: bool) -> None:
    design = design_of(CARILLON)
    run, _ = walk(design, timed=timed, seed=seed)
    drivers, found = design.netlist.drivers, firings(design.netlist, run)
    told = 0
    for at, fired in enumerate(found):
        changed = {n for n in drivers if at and run.instants[at][n] != run.instants[at - 1][n]}
        assert {firing.net for firing in fired} == changed
        for firing in fired:
            gate = drivers[firing.net]
            if isinstance(gate, Gate):
                since = began(gate, run, at)
                before = run.instants[max(since - 1, 0)]
                pins = {pin for pin in gate.inputs if run.instants[since][pin] != before[pin]}
                assert firing.cause is not None
                assert (firing.cause.since, set(firing.cause.pins)) == (since, pins)
                told += 1
    assert told > 0


@pytest.mark.parametrize("seed", RANDOM_WALKS)
def test_no_element_is_told_to_have_been_excited_for_longer_or_shorter_than_its_delay(seed: int) -> None:
    design = design_of(CARILLON)
    run, states = walk(design, timed=True, seed=seed)
    outputs = sorted(design.netlist.drivers)
    for at, fired in enumerate(firings(design.netlist, run)):
        for firing in fired:
            driver = design.netlist.drivers[firing.net]
            timers = states[at - 1].timers
            assert timers is not None
            assert run.times is not None
            assert driver.takes is not None
            age = timers.ages[outputs.index(firing.net)]
            assert firing.cause is not None
            waited = run.times[at] - run.times[firing.cause.since]
            delay = driver.takes.rise if run.instants[at][firing.net] else driver.takes.fall
            if not isinstance(driver, FlipFlop) or _reads_steady_data(design.netlist, driver, run):
                assert age == min(waited, delay.high)


def _reads_steady_data(netlist: Netlist, flip_flop: FlipFlop, run: Run) -> bool:
    """No data pin moves together with the clock, so what it holds can be told from the run."""
    moved = [
        {net for net in range(len(netlist.nets)) if after[net] != before[net]}
        for before, after in zip(run.instants, run.instants[1:], strict=False)
    ]
    return not any(flip_flop.clock in nets and not nets.isdisjoint(flip_flop.data) for nets in moved)


def test_a_breach_of_hold_makes_the_data_pin_the_cause() -> None:
    design = design_of(STAGE)
    run = run_in_time(design, AT_REST, (7, "clk"), (9, "d"), (20, "q"))
    (firing,) = firings(design.netlist, run)[-1]
    (data,) = design.netlist.signals["d"]
    assert firing.cause == Cause(2, (data,), unsure=True)


def test_after_the_settling_time_a_new_edge_is_the_cause_again() -> None:
    design = design_of(STAGE)
    run = run_in_time(design, AT_REST, (7, "clk"), (9, "d"), (60, "clk"), (90, "clk"), (94, "q"))
    (firing,) = firings(design.netlist, run)[-1]
    (clock,) = design.netlist.signals["clk"]
    assert firing.cause == Cause(4, (clock,))
