"""Textbook examples whose properties need different induction depths: what is true of them, and how deep it must go.

Published idea: Sheeran, Singh, Stalmarck, FMCAD 2000. The numbers are own computation, made again here on the model
that the engines see. A property is proved at depth k when k good states in a row never lead to a bad one, and the first
k are good.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from outside.judging import design_of, lengths, verdicts
from outside.walking import next_table

MOD_6 = "if count == 6 then 7 else (if count == 7 then 0 else (if count == 5 then 0 else count + 1))"
BCD = "if count == 9 then 0 else count + 1"
JOHNSON = "join(count[2..0], not count[3])"


def counter(width: int, rule: str, start: int | str, claims: list[str], enabled: bool = False) -> str:
    taken = "if enable then following else count" if enabled else "following"
    lines = [
        "circuit bells",
        "input tempo, enable" if enabled else "input tempo free running",
        f"output count[{width}]",
        f"following = {rule}",
        f"net following[{width}]",
        f"count = flipflop({taken}) on rise of tempo start {start}",
        *claims,
    ]
    return "\n    ".join(lines)


def never(*values: int) -> list[str]:
    return [f"must never_{value}: never count == {value}" for value in values]


def induction_depth(table: list[int], start: int, is_bad: Callable[[int], bool]) -> int:
    """The smallest k at which the property is proved: every path of good states is followed until it ends or is bad."""
    ends = {value for value in range(len(table)) if not is_bad(value) and is_bad(table[value])}
    depth, first = 1, start
    while ends:
        assert not is_bad(first)
        ends = {value for value in range(len(table)) if not is_bad(value) and table[value] in ends}
        depth, first = depth + 1, table[first]
        assert depth <= len(table) + 1
    return depth


# width, rule, bad value, depth
EXAMPLES = {
    "mod 6, never 7": (3, MOD_6, 7, 2),
    "BCD, never 10": (4, BCD, 10, 1),
    "BCD, never 12": (4, BCD, 12, 3),
    "BCD, never 15": (4, BCD, 15, 6),
    "Johnson, never 0101": (4, JOHNSON, 0b0101, 8),
}


@pytest.mark.parametrize("example", EXAMPLES)
def test_the_bad_value_is_proved_away_from_the_start_and_there_at_once_from_any_power_up(example: str) -> None:
    width, rule, bad, _ = EXAMPLES[example]
    assert verdicts(counter(width, rule, 0, never(bad))) == {f"never_{bad}": "proved", "settles": "proved"}
    assert lengths(counter(width, rule, "unknown", never(bad))) == {f"never_{bad}": 1, "settles": None}


@pytest.mark.parametrize("example", [name for name in EXAMPLES if not name.startswith("BCD, never 10")])
def test_the_depth_of_induction_on_the_engines_model_is_the_known_one(example: str) -> None:
    width, rule, bad, depth = EXAMPLES[example]
    table = next_table(design_of(counter(width, rule, 0, never(bad))), "count", "tempo")
    assert _depth(table, bad) == depth


def test_never_ten_of_a_bcd_counter_is_inductive_by_itself() -> None:
    table = next_table(design_of(counter(4, BCD, 0, never(10))), "count", "tempo")
    assert _depth(table, 10) == 1


def _depth(table: list[int], bad: int) -> int:
    return induction_depth(table, 0, lambda value: value == bad)


# With a count enable a good state may wait for ever in front of the bad one, so plain induction never gets there.
@pytest.mark.parametrize("example", ["mod 6, never 7", "BCD, never 15"])
def test_with_an_enable_no_plain_depth_is_enough_and_the_claim_is_proved_all_the_same(example: str) -> None:
    width, rule, bad, _ = EXAMPLES[example]
    assert verdicts(counter(width, rule, 0, never(bad), enabled=True))[f"never_{bad}"] == "proved"
    stays = [f"can waits: count == {bad - 1} and once (tempo rises and count steady and not enable)"]
    found = verdicts(counter(width, rule, bad - 1, [*never(bad), *stays], enabled=True))
    assert (found[f"never_{bad}"], found["waits"]) == ("broken", "shown")


# From the unused state 10 the counter runs through 11 .. 15 and back to 0: as many rises as the good states in a row.
@pytest.mark.parametrize(("bad", "rises"), [(12, 2), (15, 5)])
def test_from_an_unused_state_the_bad_one_comes_after_as_many_rises_as_its_depth_says(bad: int, rises: int) -> None:
    found = lengths(counter(4, BCD, 10, never(bad)))
    assert found[f"never_{bad}"] == 2 * rises
    assert rises == EXAMPLES[f"BCD, never {bad}"][3] - 1


def test_unused_states_of_the_mod_6_counter_are_left_and_never_entered_again() -> None:
    claims = [
        "must leaves:     (tempo rises and before count == 7) only when count == 0",
        "must stays_used: before count < 6 only when count < 6",
        "must starts:     count < 6",
        "must back:       count >= 6 leads to count < 6 within 2 rises of tempo",
        "must too_soon:   count >= 6 leads to count < 6 within 1 rises of tempo",
    ]
    assert verdicts(counter(3, MOD_6, "unknown", claims)) == {
        "leaves": "proved",
        "stays_used": "proved",
        "starts": "broken",
        "back": "proved",
        "too_soon": "broken",
        "settles": "proved",
    }


# Own computation: two shift registers of d stages on one input have equal last stages; plain induction needs depth d.
@pytest.mark.parametrize("stages", [1, 2, 3, 4])
def test_two_shift_registers_on_one_input_end_equal_if_they_start_equal(stages: int) -> None:
    def registers(start: str, other_start: str) -> str:
        shifted = f"join({{0}}[{stages - 2}..0], lever)" if stages > 1 else "lever"
        lines = [
            "circuit pair",
            "input tempo, lever",
            f"output one[{stages}], other[{stages}]",
            f"one = flipflop({shifted.format('one')}) on rise of tempo start {start}",
            f"other = flipflop({shifted.format('other')}) on rise of tempo start {other_start}",
            f"must equal_ends: one[{stages - 1}] == other[{stages - 1}]",
            f"can high_ends: one[{stages - 1}] rises",
        ]
        return "\n    ".join(lines)

    assert verdicts(registers("0", "0")) == {"equal_ends": "proved", "high_ends": "shown", "settles": "proved"}
    # Different in the first stage alone: that difference is at the end after one rise less than there are stages.
    assert lengths(registers("0", "1"))["equal_ends"] == max(1, 2 * (stages - 1))
