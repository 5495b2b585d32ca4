"""One round of a step (grammar/README.md, 12.2).

What flip-flops sample at its end is said in `sampling.py`; how rounds follow one another, in `simulator.py`.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

from verifier.circuit.netlist import (
    Driver,
    Edge,
    FlipFlop,
    Gate,
    Latch,
    NetId,
    Netlist,
    SetReset,
)
from verifier.claims.run import Instant
from verifier.evidence.branching import Happened, Way, settlings
from verifier.evidence.budget import Budget
from verifier.evidence.pulses import is_gate_restless, is_taken_away
from verifier.evidence.race import RaceTable
from verifier.evidence.settling_order import Part, SettlingOrder, combinational_pins
from verifier.evidence.three_valued import (
    asynchronous_target,
    gate_value,
    is_active,
    is_doubly_forced,
    is_forced,
    set_reset_target,
)

EITHER = (False, True)

Bases = Mapping[NetId, tuple[bool, ...]]
"""What each storage element may carry into a round; one that is not in it carries its value in the round before."""


@dataclass(frozen=True, kw_only=True)
class RoundStart:
    number: int
    """Counts from 1."""
    before: Instant
    """`v[k-1]`."""
    inputs: Mapping[NetId, bool]
    """The value of every input net in this step."""
    bases: Bases = field(default_factory=dict)
    opened: frozenset[NetId] = frozenset()
    """Outputs of the latches that opened in round `k - 1`."""
    held: NetId | None = None
    """The clock net that is held when a round is worked out again to see what would have moved without it."""


@dataclass(frozen=True, kw_only=True)
class RoundEnd:
    values: Instant
    """`v[k]`."""
    carried: Instant
    """What each storage element carried into the round; the value in `v[k-1]` for inputs and gates."""
    restless: frozenset[NetId]
    happened: Happened
    is_followed: bool
    """A clock edge or an opening has to be followed in another round; a pulse that is felt is not looked for here."""


def has_edge(flip_flop: FlipFlop, before: Instant, after: Instant) -> bool:
    old, new = before[flip_flop.clock], after[flip_flop.clock]
    return old != new and new == (flip_flop.edge is Edge.RISE)


def opened_latches(netlist: Netlist, before: Instant, after: Instant) -> Iterator[NetId]:
    """Outputs of the latches whose enable became active."""
    return (
        latch.output
        for latch in netlist.latches
        if is_active(latch.enable, after) and not is_active(latch.enable, before)
    )


class RoundSearch:
    """Every way one round can go."""

    def __init__(
        self,
        netlist: Netlist,
        order: SettlingOrder,
        start: RoundStart,
        *,
        races: RaceTable,
        budget: Budget,
        expected: Instant | None = None,
    ) -> None:
        """With `expected`, ways that cannot end in this instant are left out where that shows at once."""
        self._netlist = netlist
        self._order = order
        self._start = start
        self._races = races
        self._budget = budget
        self._expected = expected
        # `v[k]` as far as it is settled, and what each element carried into the round.
        self._values = list(start.before)
        self._carried = list(start.before)
        self._restless: set[NetId] = set()
        # Whether no further round can follow; set when the deciding parts have settled.
        self._last_was_decided = False

    def ends(self) -> Iterator[RoundEnd]:
        for net, value in self._start.inputs.items():
            self._values[net] = value
        if self._start.held is not None:
            self._values[self._start.held] = self._start.before[self._start.held]
        for happened in settlings(self._order.parts, self._settle, self._ways_of, self._budget):
            values = tuple(self._values)
            released = any(
                is_doubly_forced(flip_flop, self._start.before) and not is_forced(flip_flop, values)
                for flip_flop in self._netlist.flip_flops
            )
            yield RoundEnd(
                values=values,
                carried=tuple(self._carried),
                restless=frozenset(self._restless),
                happened=happened.joined_with(Happened(raced=released)),
                is_followed=self._is_followed(),
            )

    def _settle(self, part: Part, way: Way) -> None:
        for i, element in enumerate(part.elements):
            self._values[element.output] = way.values[i]
            if way.carried:
                self._carried[element.output] = way.carried[i]
            if way.restless and way.restless[i]:
                self._restless.add(element.output)
            else:
                self._restless.discard(element.output)

    def _is_followed(self) -> bool:
        before, values = self._start.before, tuple(self._values)
        return any(has_edge(flip_flop, before, values) for flip_flop in self._netlist.flip_flops) or any(
            True for _ in opened_latches(self._netlist, before, values)
        )

    def _ways_of(self, index: int) -> Iterator[Way]:
        if index == self._order.deciding:
            may_be_felt = not self._restless.isdisjoint(self._order.felt_pins)
            self._last_was_decided = not (may_be_felt or self._is_followed())
        # Kept by this call: when it is resumed for its next way, later parts may have set the attribute anew.
        is_last = index >= self._order.deciding and self._last_was_decided
        part = self._order.parts[index]
        for way in self._ways_of_loop(part) if part.is_loop else self._ways_of_lone(part.elements[0], is_last):
            if self._expected is None or self._can_still_match(part, way, self._expected, is_last):
                yield way

    def _can_still_match(self, part: Part, way: Way, expected: Instant, is_last: bool) -> bool:
        if not is_last and (part.is_loop or not self._is_final(part.elements[0])):
            return True
        return all(value == expected[element.output] for element, value in zip(part.elements, way.values, strict=True))

    def _is_final(self, element: Driver) -> bool:
        """No later round of this step can move the element, whatever happens elsewhere."""
        fixed = self._order.follows_inputs
        if isinstance(element, Gate):
            return element.output in fixed
        if isinstance(element, Latch):
            return element.enable.net in fixed and not is_active(element.enable, self._values)
        if isinstance(element, SetReset):
            return False
        pins = [element.clock, *(level.net for level in (element.clear, element.preset) if level is not None)]
        return self._start.number > 1 and fixed.issuperset(pins)

    # Elements outside loops

    def _ways_of_lone(self, element: Driver, is_last: bool) -> Iterator[Way]:
        if element.output == self._start.held:
            yield Way(values=(self._start.before[element.output],))
        elif isinstance(element, Gate):
            yield self._way_of_gate(element)
        elif isinstance(element, Latch):
            yield from self._ways_of_latch(element)
        elif isinstance(element, SetReset):
            yield from self._ways_of_set_reset(element)
        else:
            yield from self._ways_of_flip_flop(element, is_last)

    def _way_of_gate(self, gate: Gate) -> Way:
        value = gate_value(gate.kind, [self._values[pin] for pin in gate.inputs]) is True
        if self._restless and is_gate_restless(gate, self._start.before, self._values, self._restless):
            return Way(values=(value,), restless=(True,))
        return Way(values=(value,))

    def _ways_of_latch(self, latch: Latch) -> Iterator[Way]:
        passes_pulses = is_active(latch.enable, self._start.before) and latch.data in self._restless
        for base in self._bases_of(latch):
            for value in self._latch_values(latch, base):
                yield self._way_of_storage(latch, base, value, is_restless=passes_pulses)

    def _latch_values(self, latch: Latch, base: bool) -> tuple[bool, ...]:
        old_data, new_data = self._start.before[latch.data], self._values[latch.data]
        if not is_active(latch.enable, self._start.before):
            return (base,)
        if is_active(latch.enable, self._values):
            return (new_data,)
        is_quiet = old_data == new_data == base and latch.data not in self._restless
        return (base,) if is_quiet or self._start.held is not None else EITHER

    def _way_of_storage(
        self, element: Driver, base: bool, value: bool, *, raced: bool = False, is_restless: bool = False
    ) -> Way:
        is_restless = is_restless or is_taken_away(base, self._start.before[element.output], value)
        return Way(values=(value,), carried=(base,), raced=raced, restless=(is_restless,))

    def _ways_of_set_reset(self, element: SetReset) -> Iterator[Way]:
        for base in self._bases_of(element):
            if self._is_at_rest((element,), (base,)):
                yield self._way_of_storage(element, base, base)
                continue
            value = set_reset_target(self._values[element.set], self._values[element.reset], own=base, both=None)
            for choice in EITHER if value is None else (value,):
                yield self._way_of_storage(element, base, choice, raced=value is None)

    def _ways_of_flip_flop(self, flip_flop: FlipFlop, is_last: bool) -> Iterator[Way]:
        offered: set[tuple[bool, tuple[bool, ...]]] = set()
        for base in self._bases_of(flip_flop):
            value = asynchronous_target(flip_flop, self._values, base) is True
            way = self._way_of_storage(flip_flop, base, value)
            # A base that does not show, not even as a pulse, matters only to what is sampled after this round.
            if not (is_last and (value, way.restless) in offered):
                offered.add((value, way.restless))
                yield way

    def _bases_of(self, element: Driver, loop: Container[NetId] = ()) -> tuple[bool, ...]:
        """What the element may carry into the round; either value after both asynchronous pins were let go outside."""
        if self._start.held is None and isinstance(element, FlipFlop) and is_doubly_forced(element, self._start.before):
            pins = [level.net for level in (element.clear, element.preset) if level is not None]
            if not any(pin in loop for pin in pins) and not is_forced(element, self._values):
                return EITHER
        return self._start.bases.get(element.output, (self._start.before[element.output],))

    def _is_at_rest(self, elements: Sequence[Driver], carried: Sequence[bool]) -> bool:
        """Round 2 and later: nothing around changed, nothing carried differs, and no latch has just opened."""
        before = self._start.before
        if self._start.number == 1:
            return False
        return (
            all(before[pin] == self._values[pin] for pin in self._pins_around(elements))
            and all(before[element.output] == base for element, base in zip(elements, carried, strict=True))
            and not any(element.output in self._start.opened for element in elements)
        )

    def _pins_around(self, elements: Sequence[Driver]) -> Iterator[NetId]:
        inside = {element.output for element in elements}
        return (pin for element in elements for pin in combinational_pins(element) if pin not in inside)

    # Loops

    def _ways_of_loop(self, part: Part) -> Iterator[Way]:
        for carried in product(*(self._bases_of(element, part.nets) for element in part.elements)):
            before = tuple(self._start.before[net] for net in part.nets)
            if self._is_at_rest(part.elements, carried) and not self._is_disturbed(part):
                yield Way(values=before, carried=carried)
                continue
            start = self._with_held_clock(part, carried)
            race = self._races.end(
                part.elements,
                self._values,
                start,
                before=self._start.before,
                held=self._start.held,
                restless=self._restless,
                budget=self._budget,
            )
            for outcome in race.outcomes:
                yield Way(
                    values=outcome.state,
                    carried=carried,
                    restless=race.restless_members(start, before, outcome.state),
                    raced=len(race.outcomes) > 1,
                    oscillated=not outcome.is_stable,
                )

    def _is_disturbed(self, part: Part) -> bool:
        """Some net around the loop is restless."""
        return bool(self._restless) and any(pin in self._restless for pin in self._pins_around(part.elements))

    def _with_held_clock(self, part: Part, carried: tuple[bool, ...]) -> tuple[bool, ...]:
        """The carried values, but a clock that is held stands where it stood before the round."""
        return tuple(
            self._start.before[net] if net == self._start.held else base
            for net, base in zip(part.nets, carried, strict=True)
        )
