"""Can a run of a faulty circuit be told from every run of the good one? The plain simulator's answer.

All instants of the good circuit that go with what its pins have shown so far are followed side by side. As soon as none
of them goes with what the faulty circuit shows, nobody who watches the pins can take the one for the other, whatever
the good circuit's power-up, races and free choices were.

The nets of the good circuit are nets of the faulty one too, under the same numbers; the faulty one may have more, and
more inputs.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, product
from operator import ne

from verifier.circuit.loops import components
from verifier.circuit.netlist import InputClass, NetId, Netlist
from verifier.claims.run import Instant, Run
from verifier.errors import InternalDisagreement
from verifier.evidence.simulator import Simulator

MOST_GOOD_INSTANTS = 2_000
"""So many power-up states and outcomes of the good circuit are followed side by side, and no more."""
MOST_STEPS_WALKED = 20_000
CANNOT_START = "the good circuit does not start with some inputs with which this one does"

Inputs = dict[NetId, bool]


class NotFollowed(Exception):
    """The two circuits could not be followed to the end; the message says why."""


@dataclass(frozen=True, kw_only=True)
class Telling:
    """A run of the faulty circuit whose last instant the good circuit cannot show after the others."""

    run: Run
    """Of the faulty circuit."""
    good: tuple[Instant, ...]
    """A run of the good circuit with the same inputs, and the same outputs up to the last instant but one. Of all such
    runs it begins most like the faulty one, and stays most like it."""
    good_ways: int
    """How many different things the outputs of the good circuit may show at the last instant."""


class Follower:
    """The good circuit and the faulty one, with what is known of their steps."""

    def __init__(self, good: Netlist, faulty: Netlist) -> None:
        self._good, self._faulty = Simulator(good), Simulator(faulty)
        self._outputs = [(net, other) for net, other in _output_pairs(good, faulty)]
        self._held = _holding_nets(good)
        self._good_steps: dict[tuple[Instant, tuple[bool, ...]], tuple[Instant, ...]] = {}

    def told_apart(self, instants: Sequence[Instant]) -> Telling | None:
        """What tells this run of the faulty circuit from every run of the good one; None when nothing does.

        Raises:
            InternalDisagreement: the faulty circuit has no such run.
            NotFollowed: the good circuit may be in too many states, or cannot start with these inputs at all.
            SimulationLimit: one step can go in too many ways.
        """
        run = self._lived_through(instants)
        sets: list[frozenset[Instant]] = []
        for index, instant in enumerate(run.instants):
            possible = self._good_first(instant) if index == 0 else self._good_after(sets[-1], instant)
            agreeing = frozenset(good for good in possible if self._agree(good, instant))
            if not agreeing:
                return self._telling(run, index, sets, possible)
            sets.append(agreeing)
        return None

    def _lived_through(self, instants: Sequence[Instant]) -> Run:
        first = self._faulty.is_first_instant(instants[0])
        if first is None:
            raise self._disagreement("cannot start like this", 0)
        events = [first]
        for index in range(1, len(instants)):
            before, after = instants[index - 1], instants[index]
            outcomes = self._faulty.outcomes_leading_to(before, after)
            if not self._faulty.permitted_change(before, after) or not outcomes:
                raise self._disagreement("has no such step", index)
            events.append(outcomes[0].events)
        return Run(tuple(instants), tuple(events))

    def _disagreement(self, what: str, index: int) -> InternalDisagreement:
        return InternalDisagreement(f"{self._faulty.netlist.name}, instant {index} of a run: the faulty circuit {what}")

    def _inputs(self, instant: Instant) -> Inputs:
        return {net: instant[net] for net in self._good.netlist.input_nets}

    def _good_first(self, instant: Instant) -> frozenset[Instant]:
        found: set[Instant] = set()
        for first, _ in self._good.first_instants(self._inputs(instant)):
            found.add(first)
            _allow(len(found))
        return frozenset(found)

    def _good_after(self, before: frozenset[Instant], instant: Instant) -> frozenset[Instant]:
        found: set[Instant] = set()
        for good in before:
            found.update(self._good_step(good, self._inputs(instant)))
            _allow(len(found))
        return frozenset(found)

    def _good_step(self, instant: Instant, inputs: Inputs) -> tuple[Instant, ...]:
        key = (instant, tuple(inputs.values()))
        if key not in self._good_steps:
            outcomes = self._good.step(instant, inputs)
            self._good_steps[key] = tuple(dict.fromkeys(outcome.instant for outcome in outcomes))
        return self._good_steps[key]

    def _agree(self, good: Instant, faulty: Instant) -> bool:
        return all(good[net] == faulty[other] for net, other in self._outputs)

    def _telling(
        self, run: Run, index: int, sets: Sequence[frozenset[Instant]], possible: frozenset[Instant]
    ) -> Telling:
        """Pre: no possible instant of the good circuit agrees with the run at `index`."""
        if not possible:
            raise NotFollowed(CANNOT_START)
        ways = {tuple(good[net] for net, _ in self._outputs) for good in possible}
        cut = Run(run.instants[: index + 1], run.events[: index + 1])
        good = self._nearest(cut, self._leading_on(cut, [*sets[:index], possible]))
        return Telling(run=cut, good=good, good_ways=len(ways))

    def _leading_on(self, run: Run, sets: Sequence[frozenset[Instant]]) -> list[frozenset[Instant]]:
        """Of each set those instants from which the good circuit comes into the last set."""
        kept = [sets[-1]]
        for place in range(len(sets) - 2, -1, -1):
            inputs = self._inputs(run.instants[place + 1])
            kept.append(frozenset(one for one in sets[place] if not kept[-1].isdisjoint(self._good_step(one, inputs))))
        return kept[::-1]

    def _nearest(self, run: Run, sets: Sequence[frozenset[Instant]]) -> tuple[Instant, ...]:
        """Pre: each instant of a set leads into the next set."""
        path = [self._most_like(sets[0], run.instants[0])]
        for place in range(1, len(sets)):
            following = self._good_step(path[-1], self._inputs(run.instants[place]))
            path.append(self._most_like(sets[place].intersection(following), run.instants[place]))
        return tuple(path)

    def _most_like(self, possible: Iterable[Instant], faulty: Instant) -> Instant:
        """What is held counts first, so that a free choice at power-up is not taken for the fault; then what shows."""

        def distance(good: Instant) -> tuple[int, int, int, Instant]:
            held = sum(good[net] != faulty[net] for net in self._held)
            shown = sum(good[net] != faulty[other] for net, other in self._outputs)
            return held, shown, sum(map(ne, good, faulty)), good

        return min(possible, key=distance)

    # All runs

    def walked(self, deadline: float) -> Telling | None:
        """The shortest run of the faulty circuit that can be told from every one of the good; None: there is none.

        Raises NotFollowed when that takes too long; else as `told_apart`.
        """
        level: deque[tuple[tuple[Instant, ...], frozenset[Instant]]] = deque()
        left_out = False
        seen: set[tuple[Instant, frozenset[Instant]]] = set()
        for instant in self._faulty_first():
            possible = self._good_first(instant)
            agreeing = frozenset(good for good in possible if self._agree(good, instant))
            if not possible:
                left_out = True
                continue
            if not agreeing:
                return self.told_apart([instant])
            if (instant, agreeing) not in seen:
                seen.add((instant, agreeing))
                level.append(((instant,), agreeing))
        while level:
            way, good = level.popleft()
            for instant in self._faulty_after(way[-1]):
                if time.monotonic() > deadline or len(seen) > MOST_STEPS_WALKED:
                    raise NotFollowed("there was no time to walk all states of both circuits")
                agreeing = frozenset(one for one in self._good_after(good, instant) if self._agree(one, instant))
                if not agreeing:
                    return self.told_apart([*way, instant])
                if (instant, agreeing) not in seen:
                    seen.add((instant, agreeing))
                    level.append(((*way, instant), agreeing))
        if left_out:
            raise NotFollowed(CANNOT_START)
        return None

    def _faulty_first(self) -> Iterator[Instant]:
        nets = self._faulty.netlist.input_nets
        for values in product((False, True), repeat=len(nets)):
            for first, _ in self._faulty.first_instants(dict(zip(nets, values, strict=True))):
                yield first

    def _faulty_after(self, instant: Instant) -> Iterator[Instant]:
        """In every permitted way, waiting included."""
        for inputs in permitted_inputs(self._faulty.netlist, instant):
            for outcome in self._faulty.step(instant, inputs):
                yield outcome.instant


def permitted_inputs(netlist: Netlist, instant: Instant) -> Iterator[Inputs]:
    """Every way the inputs may change in the step after this instant, waiting first (grammar/README.md, 12.1)."""
    floating = [net for pin in netlist.inputs if pin.input_class is InputClass.FLOATING for net in pin.nets]
    for inputs in _permitted_changes(netlist, instant):
        yield inputs
        for beside in _changes(floating, instant):
            yield {**inputs, **beside}


def _permitted_changes(netlist: Netlist, instant: Instant) -> Iterator[Inputs]:
    """Of the pins that do not float."""
    yield {}
    movable = [pin for pin in netlist.inputs if pin.input_class not in (InputClass.STRAPPED, InputClass.FLOATING)]
    if not netlist.inputs_may_change_together:
        for pin in movable:
            yield from _changes(pin.nets, instant)
        return
    for pin in movable:
        if pin.input_class is InputClass.BY_HAND:
            yield from _changes(pin.nets, instant)
    others = tuple(net for pin in movable if pin.input_class is not InputClass.BY_HAND for net in pin.nets)
    yield from _changes(others, instant)


def _changes(nets: Sequence[NetId], instant: Instant) -> Iterator[Inputs]:
    now = tuple(instant[net] for net in nets)
    for values in product((False, True), repeat=len(nets)):
        if values != now:
            yield dict(zip(nets, values, strict=True))


def _output_pairs(good: Netlist, faulty: Netlist) -> Iterator[tuple[NetId, NetId]]:
    theirs = {pin.name: pin.nets for pin in faulty.outputs}
    for pin in good.outputs:
        yield from zip(pin.nets, theirs[pin.name], strict=True)


def _holding_nets(netlist: Netlist) -> tuple[NetId, ...]:
    """Outputs of storage, and the nets of loops."""
    storage = (netlist.flip_flops, netlist.latches, netlist.set_resets)
    held = dict.fromkeys(part.output for parts in storage for part in parts)
    loops = (component.outputs for component in components(netlist) if component.is_loop)
    return tuple(held | dict.fromkeys(chain.from_iterable(loops)))


def _allow(count: int) -> None:
    if count > MOST_GOOD_INSTANTS:
        raise NotFollowed(f"the good circuit may be in any of more than {MOST_GOOD_INSTANTS} states")
