"""The steps of a `DelaySystem`, taken by many packed states at once.

A *candidate* is a state and what turns over in it: a source move, or a non-empty set of ready elements. Candidates are
made by doubling: for every element, the candidates in which it is ready are copied, and it fires in the copies. What
follows from turning the bits over (followers, ages, timers, whether the step is bad or permitted) is worked out for
all candidates together. A tick is the candidate in which nothing turns over.

The literals of the system are transcribed into a graph of their own, once for moves and once for ticks: with `tick`
known, with every follower's `now` written out, and, for ticks, with `now` of sources and elements equal to `before`.
So what a tick leaves alone is seen from the graph: two literals are the same number.

Choices are split like firings, and only where they matter: a candidate is copied for a choice when, with this and all
later choices unknown, three-valued evaluation leaves one of the results open.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from verifier.engines.column_logic import ColumnFunction, Truth, transcribed
from verifier.engines.packed_states import Word
from verifier.logic.bit_graph import FALSE, TRUE, VARIABLE, BitGraph, Literal
from verifier.logic.delay_system import DelayedElement, DelaySystem
from verifier.logic.reached_states import Column, Field, StateLayout, Words

MOST_CANDIDATES = 1 << 17
"""Worked out together, when there is more than one state to divide them by."""
MOST_OF_ONE_STATE = 1 << 20
MOST_CHOICES = 64


MOST_OF_A_GROUP = 10
"""Elements whose subsets are listed in advance: 3 ** 10 of them."""


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


class DelaySteps:
    def __init__(self, system: DelaySystem, layout: StateLayout) -> None:
        self._system = system
        self._layout = layout
        self._state = _StateLogic(system, layout)
        self._move = _StepLogic(system, layout, is_tick=False)
        self._tick = _StepLogic(system, layout, is_tick=True) if system.timed else None
        flipped = len(system.elements) + len(system.sources)
        self._flip_words = max(1, -(-flipped // 64))

    def first(self, columns: Sequence[Truth], rows: int) -> tuple[Words, Truth]:
        """First states with these values of sources, elements, followers; which of them are bad."""
        system, layout = self._system, self._layout
        bits = [*system.sources, *(e.bit for e in system.elements), *(f.bit for f in system.followers)]
        known = {bit.now: column for bit, column in zip(bits, columns, strict=True)}
        function = ColumnFunction(
            system.graph, [*(_excited(system.graph, e) for e in system.elements), system.bad_at_first]
        )
        *excited, bad = (_column(value, rows) for value in function([known[v] for v in function.inputs], rows))
        planes = np.zeros((8 * layout.word_count, rows), np.uint8)
        for field, column in zip(layout.values, columns, strict=True):
            field.write(planes, column)
        for field, column in zip(layout.ages, excited, strict=True):
            field.write(planes, column)
        for field, timer in zip(layout.counts, system.timers, strict=True):
            field.write(planes, np.full(rows, timer.start, field.kind))
        return layout.words(planes), bad

    def moves(self, states: Sequence[Word]) -> Iterator[tuple[int, Steps]]:
        """All permitted moves of the states, some at a time, and the place of the state that parents count from."""
        planes = self._layout.planes(states)
        enabled, ready = self._state.enabled(planes), self._state.ready(planes)
        rows = len(states[0])
        count = _candidate_count(enabled, ready, rows)
        if count > MOST_CANDIDATES and rows > 1:
            yield from self.moves([word[: rows // 2] for word in states])
            for place, steps in self.moves([word[rows // 2 :] for word in states]):
                yield rows // 2 + place, steps
        elif count > MOST_OF_ONE_STATE:
            raise TooManySteps(f"in one state so many elements may fire that there are {count:.0f} moves")
        elif count:
            parents, flips = self._candidates(enabled, ready)
            yield 0, self._move.taken(states, parents, flips)

    def ticks(self, states: Sequence[Word]) -> Steps | None:
        """The permitted ticks of the states; None when there are none."""
        if self._tick is None:
            return None
        parents = np.flatnonzero(self._state.may_tick(self._layout.planes(states)))
        return self._tick.taken(states, parents, []) if len(parents) else None

    def _candidates(self, enabled: Sequence[Truth], ready: Sequence[Truth]) -> tuple[NDArray[np.int64], list[Word]]:
        """Parents, and the words to turn over in them."""
        elements = len(self._system.elements)
        place = {bit.now: elements + index for index, bit in enumerate(self._system.sources)}
        all_parents, all_flips = [], []
        for move, column in zip(self._system.moves, enabled, strict=True):
            parents = np.flatnonzero(column)
            mask = sum(1 << place[bit.now] for bit in move.bits)
            all_parents.append(parents)
            all_flips.append([np.full(len(parents), word, np.uint64) for word in self._words_of(mask)])
        parents, flips = self._firings(ready)
        all_parents.append(parents)
        all_flips.append(flips)
        return np.concatenate(all_parents), [np.concatenate(words) for words in zip(*all_flips, strict=True)]

    def _firings(self, ready: Sequence[Truth]) -> tuple[NDArray[np.int64], list[Word]]:
        """For each state all non-empty sets of its ready elements."""
        places = [place for place, column in enumerate(ready) if column.any()]
        parents = np.arange(len(ready[0]) if ready else 0)
        flips = [np.zeros(len(parents), np.uint64) for _ in range(self._flip_words)]
        for start in range(0, len(places), MOST_OF_A_GROUP):
            group = places[start : start + MOST_OF_A_GROUP]
            spelled = np.zeros(len(ready[0]), np.uint16)
            for bit, place in enumerate(group):
                spelled |= ready[place].astype(np.uint16) << bit
            copied, chosen = _all_subsets(spelled[parents], len(group))
            parents = parents[copied]
            flips = [word[copied] for word in flips]
            for word, table in zip(flips, self._spread(group), strict=True):
                word |= table[chosen]
        fires = np.zeros(len(parents), np.bool_)
        for word in flips:
            fires |= word != 0
        fire = np.flatnonzero(fires)
        return parents[fire], [word[fire] for word in flips]

    def _spread(self, group: Sequence[int]) -> list[Word]:
        """For each set of elements of a group, spelled by its places there, the words to turn over."""
        chosen = np.arange(1 << len(group), dtype=np.uint64)
        words = [np.zeros(len(chosen), np.uint64) for _ in range(self._flip_words)]
        for bit, place in enumerate(group):
            words[place // 64] |= (chosen >> np.uint64(bit) & np.uint64(1)) << np.uint64(place % 64)
        return words

    def _words_of(self, mask: int) -> list[np.uint64]:
        return [np.uint64(mask >> 64 * place & 0xFFFFFFFFFFFFFFFF) for place in range(self._flip_words)]


def _all_subsets(sets: NDArray[np.uint16], size: int) -> tuple[NDArray[np.int64], NDArray[np.uint16]]:
    """All subsets of every set, the empty one included: the place of the set, and the subset. Bit `i` of a number says
    whether `i`, below `size`, is a member."""
    first, count, subsets = _subset_table(size)
    counts = count[sets]
    copied = np.repeat(np.arange(len(sets)), counts)
    starts = np.cumsum(counts)
    places = np.arange(len(copied)) + (first[sets] - starts + counts)[copied]
    return copied, subsets[places]


@cache
def _subset_table(size: int) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.uint16]]:
    """For every set of members below `size`, where its subsets begin in a list of them, and how many there are."""
    listed: list[NDArray[np.uint16]] = [np.zeros(1, np.uint16)]
    for place in range(size):
        listed += [np.concatenate((subsets, subsets | np.uint16(1 << place))) for subsets in listed]
    counts = np.array([len(subsets) for subsets in listed])
    return np.cumsum(counts) - counts, counts, np.concatenate(listed)


def _candidate_count(enabled: Sequence[Truth], ready: Sequence[Truth], rows: int) -> float:
    count = float(sum(np.count_nonzero(column) for column in enabled))
    if ready:
        powers = np.zeros(rows, np.uint8 if len(ready) < 256 else np.uint16)
        for column in ready:
            powers += column
        for power, states in enumerate(np.bincount(powers).tolist()):
            count += states * (2.0**power - 1)
    return count


def _excited(graph: BitGraph, element: DelayedElement) -> Literal:
    return graph.disjunction(graph.exclusive_or(element.bit.now, element.target), element.optional)


def _column(value: Truth | bool, rows: int) -> Truth:
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


class _StateLogic:
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
        return [_column(value, rows) for value in function(inputs, rows)]

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


class _StepLogic:
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
        self._excited_before = self._excitations([*system.followers], stood)
        following: list[Literal] = []
        for follower in system.followers:
            (image,) = transcribed(system.graph, [follower.next], images, graph)
            images[follower.bit.now] = image
            following.append(image)
        self._following = following
        self._excited_after = self._excitations([*system.followers], following)
        self._bad, self._permitted, *self._resets = transcribed(
            system.graph, [system.bad, system.permitted, *(timer.reset for timer in system.timers)], images, graph
        )

    def _excitations(self, followers: Sequence[object], now: Sequence[Literal]) -> list[Literal]:
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
        is_bad = _column(bad, rows)
        if permitted is not True:
            kept = np.flatnonzero(_column(permitted, rows))
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
                field.write(assembled, _column(value, rows))
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
                field.write(assembled, _column(excited, planes.shape[1]))
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
        return np.minimum(ages, np.where(goes_down, fall, rise).astype(ages.dtype))

    def _split_by_choices(self, words: Sequence[Word], flips: Sequence[Word]) -> tuple[NDArray[np.int64], Word]:
        """Places of the candidates, those copied several times that have several outcomes, and their choices."""
        count = len(words[0])
        done_places: list[NDArray[np.int64]] = []
        done_choices: list[Word] = []
        places, choices = np.arange(count), np.zeros(count, np.uint64)
        for variable, function in zip(self._split, self._open, strict=True):
            planes, before = self._planes([word[places] for word in words], [flip[places] for flip in flips])
            (value,) = self._results(function, planes, before, choices)
            is_open = _column(value, len(places))
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
