"""Every fault of random circuits: the netlist stays sound, what is not behind the fault stays as it was, and faults of
one class cannot be told apart."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import product
from random import Random

import pytest
from oracle.random_designs import random_design
from oracle.targets import gate_function
from oracle.wiring import Wiring

from verifier.circuit.element_pins import element_pins
from verifier.circuit.fault import Fault, FaultKind, Technology
from verifier.circuit.faulty import faulty
from verifier.circuit.netlist import Gate, GateKind, InputClass, NetId, Netlist, Output
from verifier.circuit.single_faults import single_faults
from verifier.claims.run import Instant, StepEvents
from verifier.evidence.simulator import SimulationLimit, Simulator

CIRCUITS = 60
CHUNK = 10


def random_netlist(random: Random) -> tuple[Netlist, set[NetId]]:
    """A circuit, some of whose nets are outputs, and some more nets that are looked at."""
    netlist = random_design(random).netlist
    inside = list(netlist.drivers)
    shown = random.sample(inside, min(len(inside), random.randrange(3)))
    observed = set(random.sample(inside, min(len(inside), random.randrange(3))))
    pins = tuple(Output(f"shown_{number}", (net,)) for number, net in enumerate(shown))
    return replace(netlist, outputs=pins), observed


def check_sound(netlist: Netlist) -> None:
    """Each net has one driver; all pins are on nets; no two nets have one name."""
    driven = [*netlist.input_nets, *netlist.drivers]
    elements = (*netlist.gates, *netlist.flip_flops, *netlist.latches, *netlist.set_resets)
    assert len(netlist.drivers) == len(elements)
    assert sorted(driven) == list(range(len(netlist.nets)))
    assert len({net.name for net in netlist.nets}) == len(netlist.nets)
    assert len({pin.name for pin in netlist.inputs}) == len(netlist.inputs)
    pins = [pin.net for element in elements for pin in element_pins(element)]
    pins += [net for pin in netlist.outputs for net in pin.nets]
    pins += [net for nets in netlist.signals.values() for net in nets]
    assert set(pins) <= set(driven)


def cone(netlist: Netlist, sites: set[NetId]) -> set[NetId]:
    """The sites and all nets that a chain of elements leads to from them."""
    found = set(sites)
    while True:
        grown = found | {
            output
            for output, element in netlist.drivers.items()
            if any(pin.net in found for pin in element_pins(element))
        }
        if grown == found:
            return found
        found = grown


def without_start(element: object) -> object:
    return replace(element, start=None) if isinstance(element, Gate) else element


@pytest.mark.parametrize("technology", Technology)
@pytest.mark.parametrize("first_seed", range(0, CIRCUITS, CHUNK))
def test_every_fault_gives_a_sound_netlist_and_leaves_what_is_not_behind_it_alone(
    first_seed: int, technology: Technology
) -> None:
    kinds: Counter[FaultKind] = Counter()
    for seed in range(first_seed, first_seed + CHUNK):
        netlist, observed = random_netlist(Random(seed))
        faults = [fault for each in single_faults(netlist, technology, observed) for fault in each.faults]
        assert len({fault.name for fault in faults}) == len(faults)
        for fault in faults:
            kinds[fault.kind] += 1
            changed = faulty(netlist, fault)
            check_sound(changed)
            check_left_alone(netlist, changed, fault)
    assert len(kinds) >= len(FaultKind) - 1


def check_left_alone(netlist: Netlist, changed: Netlist, fault: Fault) -> None:
    assert changed.nets[: len(netlist.nets)] == netlist.nets
    assert changed.inputs[: len(netlist.inputs)] == netlist.inputs
    assert all(pin.input_class is InputClass.FLOATING for pin in changed.inputs[len(netlist.inputs) :])
    assert [pin.name for pin in changed.outputs] == [pin.name for pin in netlist.outputs]
    assert {name: changed.signals[name] for name in netlist.signals} == netlist.signals
    behind = cone(netlist, {fault.net} if fault.other_net is None else {fault.net, fault.other_net})
    for net, element in netlist.drivers.items():
        if net not in behind:
            assert without_start(changed.drivers[net]) == without_start(element)


# Faults of one class


def different_netlists(netlist: Netlist, faults: tuple[Fault, ...]) -> list[tuple[Fault, Netlist]]:
    """The representative's, and the first that is not wired alike."""
    made = [(fault, faulty(netlist, fault)) for fault in faults]
    return [made[0], *[other for other in made if other[1] != made[0][1]][:1]]


Arrival = tuple[Instant, bool]


def is_restless(events: StepEvents) -> bool:
    """What `settles` looks at."""
    return events.raced or events.oscillated


