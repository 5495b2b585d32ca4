"""Every outcome of every step in the settled view (grammar/README.md, 12.1 to 12.3 and 12.7), by plain enumeration."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

from oracle.pulses import RoundEnd, felt_values, gate_is_restless, storage_is_restless, takes
from oracle.races import Race, Raced
from oracle.targets import (
    Part,
    Structure,
    Values,
    asynchronous_target,
    combinational_pins,
    gate_target,
    is_active,
    set_reset_targets,
)
from verifier.circuit.netlist import Edge, FlipFlop, Gate, InputClass, Latch, NetId, SetReset, Storage
from verifier.claims.run import Instant

Inputs = tuple[bool, ...]
"""One value for each net of `Netlist.input_nets`."""
Bases = tuple[bool, ...]
"""One value for each element of `Structure.storage`."""


@dataclass(frozen=True)
class Settled:
    """One way one round can come out."""

    instant: Instant
    raced: bool
    oscillated: bool
    restless: frozenset[NetId]


@dataclass(frozen=True)
class Settling:
    """A round under way: the nets settled so far."""

    values: dict[NetId, bool]
    raced: bool = False
    oscillated: bool = False
    restless: frozenset[NetId] = frozenset()

    def with_values(
        self,
        more: dict[NetId, bool],
        raced: bool = False,
        oscillated: bool = False,
        restless: frozenset[NetId] = frozenset(),
    ) -> Settling:
        return Settling(
            {**self.values, **more},
            self.raced or raced,
            self.oscillated or oscillated,
            self.restless | restless,
        )

    def finished(self) -> Settled:
        instant = tuple(self.values[net] for net in range(len(self.values)))
        return Settled(instant, self.raced, self.oscillated, self.restless)


@dataclass(frozen=True)
class Progress:
    """A step under way: what later rounds need to know of the earlier ones."""

    instant: Instant
    bases: Bases
    changed: frozenset[NetId]
    """Nets that changed between any two neighbouring rounds so far, the instant before the step included."""
    let_go: frozenset[NetId]
    """Flip-flops whose clear or preset was active before the step or after any round so far, or restless in one."""
    opened: frozenset[NetId] | None = None
    """Latches that opened in the round before; None before round 1."""
    restless: frozenset[NetId] = frozenset()
    """Nets that were restless in any round so far."""
    raced: bool = False
    oscillated: bool = False
    felt: bool = False


@dataclass(frozen=True)
class StepOutcome:
    instant: Instant
    raced: bool
    oscillated: bool
    changed: frozenset[NetId]
    restless: frozenset[NetId]
    """Nets that were restless in any of its rounds."""
    felt: bool
    """Whether a pulse was felt after any of its rounds."""

    @property
    def moved(self) -> frozenset[NetId]:
        return self.changed | self.restless


class Steps:
    """The step relation of one circuit."""

    def __init__(self, structure: Structure) -> None:
        self.structure = structure
        self.netlist = structure.netlist
        self._races: dict[object, Raced] = {}
        counted = len(self.netlist.flip_flops) + len(self.netlist.latches)
        self.most_rounds = 2 * counted + 2

    # Inputs (12.1)

    def inputs_at(self, instant: Instant) -> Inputs:
        return tuple(instant[net] for net in self.netlist.input_nets)

    def permitted_inputs(self, instant: Instant) -> set[Inputs]:
        """What the inputs may be after a step from this instant."""
        before = self.inputs_at(instant)
        possible = product((False, True), repeat=len(before))
        return {after for after in possible if self._may_change(dict(self._changed(before, after)))}

    def _changed(self, before: Inputs, after: Inputs) -> Iterator[tuple[str, InputClass]]:
        position = 0
        for pin in self.netlist.inputs:
            end = position + len(pin.nets)
            if before[position:end] != after[position:end]:
                yield pin.name, pin.input_class
            position = end

    def _may_change(self, changed: dict[str, InputClass]) -> bool:
        changed = {name: kind for name, kind in changed.items() if kind is not InputClass.FLOATING}
        classes = set(changed.values())
        if InputClass.STRAPPED in classes:
            return False
        if len(changed) <= 1:
            return True
        return self.netlist.inputs_may_change_together and InputClass.BY_HAND not in classes

    # Steps (12.3)

    def step(self, first: Instant, inputs: Inputs) -> frozenset[StepOutcome]:
        """Everything a step from `first` with the new values of the inputs can come to."""
        ended: set[StepOutcome] = set()
        let_go = frozenset(part.output for part in self.netlist.flip_flops if self._is_forced(part, first))
        pending = {Progress(first, tuple(first[part.output] for part in self.structure.storage), frozenset(), let_go)}
        for number in range(1, self.most_rounds + 1):
            pending = set(self._one_round(first, inputs, pending, ended, number == self.most_rounds))
        return frozenset(ended)

    def _one_round(
        self, first: Instant, inputs: Inputs, pending: set[Progress], ended: set[StepOutcome], is_last: bool
    ) -> Iterator[Progress]:
        for progress in pending:
            before = progress.instant
            for settled in self.settle(progress, inputs):
                after = settled.instant
                changed = progress.changed | {net for net in range(len(after)) if after[net] != before[net]}
                restless = progress.restless | settled.restless
                raced = progress.raced or settled.raced or any(self._released(before, after))
                oscillated = progress.oscillated or settled.oscillated
                opened = self._opened(before, after)
                due = bool(opened) or any(self._has_edge(part, before, after) for part in self.netlist.flip_flops)
                let_go = progress.let_go | {
                    part.output
                    for part in self.netlist.flip_flops
                    if self._is_forced(part, after) or combinational_pins(part) & settled.restless
                }
                end = RoundEnd(first, before, after, settled.restless, changed | restless)
                for bases, is_felt in self._carried(progress, inputs, end):
                    felt = progress.felt or is_felt
                    if is_last or not (due or is_felt):
                        unfinished = due or is_felt
                        ended.add(
                            StepOutcome(after, raced or is_felt, oscillated or unfinished, changed, restless, felt)
                        )
                    else:
                        yield Progress(
                            after, bases, changed, let_go, opened, restless, raced or is_felt, oscillated, felt
                        )

    def _is_forced(self, flip_flop: FlipFlop, values: Values) -> bool:
        return is_active(flip_flop.clear, values) or is_active(flip_flop.preset, values)

    def _has_both_active(self, flip_flop: FlipFlop, values: Values) -> bool:
        return is_active(flip_flop.clear, values) and is_active(flip_flop.preset, values)

    def _released(self, before: Values, after: Values) -> Iterator[FlipFlop]:
        """Flip-flops whose clear and preset were both active and are both inactive now."""
        for part in self.netlist.flip_flops:
            if self._has_both_active(part, before) and not self._is_forced(part, after):
                yield part

    def _opened(self, before: Instant, after: Instant) -> frozenset[NetId]:
        return frozenset(
            part.output
            for part in self.netlist.latches
            if is_active(part.enable, after) and not is_active(part.enable, before)
        )

    def _has_edge(self, flip_flop: FlipFlop, before: Instant, after: Instant) -> bool:
        went = (before[flip_flop.clock], after[flip_flop.clock])
        return went == ((False, True) if flip_flop.edge is Edge.RISE else (True, False))

    def _carried(self, progress: Progress, inputs: Inputs, end: RoundEnd) -> Iterator[tuple[Bases, bool]]:
        """The bases that the next round may start with, each with whether a pulse was felt."""
        choices: list[set[tuple[bool, bool]]] = []
        for part in self.structure.storage:
            is_in_loop = self._loop_of(part.output).is_loop
            possible: set[tuple[bool, bool]] = set()
            for carried in self._without_pulses(part, progress, inputs, end):
                felt = felt_values(part, is_in_loop, carried, end) - {carried}
                possible |= {(value, bool(felt)) for value in {carried} | felt}
            choices.append(possible)
        for picked in product(*choices):
            yield tuple(value for value, _ in picked), any(is_felt for _, is_felt in picked)

    def _without_pulses(self, part: Storage, progress: Progress, inputs: Inputs, end: RoundEnd) -> set[bool]:
        own = end.after[part.output]
        if not isinstance(part, FlipFlop) or not self._has_edge(part, end.before, end.after):
            return {own}
        if self._is_forced(part, end.after):
            return {own}
        readings = [self._reading(part, pin, progress, inputs, end) for pin in part.data]
        taken = {takes(part.kind, own, pins) for pins in product(*readings)}
        is_let_go = part.output in progress.let_go or bool(combinational_pins(part) & end.restless)
        return taken | {own} if is_let_go else taken

    def _reading(self, part: FlipFlop, pin: NetId, progress: Progress, inputs: Inputs, end: RoundEnd) -> set[bool]:
        if pin in progress.changed or pin in progress.restless:
            return {False, True}
        if end.after[pin] != end.before[pin] or pin in end.restless:
            again = self.settle(self._as_it_was_carried(progress, end.after), inputs, held=part.clock)
            if any(other.instant[pin] != end.before[pin] or pin in other.restless for other in again):
                return {False, True}
        return {end.first[pin]}

    def _as_it_was_carried(self, progress: Progress, after: Instant) -> Progress:
        """With the bases of the round that led to `after`: one that was chosen then is the value it came out with."""
        chosen = {part.output for part in self._released(progress.instant, after) if self._is_chosen(part)}
        bases = [
            after[part.output] if part.output in chosen else base
            for part, base in zip(self.structure.storage, progress.bases, strict=True)
        ]
        return replace(progress, bases=tuple(bases))

    def _is_chosen(self, part: FlipFlop) -> bool:
        """Clear and preset both come from outside its own loop: let go of together, it carries either value."""
        loop = self._loop_of(part.output)
        return not (loop.is_loop and combinational_pins(part) & set(loop.members))

    def _loop_of(self, net: NetId) -> Part:
        return next(part for part in self.structure.parts if net in part.members)

    # Rounds (12.2)

    def settle(self, progress: Progress, inputs: Inputs, held: NetId | None = None) -> set[Settled]:
        """All outcomes of the round after `progress`. A held net keeps its value; then nothing is chosen anew."""
        base_of = {part.output: base for part, base in zip(self.structure.storage, progress.bases, strict=True)}
        input_of = dict(zip(self.netlist.input_nets, inputs, strict=True))
        branches = [Settling({})]
        for part in self.structure.parts:
            net = part.members[0]
            if net in input_of and net != held:
                branches = [branch.with_values({net: input_of[net]}) for branch in branches]
            elif part.members == (held,):
                branches = [branch.with_values({net: progress.instant[net]}) for branch in branches]
            else:
                branches = [
                    following
                    for branch in branches
                    for bases in self._bases(part, progress.instant, base_of, branch.values, held)
                    for following in self._settle_part(part, progress, bases, branch, held)
                ]
        self.structure.work.spend(4 * len(branches))
        return {branch.finished() for branch in branches}

    def _bases(
        self, part: Part, before: Instant, base_of: dict[NetId, bool], values: dict[NetId, bool], held: NetId | None
    ) -> Iterator[dict[NetId, bool]]:
        """The bases with which this part goes on: either value for a flip-flop that is let go of by both pins."""
        chosen: list[NetId] = []
        for net in part.members:
            element = self.structure.drivers[net]
            if held is not None or not isinstance(element, FlipFlop) or not self._has_both_active(element, before):
                continue
            if self._is_chosen(element) and not self._is_forced(element, values):
                chosen.append(net)
        for picked in product((False, True), repeat=len(chosen)):
            yield {**base_of, **dict(zip(chosen, picked, strict=True))}

    def _settle_part(
        self, part: Part, progress: Progress, base_of: dict[NetId, bool], branch: Settling, held: NetId | None
    ) -> Iterator[Settling]:
        before = progress.instant
        if self._keeps_its_values(part, progress, base_of, branch):
            yield branch.with_values({net: before[net] for net in part.members})
        elif part.is_loop:
            raced = self._race(part, before, base_of, branch, held)
            for outcome in raced.outcomes:
                values = dict(zip(part.members, outcome.values, strict=True))
                restless = frozenset(net for net in values if raced.is_restless(net, before, values))
                yield branch.with_values(values, len(raced.outcomes) > 1, not outcome.stable, restless)
        else:
            net = part.members[0]
            possible, races = self._single(net, before, base_of, branch, held is not None)
            for value in possible:
                settled = branch.with_values({net: value}, races)
                is_restless = self._is_restless(net, before, base_of, settled)
                yield settled.with_values({}, restless=frozenset({net}) if is_restless else frozenset())

    def _is_restless(self, net: NetId, before: Instant, base_of: dict[NetId, bool], settled: Settling) -> bool:
        element = self.structure.drivers.get(net)
        if element is None:
            return False
        if isinstance(element, Gate):
            return gate_is_restless(element, before, settled.values, settled.restless)
        return storage_is_restless(element, base_of[net], before, settled.values, settled.restless)

    def _outside(self, part: Part) -> frozenset[NetId]:
        pins = (combinational_pins(self.structure.drivers[net]) for net in part.members)
        return frozenset().union(*pins) - set(part.members)

    def _keeps_its_values(self, part: Part, progress: Progress, base_of: dict[NetId, bool], branch: Settling) -> bool:
        """In round 2 and later: a loop, or a set-reset latch, round which nothing has happened."""
        if progress.opened is None or not (part.is_loop or net_is_set_reset(self.structure, part.members[0])):
            return False
        before = progress.instant
        outside = self._outside(part)
        return (
            all(branch.values[net] == before[net] for net in outside)
            and all(base_of[net] == before[net] for net in part.members if net in base_of)
            and not (part.is_loop and outside & branch.restless)
            and not progress.opened & set(part.members)
        )

    def _single(
        self, net: NetId, before: Instant, base_of: dict[NetId, bool], branch: Settling, keeps_base: bool
    ) -> tuple[set[bool], bool]:
        """What a member outside loops can come to, and whether that is a race."""
        element = self.structure.drivers[net]
        values = branch.values
        if isinstance(element, Gate):
            return {gate_target(element, values)}, False
        base = base_of[net]
        if isinstance(element, FlipFlop):
            return {asynchronous_target(element, values, base)}, False
        if isinstance(element, SetReset):
            possible = set_reset_targets(element, values, base)
            return possible, len(possible) > 1
        return self._latch(element, before, base, branch, keeps_base), False

    def _latch(self, latch: Latch, before: Instant, base: bool, branch: Settling, keeps_base: bool) -> set[bool]:
        if not is_active(latch.enable, before):
            return {base}
        if is_active(latch.enable, branch.values):
            return {branch.values[latch.data]}
        is_quiet = latch.data not in branch.restless
        if keeps_base or (is_quiet and before[latch.data] == branch.values[latch.data] == base):
            return {base}
        return {False, True}

    def _race(
        self, loop: Part, before: Instant, base_of: dict[NetId, bool], branch: Settling, held: NetId | None
    ) -> Raced:
        start = {net: base_of.get(net, before[net]) for net in loop.members}
        if held in loop.members:
            start[held] = before[held]
        else:
            held = None
        values = branch.values
        restless = self._outside(loop) & branch.restless
        latches = [part for part in self.netlist.latches if part.output in loop.members]
        was_enabled = {part.output: is_active(part.enable, before) for part in latches}
        enables_before = {part.output: before[part.enable.net] for part in latches}
        key = (loop, tuple(start.values()), tuple(values.items()), tuple(enables_before.values()), held, restless)
        if key not in self._races:
            race = Race(self.structure, loop, values, was_enabled, held, restless)
            reached = race.reached(race.start(start, enables_before))
            self._races[key] = Raced(start, reached, frozenset(race.outcomes(reached.states)))
        return self._races[key]


def net_is_set_reset(structure: Structure, net: NetId) -> bool:
    return isinstance(structure.drivers.get(net), SetReset)
