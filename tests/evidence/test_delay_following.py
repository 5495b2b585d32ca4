"""The simulator follows a run exactly when the run is one, by a definition that looks at whole runs at once."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest
from oracle.targets import gate_function

from evidence.delay_bench import random_simulator, random_walk
from verifier.circuit.netlist import Driver, Gate, Input, InputClass, Latch, Netlist, Range, SetReset
from verifier.claims.run import Instant, Run, StepEvents
from verifier.claims.timed_meaning import with_every_tick
from verifier.errors import InternalDisagreement
from verifier.evidence.delay_simulator import DelaySimulator, DelayState

SEEDS = range(120)
MUTANTS = 12


class WholeRun:
    """Whether a run with all its ticks is one, its first instant aside: every pin and element is looked at by itself.

    Nothing is carried from instant to instant: how long an excitation has lasted is read off the run. No flip-flops.
    """

    def __init__(self, netlist: Netlist, instants: list[Instant], times: list[int] | None) -> None:
        self.netlist = netlist
        self.instants = instants
        self.times = times
        self.elements: list[Driver] = list(netlist.drivers.values())

    def is_one(self) -> bool:
        last = len(self.instants) - 1
        return (
            all(self.is_step(i) for i in range(last))
            and all(self.obeys_its_delay(element) for element in self.elements)
            and all(self.obeys_its_class(pin) for pin in self.netlist.inputs)
        )

    def is_step(self, i: int) -> bool:
        """A tick, or input changes that may come together, or firings of excited elements."""
        changed = self.changed(i)
        if self.passed(i) or not changed:
            return self.passed(i) == 1 and not changed
        pins = [pin for pin in self.netlist.inputs if not changed.isdisjoint(pin.nets)]
        if not pins:
            return all(self.is_excited(element, i) for element in self.elements if element.output in changed)
        by_hand = any(pin.input_class is InputClass.BY_HAND for pin in pins)
        may_join = self.netlist.inputs_may_change_together and not by_hand
        return len(pins) == len(changed) and (may_join or len(pins) == 1)

    def obeys_its_delay(self, element: Driver) -> bool:
        for i in range(len(self.instants) - 1):
            if self.times is None or not self.is_excited(element, i):
                continue
            assert element.takes is not None
            delay = element.takes.fall if self.instants[i][element.output] else element.takes.rise
            age = self.times[i] - self.times[self.began(element, i)]
            if element.output in self.changed(i) and age < delay.low:
                return False
            if self.passed(i) and age >= delay.high and not self.is_doubly_pulled(element, i):
                return False
        return True

    def obeys_its_class(self, pin: Input) -> bool:
        moves = [i for i in range(len(self.instants) - 1) if not self.changed(i).isdisjoint(pin.nets)]
        if pin.input_class is InputClass.STRAPPED:
            return not moves
        waits = self.times is None or (pin.input_class is InputClass.BY_HAND and pin.apart is None)
        if waits:
            return all(self.is_quiet(i) for i in moves)
        assert self.times is not None
        if pin.input_class is InputClass.BY_HAND:
            assert pin.apart is not None
            by_hand = [p.nets[0] for p in self.netlist.inputs if p.input_class is InputClass.BY_HAND]
            others = [i for i in range(len(self.instants) - 1) if not self.changed(i).isdisjoint(by_hand)]
            return all(self.times[i] - self.times[j] >= pin.apart for i in moves for j in others if j < i)
        if pin.input_class is InputClass.FREE_RUNNING:
            stays = [Range(0, self.period(pin, 0).high), *(self.period(pin, i + 1) for i in moves)]
            begins = [0, *(self.times[i] for i in moves)]
            ends = begins[1:]
            in_time = all(s.low <= e - b <= s.high for b, e, s in zip(begins, ends, stays, strict=False))
            return in_time and self.times[-1] - begins[-1] <= stays[-1].high
        return True

    def period(self, pin: Input, i: int) -> Range:
        found = pin.high if self.instants[i][pin.nets[0]] else pin.low
        assert found is not None
        return found

    def began(self, element: Driver, i: int) -> int:
        """Since which instant the excitation has lasted that is there at i."""
        while i and self.is_excited(element, i - 1) and element.output not in self.changed(i - 1):
            i -= 1
        return i

    def passed(self, i: int) -> int:
        return 0 if self.times is None else self.times[i + 1] - self.times[i]

    def changed(self, i: int) -> set[int]:
        pairs = zip(self.instants[i], self.instants[i + 1], strict=True)
        return {net for net, (old, new) in enumerate(pairs) if old != new}

    def is_quiet(self, i: int) -> bool:
        return not any(self.is_excited(e, i) and not self.is_doubly_pulled(e, i) for e in self.elements)

    def is_doubly_pulled(self, element: Driver, i: int) -> bool:
        values = self.instants[i]
        return isinstance(element, SetReset) and values[element.set] and values[element.reset]

    def is_excited(self, element: Driver, i: int) -> bool:
        values = self.instants[i]
        own = values[element.output]
        if isinstance(element, Gate):
            return own != gate_function(element.kind, tuple(values[pin] for pin in element.inputs))
        if isinstance(element, Latch):
            return values[element.enable.net] == element.enable.active_high and own != values[element.data]
        assert isinstance(element, SetReset)
        return (values[element.set] and not own) or (values[element.reset] and own)


def is_followed(simulator: DelaySimulator, run: Run) -> bool:
    try:
        states = simulator.follow(run)
    except InternalDisagreement:
        return False
    assert all(state.values == run.instants[-1] for state in states)
    return True


def mutant(random: Random, run: Run) -> Run:
    """The run with one thing changed somewhere."""
    instants, times = list(run.instants), list(run.times or ())
    i = random.randrange(1, len(instants))
    how = random.random()
    if how < 0.4:
        net = random.randrange(len(instants[0]))
        instants[i] = tuple(value != (number == net) for number, value in enumerate(instants[i]))
    elif how < 0.6:
        del instants[i], times[i]
    elif how < 0.8:
        instants.insert(i, instants[i - 1])
        times = [*times[:i], *(time + 1 for time in times[i - 1 :])]
    else:
        j = random.randrange(1, len(instants))
        instants[i], instants[j] = instants[j], instants[i]
    return Run(tuple(instants), (StepEvents(),) * len(instants), times=tuple(times))


def without_ticks(run: Run) -> Run:
    """The run with as few instants as say the same: those before which something changes, and the last."""
    assert run.times is not None
    last = len(run) - 1
    kept = [i for i in range(len(run)) if i in (0, last) or run.instants[i] != run.instants[i - 1]]
    return Run(
        tuple(run.instants[i] for i in kept),
        tuple(run.events[i] for i in kept),
        times=tuple(run.times[i] for i in kept),
    )


@pytest.mark.parametrize("timed", [False, True])
def test_a_run_is_followed_exactly_when_it_is_one(timed: bool) -> None:
    followed = refused = 0
    for seed in SEEDS:
        random = Random(seed)
        simulator = random_simulator(random, timed)
        walked, _ = random_walk(random, simulator, 25)
        if len(walked) < 2:
            continue
        mutants = [mutant(random, walked) for _ in range(MUTANTS)]
        for run in [walked, *(changed for changed in mutants if changed.instants[0] == walked.instants[0])]:
            full = with_every_tick(run).run if timed else run
            times = list(full.times or ()) if timed else None
            is_one = WholeRun(simulator.netlist, list(full.instants), times).is_one()
            assert is_one or run is not walked, f"seed {seed}"
            assert is_followed(simulator, run) is is_one, f"seed {seed}"
            followed += is_one
            refused += not is_one
    assert followed > 150
    assert refused > 300


def test_ticks_need_not_be_written_down() -> None:
    shorter = 0
    for seed in SEEDS:
        random = Random(seed)
        simulator = random_simulator(random, True)
        run, _ = random_walk(random, simulator, 25)
        short = without_ticks(run)
        shorter += len(short) < len(run)
        assert simulator.follow(short) == simulator.follow(run), f"seed {seed}"
    assert shorter > 50


def test_every_successor_is_reached_by_following() -> None:
    for seed in range(40):
        random = Random(seed)
        simulator = random_simulator(random, True)
        run, _ = random_walk(random, simulator, 10)
        assert run.times is not None
        states: frozenset[DelayState] = simulator.follow(run)
        for state in states:
            for move, following in simulator.successors(state):
                longer = replace(
                    run,
                    instants=(*run.instants, following.values),
                    events=(*run.events, StepEvents()),
                    times=(*run.times, run.times[-1] + (0 if move.nets else 1)),
                )
                assert following in simulator.follow(longer), f"seed {seed}"