class Twins:
    """Two circuits given the same inputs, and all states in which each may be after the same observations."""

    def __init__(self, pair: list[Netlist], looked_at: list[NetId], random: Random) -> None:
        self._pair = pair
        self._simulators = [Simulator(netlist, limit=20_000) for netlist in pair]
        self._looked_at = looked_at
        self._random = random

    def live(self, steps: int) -> int:
        """The number of steps in which both were looked at; asserts that they show the same."""
        inputs = self._drawn()
        ways = [list(simulator.first_instants(values)) for simulator, values in self._each(inputs)]
        states = self._agree([{(instant, is_restless(events)) for instant, events in found} for found in ways])
        for step in range(steps):
            if not states[0]:
                return step
            inputs = self._drawn()
            states = self._agree([self._after(side, states[side], inputs) for side in (0, 1)])
        return steps

    def _drawn(self) -> dict[str, bool]:
        """A value for each input bit by name, so that both circuits can be given it."""
        netlist = self._pair[0]
        return {netlist.nets[net].name: self._random.random() < 0.5 for net in netlist.input_nets}

    def _each(self, inputs: dict[str, bool]) -> list[tuple[Simulator, dict[NetId, bool]]]:
        return [
            (simulator, {net: inputs[netlist.nets[net].name] for net in netlist.input_nets})
            for simulator, netlist in zip(self._simulators, self._pair, strict=True)
        ]

    def _after(self, side: int, states: set[Instant], inputs: dict[str, bool]) -> set[Arrival]:
        simulator, values = self._each(inputs)[side]
        outcomes = [outcome for state in states for outcome in simulator.step(state, values)]
        return {(outcome.instant, is_restless(outcome.events)) for outcome in outcomes}

    def _agree(self, arrivals: list[set[Arrival]]) -> list[set[Instant]]:
        """Both can show the same; goes on with one of the things that they can show."""
        shown = [{self._seen(arrival) for arrival in side} for side in arrivals]
        assert shown[0] == shown[1]
        if not shown[0]:
            return [set(), set()]
        chosen = self._random.choice(sorted(shown[0]))
        return [{arrival[0] for arrival in side if self._seen(arrival) == chosen} for side in arrivals]

    def _seen(self, arrival: Arrival) -> tuple[bool, ...]:
        instant, restless = arrival
        return (*(instant[net] for net in self._looked_at), restless)


@pytest.mark.parametrize("technology", Technology)
@pytest.mark.parametrize("first_seed", range(0, CIRCUITS, CHUNK))
def test_faults_of_one_class_show_the_same_whatever_the_inputs_do(first_seed: int, technology: Technology) -> None:
    compared = 0
    for seed in range(first_seed, first_seed + CHUNK):
        random = Random(seed)
        netlist, observed = random_netlist(random)
        looked_at = sorted(observed | {net for pin in netlist.outputs for net in pin.nets})
        for each in single_faults(netlist, technology, observed):
            pair = different_netlists(netlist, each.faults)
            if len(pair) == 2:
                try:
                    compared += Twins([changed for _, changed in pair], looked_at, random).live(6)
                except SimulationLimit:
                    continue
                except AssertionError as error:
                    names = " and ".join(fault.name for fault, _ in pair)
                    raise AssertionError(f"seed {seed}: {names} can be told apart") from error
    assert compared > 30


# Gates alone, worked out by hand


def random_gates(random: Random) -> Netlist:
    """No loops, no storage; every net is an output."""
    wiring = Wiring("gates", inputs_may_change_together=True)
    known = ["tempo", "lever", "choose"]
    for name in known:
        wiring.input(name)
    for number in range(random.randrange(3, 9)):
        kind = random.choice(list(GateKind))
        count = {GateKind.LOW: 0, GateKind.HIGH: 0, GateKind.BUFFER: 1, GateKind.NOT: 1}.get(kind, 3)
        if kind not in (GateKind.SELECT, GateKind.MAJORITY) and count == 3:
            count = random.randrange(1, 4)
        wiring.gate(f"gate_{number}", kind, *(random.choice(known) for _ in range(count)))
        known.append(f"gate_{number}")
    netlist = wiring.netlist()
    return replace(netlist, outputs=tuple(Output(f"shown_{net}", (net,)) for net in netlist.drivers))


def worked_out(netlist: Netlist, fault: Fault, inputs: dict[NetId, bool]) -> list[bool]:
    """The nets of the gates, gate by gate, a value held at the place of the fault."""
    assert fault.value is not None
    seen = dict(inputs)
    if fault.pin is None and fault.net in inputs:
        seen[fault.net] = fault.value
    for gate in netlist.gates:
        pins = [seen[net] for net in gate.inputs]
        if fault.net == gate.output and fault.pin is not None:
            pins[fault.pin] = fault.value
        held = fault.net == gate.output and fault.pin is None
        seen[gate.output] = fault.value if held else gate_function(gate.kind, tuple(pins))
    return [seen[gate.output] for gate in netlist.gates]


@pytest.mark.parametrize("first_seed", range(0, 40, 20))
def test_stuck_faults_of_gates_do_what_holding_the_place_does(first_seed: int) -> None:
    for seed in range(first_seed, first_seed + 20):
        netlist = random_gates(Random(seed))
        for each in single_faults(netlist, Technology.TTL):
            for fault in each.faults:
                if fault.kind is FaultKind.STUCK:
                    simulator = Simulator(faulty(netlist, fault))
                    for values in product((False, True), repeat=3):
                        inputs = dict(zip(netlist.input_nets, values, strict=True))
                        ((instant, _),) = simulator.first_instants(inputs)
                        shown = [instant[gate.output] for gate in netlist.gates]
                        assert shown == worked_out(netlist, fault, inputs), f"seed {seed}: {fault.name}"
