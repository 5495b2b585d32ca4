"""Johnson and ring counters: how many states they use, and the cycles that they do not use."""

from __future__ import annotations

import pytest

from outside.judging import design_of, verdicts
from outside.walking import cycle_lengths, edges_of, next_table, values_reached

# Wakerly; Mano (from memory); own computation.
JOHNSON_CYCLES = {3: [2, 6], 4: [8, 8], 5: [2, 10, 10, 10]}
RING_CYCLES_OF_4 = [1, 1, 2, 4, 4, 4]


def hammers(length: int, fed_back: str, start: int | str, claims: list[str]) -> str:
    lines = "\n    ".join(claims or ["can comes_up: ring == 0"])
    return f"""circuit hammers
    input  tempo free running
    output ring[{length}]
    ring = flipflop(join(ring[{length - 2}..0], {fed_back})) on rise of tempo start {start}
    {lines}
"""


def johnson(length: int, claims: list[str], start: int | str = 0) -> str:
    return hammers(length, f"not ring[{length - 1}]", start, claims)


def ring(length: int, claims: list[str], start: int | str = 1) -> str:
    return hammers(length, f"ring[{length - 1}]", start, claims)


def johnson_states(length: int) -> set[int]:
    """Ones filled in from below, then zeros."""
    top = (1 << length) - 1
    filled = {(1 << ones) - 1 for ones in range(length + 1)}
    return filled | {top ^ value for value in filled}


def claims_about(length: int, used: set[int]) -> tuple[list[str], dict[str, str]]:
    """Every used value can come and no other ever does: the claims and the verdicts they ought to have."""
    claims, expected = [], {"settles": "proved"}
    for value in range(1 << length):
        if value in used:
            claims.append(f"can comes_{value}: ring == {value}")
            expected[f"comes_{value}"] = "shown"
        else:
            claims.append(f"must never_{value}: never ring == {value}")
            expected[f"never_{value}"] = "proved"
    return claims, expected


# Wakerly; Mano (from memory): an n-stage Johnson counter goes through 2n states, a ring counter through n.
@pytest.mark.parametrize("length", [2, 3, 4, 5, 6])
def test_a_johnson_counter_walks_through_twice_as_many_states_as_it_has_stages(length: int) -> None:
    reached = values_reached(design_of(johnson(length, [])), "ring")
    assert len(reached) == 2 * length
    assert reached == johnson_states(length)


@pytest.mark.parametrize("length", [2, 3, 4, 5, 6])
def test_a_ring_counter_walks_through_as_many_states_as_it_has_stages(length: int) -> None:
    assert values_reached(design_of(ring(length, [])), "ring") == {1 << bit for bit in range(length)}


@pytest.mark.parametrize("length", [3, 4, 5])
def test_the_used_states_of_a_johnson_counter_are_shown_and_the_others_proved_away(length: int) -> None:
    claims, expected = claims_about(length, johnson_states(length))
    assert verdicts(johnson(length, claims)) == expected


@pytest.mark.parametrize("length", [3, 4, 5])
def test_the_used_states_of_a_ring_counter_are_shown_and_the_others_proved_away(length: int) -> None:
    claims, expected = claims_about(length, {1 << bit for bit in range(length)})
    assert verdicts(ring(length, claims)) == expected


def test_a_ring_counter_that_was_miswired_as_a_johnson_counter_is_noticed() -> None:
    claims, expected = claims_about(4, {1, 2, 4, 8})
    found = verdicts(johnson(4, claims, start=1))
    wrong = {name for name, word in expected.items() if found[name] != word}
    # From 1 the Johnson counter goes 3, 7, 15, 14, 12, 8, 0: it never meets 2 and 4.
    assert wrong == {"comes_2", "comes_4", "never_0", "never_3", "never_7", "never_12", "never_14", "never_15"}
    assert {found[name] for name in wrong} == {"broken", "impossible"}


@pytest.mark.parametrize("length", JOHNSON_CYCLES)
def test_from_every_power_up_a_johnson_counter_has_the_known_cycles(length: int) -> None:
    design = design_of(johnson(length, [], start="unknown"))
    assert cycle_lengths(next_table(design, "ring", "tempo")) == JOHNSON_CYCLES[length]
    edges = edges_of(design, "ring", "tempo")
    assert [edges.out_degree(value) for value in range(1 << length)] == [1] * (1 << length)
    assert cycle_lengths([next(iter(edges[value])) for value in range(1 << length)]) == JOHNSON_CYCLES[length]


def test_from_every_power_up_a_ring_counter_has_the_known_cycles() -> None:
    design = design_of(ring(4, [], start="unknown"))
    assert cycle_lengths(next_table(design, "ring", "tempo")) == RING_CYCLES_OF_4


@pytest.mark.parametrize("length", [3, 4, 5])
def test_a_johnson_counter_never_finds_in_from_an_unused_state(length: int) -> None:
    used = " or ".join(f"ring == {value}" for value in sorted(johnson_states(length)))
    claims = [
        f"let used = ({used})",
        "must stays_in: before used only when used",
        "must stays_out: not before used only when not used",
        "must starts_in: used",
    ]
    assert verdicts(johnson(length, claims, start="unknown")) == {
        "stays_in": "proved",
        "stays_out": "proved",
        "starts_in": "broken",
        "settles": "proved",
    }


# Own computation: the unused cycle of three stages is 2 and 5.
def test_the_unused_cycle_of_three_stages_is_two_and_five() -> None:
    claims, expected = claims_about(3, {2, 5})
    assert verdicts(johnson(3, claims, start=2)) == expected
