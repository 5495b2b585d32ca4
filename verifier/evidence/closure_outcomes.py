"""What comes of a move or tick, for many situations at once: the bits afterwards, and what excites and resets.

Formulas are worked out with all choices open. Where that leaves something unknown, the row is split by a choice that
it hangs on, and so on; so a choice is tried both ways where it matters and nowhere else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from verifier.errors import InternalDisagreement
from verifier.evidence.delay_columns import (
    BitColumn,
    Formulas,
    Possible,
    Truths,
    constant,
    difference,
    disjunction,
    known,
    packed_bits,
    unknown,
    unpacked_bits,
    words_for,
)
from verifier.logic.delay_system import DelaySystem

Whole = NDArray[np.intp]
Root = TypeVar("Root")


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """Where `decided` is 1 all values are known, and the step is permitted."""

    rows: Whole | None
    """Which of the rows that were asked for are the rows here; None: all, in their order."""
    decided: BitColumn
    bad: BitColumn
    followers: tuple[BitColumn, ...]
    """Values afterwards."""
    excited: tuple[BitColumn, ...]
    """For each element, afterwards."""
    resets: tuple[BitColumn, ...]
    """For each timer."""


class StepFormulas:
    """The formulas of one system that a step is judged by."""

    def __init__(self, system: DelaySystem, on_evaluation: Callable[[], None]) -> None:
        """`on_evaluation` is called before each evaluation; it may raise."""
        self._on_evaluation = on_evaluation
        self._elements = system.elements
        self._followers = system.followers
        roots = [system.permitted, system.bad, *(timer.reset for timer in system.timers)]
        roots += [element.target for element in system.elements]
        roots += [element.optional for element in system.elements]
        self._formulas = Formulas(system.graph, roots, [(f.bit.now, f.next) for f in system.followers])
        bits = [*system.sources, *(element.bit for element in system.elements)]
        given = {bit.before >> 1 for bit in (*bits, *(f.bit for f in system.followers))} | {b.now >> 1 for b in bits}
        given |= {reading.variable >> 1 for timer in system.timers for reading in timer.readings}
        if system.tick is not None:
            given.add(system.tick >> 1)
        self.choices = [node for node in sorted(self._formulas.variables) if node not in given]
        """All variables that are nothing else, whatever the system says: taking more steps to be possible is safe."""
        self._supports = self._output_supports()

    def _output_supports(self) -> list[int]:
        """In the order of `_Values.outputs`."""
        of_roots, of_followers = self._formulas.supports(self.choices)
        resets, targets, optionals = self._parts(of_roots)
        excited = [target | optional for target, optional in zip(targets, optionals, strict=True)]
        return [*of_roots[:2], *of_followers, *excited, *resets]

    def _parts(self, of_roots: list[Root]) -> tuple[list[Root], list[Root], list[Root]]:
        """Resets, targets, optionals."""
        optionals = len(of_roots) - len(self._elements)
        targets = optionals - len(self._elements)
        return of_roots[2:targets], of_roots[targets:optionals], of_roots[optionals:]

    def outcomes(self, given: Mapping[int, Possible], rows: int) -> Iterator[Outcome]:
        """Every row is in `decided` of an outcome for each way it can go.

        `given` has every variable but the choices.
        """
        pending: list[_Batch] = [_Batch(None, rows, given, self.choices)]
        while pending:
            batch = pending.pop()
            self._on_evaluation()
            values = self._values(batch)
            happens = values.permitted[0]
            if not happens.any():
                continue
            may_differ = [happens & one & zero for one, zero in values.outputs]
            unclear = reduce(np.bitwise_or, may_differ)
            yield Outcome(
                rows=batch.rows,
                decided=happens & ~unclear,
                bad=values.bad[0],
                followers=tuple(one for one, _ in values.followers),
                excited=tuple(one for one, _ in values.excited),
                resets=tuple(one for one, _ in values.resets),
            )
            pending += self._split(batch, unclear, may_differ)

    def _values(self, batch: _Batch) -> _Values:
        words = words_for(batch.count)
        given = {**batch.given, **{node: unknown(words) for node in batch.open_choices}}
        roots, followers = self._formulas.values(given, words)
        resets, targets, optionals = self._parts(roots)
        excited = [
            disjunction(difference(given[element.bit.now >> 1], target), optional)
            for element, target, optional in zip(self._elements, targets, optionals, strict=True)
        ]
        return _Values(permitted=roots[0], bad=roots[1], followers=followers, excited=excited, resets=resets)

    def _split(self, batch: _Batch, unclear: BitColumn, may_differ: Sequence[BitColumn]) -> Iterator[_Batch]:
        """Every unclear row twice, once for each value of one choice that it hangs on."""
        left = unclear & packed_bits(np.ones(batch.count, np.bool_))
        for node in batch.open_choices:
            if not left.any():
                return
            bit = 1 << self.choices.index(node)
            hanging = [column for column, support in zip(may_differ, self._supports, strict=True) if support & bit]
            concerned = left & reduce(np.bitwise_or, hanging, np.zeros_like(left))
            if concerned.any():
                left = left & ~concerned
                yield from batch.split(np.flatnonzero(unpacked_bits(concerned, batch.count)), node)
        if left.any():
            raise InternalDisagreement("a step has no definite outcome although nothing is left open")


@dataclass(frozen=True)
class _Values:
    permitted: Possible
    bad: Possible
    followers: list[Possible]
    excited: list[Possible]
    resets: list[Possible]

    @property
    def outputs(self) -> list[Possible]:
        return [self.permitted, self.bad, *self.followers, *self.excited, *self.resets]


@dataclass(frozen=True)
class _Batch:
    rows: Whole | None
    count: int
    given: Mapping[int, Possible]
    open_choices: list[int]

    def split(self, chosen: Whole, node: int) -> Iterator[_Batch]:
        rows = chosen if self.rows is None else self.rows[chosen]
        rest = [choice for choice in self.open_choices if choice != node]
        given = {variable: known(_taken(values[0], self.count, chosen)) for variable, values in self.given.items()}
        for value in (False, True):
            decided = {node: constant(value, words_for(len(chosen)))}
            yield _Batch(rows, len(chosen), {**given, **decided}, rest)


def _taken(column: BitColumn, rows: int, chosen: Whole) -> BitColumn:
    truths: Truths = unpacked_bits(column, rows)
    return packed_bits(truths[chosen])
