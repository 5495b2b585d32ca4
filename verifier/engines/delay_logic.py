"""What the literals of a `DelaySystem` say, for many packed states at once.

The literals are transcribed into graphs of their own, once for moves and once for ticks: with `tick` known, with every
follower's `now` written out, and, for ticks, with `now` of sources and elements equal to `before`. So what a tick
leaves alone is seen from the graph: two literals are the same number.

Choices are split by doubling, and only where they matter: a candidate is copied for a choice when, with this and all
later choices unknown, three-valued evaluation leaves one of the results open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verifier.engines.column_logic import ColumnFunction, Truth, transcribed
from verifier.engines.packed_states import Word
from verifier.logic.bit_graph import FALSE, TRUE, VARIABLE, BitGraph, Literal
from verifier.logic.delay_system import DelayedElement, DelaySystem
from verifier.logic.reached_states import Column, Field, StateLayout, Words

MOST_CHOICES = 64
"""They are kept in one word."""


class TooManySteps(Exception):
    """More steps lead from one state, or more choices are read, than this engine looks at."""


@dataclass(frozen=True, kw_only=True)
class Steps:
    """Permitted steps and where they lead."""

    parents: NDArray[np.int64]
    """Places in the batch of states that was given."""
    flips: Words
    """What turned over, of sources and elements, where they stand in a state; no words for a tick."""
    targets: Words
    is_bad: Truth


def excitation(graph: BitGraph, element: DelayedElement) -> Literal:
    return graph.disjunction(graph.exclusive_or(element.bit.now, element.target), element.optional)


def as_column(value: Truth | bool, rows: int) -> Truth:
    return np.full(rows, value) if isinstance(value, bool) else value


class _Variables:
    """One graph for all literals of one kind of step, and where the columns of its variables come from."""

    def __init__(self, system: DelaySystem, layout: StateLayout) -> None:
        self.graph = BitGraph()
        self.images: dict[Literal, Literal] = {}
        """Variables of the system's graph to literals of this one."""
        self.values: dict[Literal, Field] = {}
        """Variables for a bit as it stands in the planes that are read."""
        self.flipped: dict[Literal, tuple[Literal, Field]] = {}
        """Variables for a bit before the step: what stands for it after, and where it stands."""
        self.readings: dict[Literal, tuple[Field, int]] = {}
        self.choices: dict[Literal, np.uint64] = {}
        for timer, field in zip(system.timers, layout.counts, strict=True):
            for reading in timer.readings:
                variable = self.graph.variable("reading")
                self.images[reading.variable] = variable
                self.readings[variable] = (field, reading.at_least)

    def value(self, field: Field) -> Literal:
        variable = self.graph.variable("value")
        self.values[variable] = field
        return variable

    def column(
        self,
        variable: Literal,
        planes: NDArray[np.uint8],
        before: NDArray[np.uint8] | None,
        choices: Word | None,
    ) -> Truth:
        if variable in self.values:
            return self.values[variable].read_bit(planes)
        if variable in self.flipped:
            if before is None:
                raise ValueError("only a move has values before it that differ from those after it")
            return self.flipped[variable][1].read_bit(before)
        if variable in self.readings:
            field, at_least = self.readings[variable]
            if at_least >= 1 << field.width:
                return np.zeros(planes.shape[1], np.bool_)
            reached: Truth = field.read(planes) >= at_least
            return reached
        if choices is None:
            return np.zeros(planes.shape[1], np.bool_)
        truth: Truth = (choices & self.choices[variable]) != 0
        return truth


