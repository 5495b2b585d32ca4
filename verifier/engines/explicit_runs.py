"""The calmest of many runs of one length, in an explored explicit graph.

The runs are given as layers, one a frame: from which place to which, under which lanes. As in `bounded_search`, first
the system's preferences are kept, in order, frame by frame: each one that can hold given those kept before. Then, in
the same way, every input is 0. So the outcome depends on the question alone, and for bad frames it is the run that
bounded search gives.

(R1) In completed layers, every stride lies on a run through all later layers.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass, replace

from verifier.engines.explicit_states import ExplicitStates, Lanes, State, compiled, lanes_with, registers_of
from verifier.logic.transition_system import Counterexample, TransitionSystem

Place = Hashable


@dataclass(frozen=True, slots=True)
class Stride:
    """One frame of a run."""

    origin: Place
    """Strides of one place have one state."""
    state: State
    lanes: Lanes
    target: Place


Layers = Sequence[Sequence[Stride]]


def calmest_run(system: TransitionSystem, layers: Layers, deadline: float) -> Counterexample:
    """Wishes that are not decided at the deadline are left out.

    Pre: all strides of the first layer have one origin, and some run goes through all layers to the end.
    """
    inputs = system.inputs
    everything = (1 << (1 << len(inputs))) - 1
    calm = [everything ^ lanes_with(place, len(inputs)) for place in range(len(inputs))]
    layers = _keeping(_completed(layers), _preferred_lanes(system), deadline)
    layers = _keeping(_completed(layers), lambda state: calm, deadline)
    lanes = [(stride.lanes & -stride.lanes).bit_length() - 1 for stride in _some_run(_completed(layers))]
    return Counterexample(
        tuple({variable: bool(lane >> place & 1) for place, variable in enumerate(inputs)} for lane in lanes)
    )


def ways_to(explicit: ExplicitStates, numbers: set[int]) -> list[list[Stride]]:
    """The layers of all shortest ways to these states, which are at one distance."""
    layers: list[list[Stride]] = []
    by_distance: dict[int, list[int]] = {}
    farthest = max(explicit.distances[number] for number in numbers)
    for number, distance in enumerate(explicit.distances):
        by_distance.setdefault(distance, []).append(number)
    wanted = numbers
    for distance in range(farthest - 1, -1, -1):
        layer = [
            Stride(number, explicit.states[number], edge.lanes, edge.target)
            for number in by_distance[distance]
            for edge in explicit.edges[number]
            if edge.target in wanted
        ]
        layers.append(layer)
        wanted = {number for number in by_distance[distance] if any(e.target in wanted for e in explicit.edges[number])}
    return layers[::-1]


def _completed(layers: Layers) -> list[Sequence[Stride]]:
    """Without the strides that lead nowhere."""
    done: list[Sequence[Stride]] = []
    for layer in reversed(layers):
        if done:
            origins = {stride.origin for stride in done[-1]}
            layer = [stride for stride in layer if stride.target in origins]
        done.append(layer)
    return done[::-1]


def _keeping(layers: Layers, wishes_of: Callable[[State], Sequence[Lanes]], deadline: float) -> list[Sequence[Stride]]:
    """Completed layers with one wish after the other kept, where it can be."""
    kept: list[Sequence[Stride]] = []
    for layer in layers:
        if kept:
            places = {stride.target for stride in kept[-1]}
            layer = [stride for stride in layer if stride.origin in places]
        wishes = {stride.state: wishes_of(stride.state) for stride in layer}
        for index in range(len(next(iter(wishes.values())))):
            if time.monotonic() >= deadline:
                break
            wished = ((stride, stride.lanes & wishes[stride.state][index]) for stride in layer)
            layer = [replace(stride, lanes=lanes) for stride, lanes in wished if lanes] or layer
        kept.append(layer)
    return kept


def _some_run(layers: Layers) -> Iterator[Stride]:
    """One run through completed layers."""
    place = layers[0][0].origin
    for layer in layers:
        stride = next(stride for stride in layer if stride.origin == place)
        yield stride
        place = stride.target


def _preferred_lanes(system: TransitionSystem) -> Callable[[State], Sequence[Lanes]]:
    """For each preference, the lanes in which it holds in a state."""
    wishes = compiled(system, system.preferences)
    return lambda state: wishes(*registers_of(system, state))
