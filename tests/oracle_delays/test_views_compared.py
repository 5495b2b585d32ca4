"""What the settled view and the any-delay view promise each other, on random circuits and each by its own brute force.

EDGEWRIGHT_COMPARED_VIEWS says how many circuits of each kind are compared (300 if it is not set).
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterator
from random import Random

import pytest
from oracle.targets import TooBigError

from oracle_delays.moves import NoFirstInstantError
from oracle_delays.views_compared import Change, changes_of, gates_and_latches, netlist_of, one_loop

CIRCUITS = int(os.environ.get("EDGEWRIGHT_COMPARED_VIEWS", "150"))
CHUNK = 50


def changes_in(circuit: Callable[[Random], str], seeds: range) -> Iterator[tuple[str, Change]]:
    """Those of the circuits that have a first instant and are small enough."""
    for seed in seeds:
        text = circuit(Random(seed))
        try:
            for change in changes_of(netlist_of(text)):
                change.settled_ends()
                yield f"{circuit.__name__}(Random({seed}))\n{text}{in_words(change)}", change
        except (NoFirstInstantError, TooBigError):
            continue


def in_words(change: Change) -> str:
    names = [net.name for net in change.moves.netlist.nets]
    values = " ".join(f"{name}={int(value)}" for name, value in zip(names, change.before, strict=True))
    return f"from {values}, turning over {', '.join(names[net] for net in sorted(change.flips))}"


def only_change(text: str, **before: int) -> Change:
    """The change from the quiet instant with these values."""
    found = [
        change
        for change in changes_of(netlist_of(text))
        if all(
            change.before[number] == before[net.name]
            for number, net in enumerate(change.moves.netlist.nets)
            if net.name in before
        )
    ]
    assert len(found) == 1
    return found[0]


@pytest.mark.parametrize("first_seed", range(0, CIRCUITS, CHUNK))
def test_a_circuit_that_is_one_loop_comes_to_the_same_ends_in_both_views(first_seed: int) -> None:
    """Inputs that wait for quiet, and gates that all race: both are the general multiple winner model (Brzozowski and
    Seger 1995), so quiet ends and the states of oscillations are the same, and with them races and oscillations."""
    for where, change in changes_in(one_loop, range(first_seed, min(first_seed + CHUNK, CIRCUITS))):
        assert change.any_delay_ends() == change.settled_ends(), where


@pytest.mark.parametrize("first_seed", range(0, CIRCUITS, CHUNK))
def test_a_static_glitch_in_the_any_delay_view_may_happen_in_the_settled_view(first_seed: int) -> None:
    """`never glitches`, proved in the settled view by three-valued simulation, holds for all delays (Eichelberger 1965;
    Brzozowski and Seger 1995), for one input changing at a time: on the way to any end that both views know, a net that
    comes back to its value without having been named there has never left it. Nets that end at their other value are
    not judged in the settled view (12.6)."""
    for where, change in changes_in(gates_and_latches, range(first_seed, min(first_seed + CHUNK, CIRCUITS))):
        for end in change.quiet_ends:
            named = [arrival.events.may_glitch for arrival in change.arrivals if arrival.instant == end.instant]
            if named:
                assert change.static_glitches(end) <= frozenset().union(*named), where


def test_the_compared_circuits_race_oscillate_and_glitch_and_also_do_none_of_it() -> None:
    seen: Counter[str] = Counter()
    for _, change in changes_in(one_loop, range(CHUNK)):
        ends = change.any_delay_ends()
        seen["races"] += sum(is_quiet for _, is_quiet in ends) > 1
        seen["oscillates"] += any(not is_quiet for _, is_quiet in ends)
        seen["settles"] += len(ends) == 1
    for _, change in changes_in(gates_and_latches, range(CHUNK)):
        glitches = set().union(*(change.static_glitches(end) for end in change.quiet_ends))
        seen["glitches" if glitches else "is clean"] += 1
    least = {"races": 5, "oscillates": 15, "settles": 100, "glitches": 15, "is clean": 100}
    assert {name: seen[name] for name, number in least.items() if seen[name] < number} == {}


# Where the views part, on purpose: the smallest circuits that random search found.


def test_a_dynamic_glitch_is_the_business_of_the_any_delay_view_alone() -> None:
    """12.6: a net that ends where it did not begin is not judged in the settled view."""
    text = """circuit carillon
    input lever by hand
    bell_0 = lever
    bell_1 = xor(lever, bell_0)
    bell_2 = or(bell_1, lever)
"""
    change = only_change(text, lever=1)
    (end,) = change.quiet_ends
    names = [net.name for net in change.moves.netlist.nets]
    assert {names[net] for net in change.dynamic_glitches(end)} == {"bell_2"}
    assert all(names.index("bell_2") not in arrival.events.may_glitch for arrival in change.arrivals)


def test_a_slow_gate_in_front_of_a_loop_can_make_it_race_in_the_any_delay_view_alone() -> None:
    """In the settled view what comes from outside a loop is there at once (12.2): a lever that passes a gate on one way
    and none on the other reaches the pair at one time there, and at two times here."""
    text = """circuit carillon
    input lever
    bell_0 = or(lever, lever)
    bell_1 = xnor(bell_0, lever)
    bell_2 = nand(lever, bell_3)
    bell_3 = nand(bell_1, bell_2)
"""
    change = only_change(text, lever=0)
    assert len(change.settled_ends()) == 1
    assert change.settled_ends() < change.any_delay_ends()