class StateLogic:
    """What a state says about the steps that may follow."""

    def __init__(self, system: DelaySystem, layout: StateLayout) -> None:
        self._system = system
        self._layout = layout
        self._variables = _Variables(system, layout)
        bits = [*system.sources, *(e.bit for e in system.elements), *(f.bit for f in system.followers)]
        for bit, field in zip(bits, layout.values, strict=True):
            self._variables.images[bit.now] = self._variables.value(field)
        self._enabled = self._function([move.enabled for move in system.moves])
        self._holds = self._function([system.holds_time, *(element.optional for element in system.elements)])

    def _function(self, roots: Sequence[Literal]) -> ColumnFunction:
        graph = self._variables.graph
        return ColumnFunction(graph, transcribed(self._system.graph, roots, self._variables.images, graph))

    def _worked_out(self, function: ColumnFunction, planes: NDArray[np.uint8]) -> list[Truth]:
        rows = planes.shape[1]
        inputs = [self._variables.column(variable, planes, None, None) for variable in function.inputs]
        return [as_column(value, rows) for value in function(inputs, rows)]

    def enabled(self, planes: NDArray[np.uint8]) -> list[Truth]:
        return self._worked_out(self._enabled, planes)

    def ready(self, planes: NDArray[np.uint8]) -> list[Truth]:
        found: list[Truth] = []
        for place, element in enumerate(self._system.elements):
            ages = self._layout.ages[place].read(planes)
            if not self._system.timed:
                found.append(ages != 0)
                continue
            rise, fall = element.rise.low + 1, element.fall.low + 1
            found.append(ages >= self._either(place, rise, fall, planes))
        return found

    def may_tick(self, planes: NDArray[np.uint8]) -> Truth:
        holds, *optional = self._worked_out(self._holds, planes)
        stopped = holds
        for place, element in enumerate(self._system.elements):
            rise, fall = element.rise.high + 1, element.fall.high + 1
            due = self._layout.ages[place].read(planes) >= self._either(place, rise, fall, planes)
            if element.optional != FALSE:
                due &= ~optional[place]
            stopped = stopped | due
        free: Truth = ~stopped
        return free

    def _either(self, place: int, rise: int, fall: int, planes: NDArray[np.uint8]) -> Column | int:
        """The first for an element that would rise, else the second."""
        if rise == fall:
            return rise
        return np.where(self._layout.elements[place].read_bit(planes), fall, rise)


