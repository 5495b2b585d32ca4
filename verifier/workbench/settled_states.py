"""A circuit on a board: the states in which it may rest, and where one flip of a switch may take it.

Everything comes from the plain-Python simulator. A board of which not all is known is a set of states: a flip takes
it to all outcomes of all of them. The answers are kept, since a checklist comes back to the same states.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

from verifier.circuit.netlist import InputClass, NetId, Netlist
from verifier.claims.claim import Design, Given, View
from verifier.claims.formula import (
    Add,
    Always,
    Apply,
    Before,
    Compare,
    Formula,
    Join,
    Literal,
    Never,
    OnlyWhen,
    Select,
    Signal,
    Slice,
    Step,
    Subtract,
)
from verifier.claims.meaning import evaluate
from verifier.claims.run import Instant, Run, StepEvents
from verifier.claims.support import restricts, unsupported
from verifier.evidence.checklist import Possible
from verifier.evidence.simulator import SimulationLimit, Simulator

STATES_AT_ONCE = 4096
"""A board that may be in more states than these is not followed."""

OF_ONE_STEP = (
    Add, Always, Apply, Before, Compare, Join, Literal, Never, OnlyWhen, Select, Signal, Slice, Step, Subtract,
)  # fmt: skip
"""The words whose value at an instant follows from that instant and the one before it, if they are not nested."""


@dataclass(frozen=True)
class Move:
    """Where one flip may take the board."""

    possible: Possible
    raced: bool
    oscillated: bool


class SettledStates:
    """The states of one netlist at rest. `givens` forbid first instants and flips that might break them."""

    def __init__(self, netlist: Netlist, givens: Sequence[Given] = ()) -> None:
        self.netlist = netlist
        self._as_written = Simulator(netlist)
        self._waking_anyhow = Simulator(without_starts(netlist))
        self._demands = [_at_every_instant(given.formula) for given in givens]
        self._moves: dict[tuple[Instant, NetId], Move | None] = {}

    def power_ups(
        self, inputs: Mapping[NetId, bool], wanted: Mapping[NetId, bool] | None = None, *, as_written: bool = False
    ) -> Possible:
        """The states in which the board may wake with these inputs and these values of other nets; perhaps none.

        Without `as_written` the starts of the file are not relied on. It may rest in no others later on, as long as
        nothing oscillates.

        Raises:
            SimulationLimit: too many.
        """
        simulator = self._as_written if as_written else self._waking_anyhow
        found: set[Instant] = set()
        for instant, events in simulator.first_instants(inputs, wanted):
            if all(evaluate(demand, Run((instant,), (events,)))[0] for demand in self._demands):
                found.add(instant)
            if len(found) > STATES_AT_ONCE:
                raise SimulationLimit(f"more than {STATES_AT_ONCE} states at power-up")
        return frozenset(found)

    def after(self, possible: Possible, flipped: NetId) -> Move | None:
        """Where the flip takes the board; None when some given might be broken by it.

        Raises:
            SimulationLimit: too many states, or too much to look at in one step.
        """
        moves = [self.after_one(instant, flipped) for instant in possible]
        permitted = [move for move in moves if move is not None]
        if len(permitted) < len(moves):
            return None
        reached = frozenset[Instant]().union(*(move.possible for move in permitted))
        if len(reached) > STATES_AT_ONCE:
            raise SimulationLimit(f"more than {STATES_AT_ONCE} states after one flip")
        raced, oscillated = (any(move.raced for move in permitted), any(move.oscillated for move in permitted))
        return Move(reached, raced=raced, oscillated=oscillated)

    def after_one(self, instant: Instant, flipped: NetId) -> Move | None:
        key = (instant, flipped)
        if key not in self._moves:
            self._moves[key] = self._move(instant, flipped)
        return self._moves[key]

    def _move(self, instant: Instant, flipped: NetId) -> Move | None:
        outcomes = self._as_written.step(instant, {flipped: not instant[flipped]})
        for outcome in outcomes:
            run = Run((instant, outcome.instant), (StepEvents(), outcome.events))
            if not all(evaluate(demand, run)[1] for demand in self._demands):
                return None
        return Move(
            frozenset(outcome.instant for outcome in outcomes),
            raced=any(outcome.events.raced for outcome in outcomes),
            oscillated=any(outcome.events.oscillated for outcome in outcomes),
        )


def switches(netlist: Netlist) -> tuple[NetId, ...]:
    """The input bits that one person can flip while the board runs, in the order of the pins, highest bit first."""
    movable = [pin for pin in netlist.inputs if pin.input_class is not InputClass.STRAPPED]
    return tuple(net for pin in movable for net in reversed(pin.nets))


def input_settings(netlist: Netlist) -> Iterator[dict[NetId, bool]]:
    """All values of the inputs, all low first."""
    nets = netlist.input_nets
    for values in product((False, True), repeat=len(nets)):
        yield dict(zip(nets, values, strict=True))


def without_starts(netlist: Netlist) -> Netlist:
    """The same circuit on a board that wakes as it likes."""
    return replace(
        netlist,
        gates=tuple(replace(gate, start=None) for gate in netlist.gates),
        flip_flops=tuple(replace(element, start=None) for element in netlist.flip_flops),
        latches=tuple(replace(element, start=None) for element in netlist.latches),
        set_resets=tuple(replace(element, start=None) for element in netlist.set_resets),
    )


def has_starts(netlist: Netlist) -> bool:
    return any(element.start is not None for element in netlist.drivers.values())


def heeded_givens(design: Design) -> tuple[list[Given], list[Given]]:
    """The givens that a list of flips can keep, and those that it cannot: they look further than one step."""
    inside: list[Given] = []
    beyond: list[Given] = []
    for given in design.givens:
        if restricts(given, View.SETTLED):
            keeps = unsupported(given) is None and _is_of_one_step(given.formula)
            (inside if keeps else beyond).append(given)
    return inside, beyond


def _is_of_one_step(formula: Formula) -> bool:
    pending: list[tuple[Formula, int]] = [(_at_every_instant(formula), 0)]
    while pending:
        node, back = pending.pop()
        back += isinstance(node, Before | Step)
        if back > 1 or isinstance(node, Always) or not isinstance(node, OF_ONE_STEP):
            return False
        pending += [(child, back) for child in node.children]
    return True


def _at_every_instant(formula: Formula) -> Formula:
    return formula.operand if isinstance(formula, Always) else formula
