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
from verifier.evidence.race import RaceTable
from verifier.evidence.settling_order import Part, SettlingOrder, combinational_pins
from verifier.evidence.three_valued import (
    asynchronous_target,
    gate_value,
    is_active,
    set_reset_target,
)

EITHER = (False, True)

Bases = Mapping[NetId, tuple[bool, ...]]
"""What each flip-flop may carry into a round; one that is not in it carries its value in the round before."""


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
    """What each flip-flop carried into the round; the value in `v[k-1]` for other nets outside loops."""
    happened: Happened
    is_last: bool
    """No clock edge and no opening follows from this round."""


def has_edge(flip_flop: FlipFlop, before: Instant, after: Instant) -> bool:
    old, new = before[flip_flop.clock], after[flip_flop.clock]
    return old != new and new == (flip_flop.edge is Edge.RISE)


def is_forced(flip_flop: FlipFlop, values: Sequence[bool]) -> bool:
    return is_active(flip_flop.clear, values) or is_active(flip_flop.preset, values)


def is_doubly_forced(flip_flop: FlipFlop, values: Sequence[bool]) -> bool:
    return is_active(flip_flop.clear, values) and is_active(flip_flop.preset, values)


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
        # Whether no further round can follow; set when the deciding parts have settled.
        self._last_was_decided = False

    def ends(self) -> Iterator[RoundEnd]:
        for net, value in self._start.inputs.items():
            self._values[net] = value
        if self._start.held is not None:
            self._values[self._start.held] = self._start.before[self._start.held]
        for happened in settlings(self._order.parts, self._values, self._carried, self._ways_of, self._budget):
            values = tuple(self._values)
            released = any(
                is_doubly_forced(flip_flop, self._start.before) and not is_forced(flip_flop, values)
                for flip_flop in self._netlist.flip_flops
            )
            yield RoundEnd(
                values=values,
                carried=tuple(self._carried),
                happened=happened.joined_with(Happened(raced=released)),
                is_last=not self._another_round_follows(),
            )

    def _another_round_follows(self) -> bool:
        before, values = self._start.before, tuple(self._values)
        return any(has_edge(flip_flop, before, values) for flip_flop in self._netlist.flip_flops) or any(
            True for _ in opened_latches(self._netlist, before, values)
        )

    def _ways_of(self, index: int) -> Iterator[Way]:
        if index == self._order.deciding:
            self._last_was_decided = not self._another_round_follows()
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
            yield Way(values=(gate_value(element.kind, [self._values[pin] for pin in element.inputs]) is True,))
        elif isinstance(element, Latch):
            yield from (Way(values=(value,)) for value in self._latch_values(element))
        elif isinstance(element, SetReset):
            yield from self._ways_of_set_reset(element)
        else:
            yield from self._ways_of_flip_flop(element, is_last)

    def _latch_values(self, latch: Latch) -> tuple[bool, ...]:
        before, base = self._start.before, self._start.before[latch.output]
        old_data, new_data = before[latch.data], self._values[latch.data]
        if not is_active(latch.enable, before):
            return (base,)
        if is_active(latch.enable, self._values):
            return (new_data,)
        if self._start.held is not None or old_data == new_data == base:
            return (base,)
        return EITHER

    def _ways_of_set_reset(self, element: SetReset) -> Iterator[Way]:
        own = self._start.before[element.output]
        if self._is_at_rest((element,), (own,)):
            yield Way(values=(own,))
            return
        value = set_reset_target(self._values[element.set], self._values[element.reset], own=own, both=None)
        for choice in EITHER if value is None else (value,):
            yield Way(values=(choice,), raced=value is None)

    def _ways_of_flip_flop(self, flip_flop: FlipFlop, is_last: bool) -> Iterator[Way]:
        offered: set[bool] = set()
        for base in self._bases_of(flip_flop):
            value = asynchronous_target(flip_flop, self._values, base) is True
            # A base that does not show matters only to what is sampled after this round.
            if not (is_last and value in offered):
                offered.add(value)
                yield Way(values=(value,), carried=(base,))

    def _bases_of(self, element: Driver, loop: Container[NetId] = ()) -> tuple[bool, ...]:
        """What the element may carry into the round; either value after both asynchronous pins were let go outside."""
        if self._start.held is None and isinstance(element, FlipFlop) and is_doubly_forced(element, self._start.before):
            pins = [level.net for level in (element.clear, element.preset) if level is not None]
            if not any(pin in loop for pin in pins) and not is_forced(element, self._values):
                return EITHER
        return self._start.bases.get(element.output, (self._start.before[element.output],))

    def _is_at_rest(self, elements: Sequence[Driver], carried: Sequence[bool]) -> bool:
        """Round 2 and later: nothing around moved, nothing sampled differs, and no latch has just opened."""
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
            if self._is_at_rest(part.elements, carried):
                yield Way(values=tuple(self._start.before[net] for net in part.nets), carried=carried)
                continue
            outcomes = self._races.outcomes(
                part.elements,
                self._values,
                self._with_held_clock(part, carried),
                before=self._start.before,
                held=self._start.held,
                budget=self._budget,
            )
            for outcome in outcomes:
                yield Way(
                    values=outcome.state,
                    carried=carried,
                    raced=len(outcomes) > 1,
                    oscillated=not outcome.is_stable,
                )

    def _with_held_clock(self, part: Part, carried: tuple[bool, ...]) -> tuple[bool, ...]:
        """The carried values, but a clock that is held stands where it stood before the round."""
        return tuple(
            self._start.before[net] if net == self._start.held else base
            for net, base in zip(part.nets, carried, strict=True)
        )