class StepLogic:
    """What follows from turning bits over, in a move or in a tick."""

    def __init__(self, system: DelaySystem, layout: StateLayout, *, is_tick: bool) -> None:
        self._system = system
        self._layout = layout
        self._is_tick = is_tick
        self._transcribe()
        self._find_what_stays()
        self._prepare_choices()

    def _transcribe(self) -> None:
        system, layout = self._system, self._layout
        self._variables = variables = _Variables(system, layout)
        graph, images = variables.graph, variables.images
        turning = [*system.sources, *(element.bit for element in system.elements)]
        for bit, field in zip(turning, (*layout.sources, *layout.elements), strict=True):
            images[bit.now] = images[bit.before] = variables.value(field)
            if not self._is_tick:
                images[bit.before] = graph.variable("before")
                variables.flipped[images[bit.before]] = (images[bit.now], field)
        for follower, field in zip(system.followers, layout.followers, strict=True):
            images[follower.bit.before] = variables.value(field)
        for place, choice in enumerate(system.choices):
            images[choice] = graph.variable("choice")
            if place >= MOST_CHOICES:
                raise TooManySteps(f"more than {MOST_CHOICES} choices in a step")
            variables.choices[images[choice]] = np.uint64(1 << place)
        if system.tick is not None:
            images[system.tick] = TRUE if self._is_tick else FALSE
        stood = [images[follower.bit.before] for follower in system.followers]
        self._excited_before = self._excitations(stood)
        following: list[Literal] = []
        for follower in system.followers:
            (image,) = transcribed(system.graph, [follower.next], images, graph)
            images[follower.bit.now] = image
            following.append(image)
        self._following = following
        self._excited_after = self._excitations(following)
        self._bad, self._permitted, *self._resets = transcribed(
            system.graph, [system.bad, system.permitted, *(timer.reset for timer in system.timers)], images, graph
        )

    def _excitations(self, now: Sequence[Literal]) -> list[Literal]:
        """For each element, whether it is excited, when followers have these values and the rest its `now`."""
        system, variables = self._system, self._variables
        images = dict(variables.images)
        for follower, literal in zip(system.followers, now, strict=True):
            images[follower.bit.now] = literal
        roots = [root for element in system.elements for root in (element.target, element.optional)]
        found = transcribed(system.graph, roots, images, variables.graph)
        graph = variables.graph
        return [
            graph.disjunction(graph.exclusive_or(images[element.bit.now], target), optional)
            for element, target, optional in zip(system.elements, found[::2], found[1::2], strict=True)
        ]

    def _find_what_stays(self) -> None:
        """Bits of a state that are the same after the step, once what turned over has been turned over."""
        system, layout = self._system, self._layout
        stays = [*layout.sources, *layout.elements]
        self._written: list[tuple[Field, Literal]] = []
        for follower, field, literal in zip(system.followers, layout.followers, self._following, strict=True):
            if literal == self._variables.images[follower.bit.before]:
                stays.append(field)
            else:
                self._written.append((field, literal))
        for field, reset in zip(layout.counts, self._resets, strict=True):
            if reset == FALSE and not self._is_tick:
                stays.append(field)
        self._mask = np.zeros((8 * layout.word_count, 1), np.uint8)
        for field in stays:
            for piece in field.pieces:
                self._mask[piece.byte] |= ((1 << piece.width) - 1) << piece.shift
        self._keeps_excitation = [
            self._is_tick and before == after
            for before, after in zip(self._excited_before, self._excited_after, strict=True)
        ]
        wanted = [
            FALSE if keeps else literal
            for keeps, literal in zip(self._keeps_excitation, self._excited_after, strict=True)
        ]
        self._roots = [self._bad, self._permitted, *(literal for _, literal in self._written), *self._resets, *wanted]
        self._function = ColumnFunction(self._variables.graph, self._roots)
        turning = len(layout.elements) + len(layout.sources)
        self._turning_bytes = -(-turning // 8)

    def _prepare_choices(self) -> None:
        """For each choice that is read, whether a result is open while it and all later ones are unknown."""
        graph, images = self._variables.graph, self._variables.images
        read = set(self._function.inputs)
        self._split = [images[choice] for choice in self._system.choices if images[choice] in read]
        self._open = [
            ColumnFunction(graph, [graph.any_of(_open_results(graph, self._roots, set(self._split[index:])))])
            for index in range(len(self._split))
        ]

    def taken(self, states: Sequence[Word], parents: NDArray[np.int64], flips: Sequence[Word]) -> Steps:
        words = [word[parents] for word in states]
        choices: Word | None = None
        if self._split:
            copies, choices = self._split_by_choices(words, flips)
            parents, words = parents[copies], [word[copies] for word in words]
            flips = [word[copies] for word in flips]
        planes, before = self._planes(words, flips)
        rows = len(parents)
        bad, permitted, *results = self._results(self._function, planes, before, choices)
        targets = self._layout.words(self._assembled(planes, before, results))
        is_bad = as_column(bad, rows)
        if permitted is not True:
            kept = np.flatnonzero(as_column(permitted, rows))
            parents, flips = parents[kept], [word[kept] for word in flips]
            targets, is_bad = tuple(word[kept] for word in targets), is_bad[kept]
        return Steps(parents=parents, flips=tuple(flips), targets=targets, is_bad=is_bad)

    def _planes(
        self, words: Sequence[Word], flips: Sequence[Word]
    ) -> tuple[NDArray[np.uint8], NDArray[np.uint8] | None]:
        """After turning the bits over, and the bytes that this changes as they were before."""
        if not flips:
            return self._layout.planes(words), None
        turned = [word ^ flip for word, flip in zip(words, flips, strict=False)]
        planes = self._layout.planes([*turned, *words[len(turned) :]])
        return planes, planes[: self._turning_bytes] ^ self._layout.planes(flips, self._turning_bytes)

    def _results(
        self,
        function: ColumnFunction,
        planes: NDArray[np.uint8],
        before: NDArray[np.uint8] | None,
        choices: Word | None,
    ) -> tuple[Truth | bool, ...]:
        columns = [self._variables.column(variable, planes, before, choices) for variable in function.inputs]
        return function(columns, planes.shape[1])

    def _assembled(
        self, planes: NDArray[np.uint8], before: NDArray[np.uint8] | None, results: Sequence[Truth | bool]
    ) -> NDArray[np.uint8]:
        system, layout, rows = self._system, self._layout, planes.shape[1]
        assembled = planes & self._mask
        timers_from, ages_from = len(self._written), len(self._written) + len(system.timers)
        for (field, _), value in zip(self._written, results[:timers_from], strict=True):
            if value is not False:
                field.write(assembled, as_column(value, rows))
        for place, reset in enumerate(results[timers_from:ages_from]):
            if reset is True or (reset is False and not self._is_tick):
                continue
            counts = layout.counts[place].read(planes)
            if self._is_tick:
                counts = np.minimum(counts, system.timers[place].most - 1) + 1 if system.timers[place].most else counts
            if not isinstance(reset, bool):
                counts = counts * ~reset
            layout.counts[place].write(assembled, counts)
        for place, excited in enumerate(results[ages_from:]):
            self._write_age(place, excited, planes, before, assembled)
        return assembled

    def _write_age(
        self,
        place: int,
        excited: Truth | bool,
        planes: NDArray[np.uint8],
        before: NDArray[np.uint8] | None,
        assembled: NDArray[np.uint8],
    ) -> None:
        field, element = self._layout.ages[place], self._system.elements[place]
        if not self._system.timed:
            if excited is not False:
                field.write(assembled, as_column(excited, planes.shape[1]))
            return
        ages = field.read(planes)
        if before is not None:
            piece = self._layout.elements[place].pieces[0]
            same = ((planes[piece.byte] ^ before[piece.byte]) & (1 << piece.shift)) == 0
            ages = np.maximum(ages * same, 1)
        else:
            is_excited = ages != 0
            if element.optional != FALSE:
                ages = self._capped(place, ages, planes)
            ages = ages + (is_excited if self._keeps_excitation[place] else True)
            if self._keeps_excitation[place]:
                excited = True
        if excited is not False:
            field.write(assembled, ages if excited is True else ages * excited)

    def _capped(self, place: int, ages: Column, planes: NDArray[np.uint8]) -> Column:
        rise, fall = self._system.elements[place].rise.high, self._system.elements[place].fall.high
        if rise == fall:
            return np.minimum(ages, rise)
        goes_down = self._layout.elements[place].read_bit(planes)
        capped: Column = np.minimum(ages, np.where(goes_down, fall, rise).astype(ages.dtype))
        return capped

    def _split_by_choices(self, words: Sequence[Word], flips: Sequence[Word]) -> tuple[NDArray[np.int64], Word]:
        """Places of the candidates, those copied several times that have several outcomes, and their choices."""
        count = len(words[0])
        done_places: list[NDArray[np.int64]] = []
        done_choices: list[Word] = []
        places, choices = np.arange(count), np.zeros(count, np.uint64)
        for variable, function in zip(self._split, self._open, strict=True):
            planes, before = self._planes([word[places] for word in words], [flip[places] for flip in flips])
            (value,) = self._results(function, planes, before, choices)
            is_open = as_column(value, len(places))
            done_places.append(places[~is_open])
            done_choices.append(choices[~is_open])
            places, choices = places[is_open], choices[is_open]
            places = np.concatenate((places, places))
            choices = np.concatenate((choices, choices | self._variables.choices[variable]))
        return np.concatenate((*done_places, places)), np.concatenate((*done_choices, choices))


def _open_results(graph: BitGraph, roots: Sequence[Literal], unknown: set[Literal]) -> list[Literal]:
    """For each root a literal that is 1 when three-valued evaluation, these variables unknown, gives no value."""
    may_be: dict[Literal, Literal] = {FALSE: FALSE, TRUE: TRUE}
    for node in graph.cone(roots):
        left, right = graph.lefts[node], graph.rights[node]
        if left != VARIABLE:
            may_be[2 * node] = graph.conjunction(may_be[left], may_be[right])
            may_be[2 * node + 1] = graph.disjunction(may_be[left ^ 1], may_be[right ^ 1])
        elif node:
            is_unknown = 2 * node in unknown
            may_be[2 * node] = TRUE if is_unknown else 2 * node
            may_be[2 * node + 1] = TRUE if is_unknown else 2 * node + 1
    return [graph.conjunction(may_be[root], may_be[root ^ 1]) for root in roots]
