"""Runs with other values in place of all that was said not to matter, lived through by the plain simulator.

The solver said that each of them breaks (shows) the claim at the same step. Nothing of that is believed here: the
simulator reads the netlist, and the claim is judged by its textbook meaning. All input sequences are tried where there
are few, else a sample that is the same on every call.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from itertools import product
from random import Random

from verifier.circuit.netlist import NetId
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.formula import Eventually, Never
from verifier.claims.meaning import first_breach
from verifier.claims.run import Instant, Run, StepEvents
from verifier.errors import InternalDisagreement
from verifier.evidence.budget import SimulationLimit
from verifier.evidence.explanation import Reason, Tried
from verifier.evidence.simulator import Simulator

MOST_SEQUENCES = 256
MOST_PREFIXES = 4000
"""Of the search for input sequences."""
MOST_WAYS = 512
"""Of the circuit through one input sequence."""
MOST_SECONDS = 2.0
MOST_FREE_BITS = 6
"""Up to so many, every way in which the inputs may change is tried at a step."""
SAMPLED_CHANGES = 24

Inputs = tuple[bool, ...]
"""In the order of `Netlist.input_nets`."""


def other_runs(design: Design, claim: Claim, reason: Reason, simulator: Simulator) -> Tried | None:
    """What became of input sequences that agree with what matters; None when it was too much for the simulator.

    Where what matters is all among the values of nets, every way of the circuit must break (show) the claim; where it
    matters how the circuit chooses, some way must.

    `design` has the givens that restrict the claim's view, and none about the future.

    Raises:
        InternalDisagreement: it is not so.
    """
    started = time.monotonic()
    sequences, every = _Sequences(design, reason).found(started + MOST_SECONDS / 2)
    living = _Living(design, claim, reason, simulator)
    tried = differing = 0
    shown = tuple(tuple(instant[net] for net in design.netlist.input_nets) for instant in reason.run.instants)
    for sequence in sequences:
        if time.monotonic() > started + MOST_SECONDS:
            every = False
            break
        try:
            if living.breaks(sequence):
                tried += 1
                differing += sequence != shown
        except SimulationLimit:
            every = False
    return Tried(runs=tried, every=every, differing=differing) if tried else None


class _Sequences:
    """The permitted input sequences that agree with the pins that matter."""

    def __init__(self, design: Design, reason: Reason) -> None:
        self._netlist = design.netlist
        self._nets = design.netlist.input_nets
        self._rules = Simulator(design.netlist)
        shown = reason.run.instants
        pins = {pin.name: pin.nets for pin in self._netlist.inputs}
        self._wanted: list[dict[NetId, bool]] = [{} for _ in shown]
        for name, step in reason.pins:
            self._wanted[step].update({net: shown[step][net] for net in pins[name]})
        self._length = len(shown)
        self._shown = tuple(tuple(instant[net] for net in self._nets) for instant in shown)
        self._all_changes = True

    def found(self, deadline: float) -> tuple[list[tuple[Inputs, ...]], bool]:
        """As many as are tried, and whether these are all. What is shown is among them."""
        kept = {self._shown: None, **dict.fromkeys(self._search(Random(1)))}
        every = len(kept) < MOST_SEQUENCES and self._finished and self._all_changes
        if not every:
            for seed in range(2, MOST_SEQUENCES):
                if time.monotonic() > deadline:
                    break
                kept.update(dict.fromkeys(self._search(Random(seed), most=1)))
        return list(kept), every

    def _search(self, random: Random, most: int = MOST_SEQUENCES) -> Iterator[tuple[Inputs, ...]]:
        self._finished = False
        pending: list[tuple[Inputs, ...]] = [(inputs,) for inputs in self._changes(None, 0, random)]
        found = 0
        for _ in range(MOST_PREFIXES):
            if not pending or found == most:
                break
            prefix = pending.pop()
            if len(prefix) == self._length:
                found += 1
                yield prefix
                continue
            pending.extend((*prefix, inputs) for inputs in self._changes(prefix[-1], len(prefix), random))
        self._finished = not pending

    def _changes(self, old: Inputs | None, step: int, random: Random) -> list[Inputs]:
        """Ways in which the inputs may go on, with the wanted values at this step; in random order."""
        wanted = self._wanted[step]
        free = [net for net in self._nets if net not in wanted]
        start = dict(zip(self._nets, old or (False,) * len(self._nets), strict=True))
        if len(free) <= MOST_FREE_BITS:
            choices = [dict(zip(free, bits, strict=True)) for bits in product((False, True), repeat=len(free))]
        elif old is None:
            self._all_changes = False
            choices = [{net: random.random() < 0.5 for net in free} for _ in range(SAMPLED_CHANGES)]
        else:
            self._all_changes = False
            choices = [{}, *({net: not start[net]} for net in random.sample(free, SAMPLED_CHANGES % len(free)))]
        following = [tuple({**start, **choice, **wanted}[net] for net in self._nets) for choice in choices]
        random.shuffle(following)
        return [inputs for inputs in following if old is None or self._is_permitted(old, inputs)]

    def _is_permitted(self, old: Inputs, new: Inputs) -> bool:
        return self._rules.permitted_change(self._instant(old), self._instant(new))

    def _instant(self, inputs: Inputs) -> Instant:
        """With the inputs alone: the rules about them look at nothing else."""
        values = dict(zip(self._nets, inputs, strict=True))
        return tuple(values.get(net, False) for net in range(len(self._netlist.nets)))


Way = tuple[tuple[Instant, ...], tuple[StepEvents, ...]]


class _Living:
    """The ways of the circuit through an input sequence."""

    def __init__(self, design: Design, claim: Claim, reason: Reason, simulator: Simulator) -> None:
        self._design, self._claim, self._simulator = design, claim, simulator
        self._nets = design.netlist.input_nets
        self._some_way_does = bool(reason.unseen)
        self._start = {at.net: reason.run.instants[0][at.net] for at in reason.chances if at.step == 0}
        formula = claim.formula
        if claim.kind is ClaimKind.CAN:
            formula = Never(operand=formula.operand if isinstance(formula, Eventually) else formula)
        self._kept = formula

    def breaks(self, sequence: tuple[Inputs, ...]) -> bool:
        """True when the claim is broken (shown); False when no permitted way goes through the sequence.

        Raises InternalDisagreement when it is not broken though it should be, SimulationLimit when there is too much.
        """
        ways = self._ways(sequence)
        if not ways:
            return False
        broken = [first_breach(self._kept, Run(*way)) is not None for way in ways]
        if all(broken) or (self._some_way_does and any(broken)):
            return True
        if self._some_way_does and self._design.givens:
            return False  # the way that was meant may be one that the givens do not permit
        raise InternalDisagreement(
            f"circuit {self._design.name}, claim {self._claim.name}: something was said not to matter, but with "
            "another value there the run does not do what it did"
        )

    def _ways(self, sequence: tuple[Inputs, ...]) -> list[Way]:
        inputs = [dict(zip(self._nets, values, strict=True)) for values in sequence]
        ways: list[Way] = [
            ((instant,), (events,)) for instant, events in self._simulator.first_instants(inputs[0], self._start)
        ]
        for new_inputs in inputs[1:]:
            if len(ways) > MOST_WAYS:
                raise SimulationLimit(f"more than {MOST_WAYS} ways through one input sequence")
            ways = [
                ((*instants, outcome.instant), (*events, outcome.events))
                for instants, events in ways
                for outcome in self._simulator.step(instants[-1], new_inputs)
            ]
        return [way for way in ways if self._is_permitted(Run(*way))]

    def _is_permitted(self, run: Run) -> bool:
        return all(first_breach(given.formula, run) is None for given in self._design.givens)
