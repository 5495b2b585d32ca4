"""Maximal-length registers: periods on the model that the engines see, and proofs that zero is never reached."""

from __future__ import annotations

import pytest

from outside.judging import design_of, lengths, verdicts
from outside.walking import cycle_lengths, next_table, period_from, values_reached

# Taps with stages numbered from 1: Alfke, XAPP 052, 1996, table 3, as transcribed in public code.
MAXIMAL = {
    3: (3, 2),
    4: (4, 3),
    5: (5, 3),
    6: (6, 5),
    7: (7, 6),
    8: (8, 6, 5, 4),
    9: (9, 5),
    10: (10, 7),
    11: (11, 9),
    12: (12, 6, 4, 1),
    13: (13, 4, 3, 1),
    14: (14, 5, 3, 1),
    15: (15, 14),
    16: (16, 15, 13, 4),
}


def melody(taps: tuple[int, ...], claims: str = "", start: int | str = 1, feedback: str = "xor") -> str:
    length = taps[0]
    pins = ", ".join(f"note[{tap - 1}]" for tap in taps)
    return f"""circuit melody
    input  tempo free running
    output note[{length}]
    note = flipflop(join(note[{length - 2}..0], {feedback}({pins}))) on rise of tempo start {start}
    must never_zero: never note == 0
    {claims}
"""


@pytest.mark.parametrize("length", MAXIMAL)
def test_published_taps_give_the_period_of_all_states_but_one(length: int) -> None:
    table = next_table(design_of(melody(MAXIMAL[length])), "note", "tempo")
    assert period_from(table, 1) == 2**length - 1
    assert table[0] == 0


@pytest.mark.parametrize("length", MAXIMAL)
def test_zero_is_proved_never_reached_from_one(length: int) -> None:
    assert verdicts(melody(MAXIMAL[length])) == {"never_zero": "proved", "settles": "proved"}


# Own computation.
@pytest.mark.parametrize(("taps", "period"), [((4, 2), 6), ((8, 7), 63)])
def test_other_taps_have_a_shorter_period(taps: tuple[int, ...], period: int) -> None:
    assert period_from(next_table(design_of(melody(taps)), "note", "tempo"), 1) == period


@pytest.mark.parametrize("length", range(3, 8))
def test_the_simulator_walks_through_all_states_but_zero(length: int) -> None:
    assert values_reached(design_of(melody(MAXIMAL[length])), "note") == set(range(1, 2**length))


def test_the_simulator_does_not_walk_through_all_states_with_other_taps() -> None:
    assert len(values_reached(design_of(melody((4, 2))), "note")) == 6


@pytest.mark.parametrize("length", [3, 4])
def test_every_value_but_zero_is_shown_after_as_many_rises_as_the_walk_takes(length: int) -> None:
    table = next_table(design_of(melody(MAXIMAL[length])), "note", "tempo")
    rises = {1: 0}
    value = 1
    for count in range(1, 2**length - 1):
        value = table[value]
        rises[value] = count
    claims = "\n    ".join(f"can is_{value}: note == {value}" for value in range(2**length))
    found = lengths(melody(MAXIMAL[length], claims))
    # The first instant comes with tempo low; then every other instant is a rise.
    expected = {f"is_{value}": max(1, 2 * count) for value, count in rises.items()}
    assert found == {"never_zero": None, "is_0": None, "settles": None} | expected


def test_from_a_power_up_that_is_left_open_zero_is_there_at_once_and_stays() -> None:
    stuck = "must leaves_zero: (tempo rises and before note == 0) only when note != 0"
    found = lengths(melody(MAXIMAL[4], stuck, start="unknown"))
    assert found == {"never_zero": 1, "leaves_zero": 2, "settles": None}


def test_with_xnor_the_dead_state_is_all_ones() -> None:
    # Alfke, XAPP 052: with XNOR feedback the lock-up state is all ones, and the register may start from zero.
    table = next_table(design_of(melody(MAXIMAL[5], start=0, feedback="xnor")), "note", "tempo")
    assert cycle_lengths(table) == [1, 31]
    assert table[31] == 31
    assert period_from(table, 0) == 31
