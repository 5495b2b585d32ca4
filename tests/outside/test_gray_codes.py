"""Gray codes: from one count to the next exactly one bit changes, at the wrap-around too."""

from __future__ import annotations

import pytest

from outside.judging import design_of, lengths, verdicts
from outside.walking import edges_of

LENGTHS = [2, 3, 4, 5]


def stops(length: int, code: str, further: str = "") -> str:
    top = (1 << length) - 1
    one_bit = " or ".join(f"moved == {1 << bit}" for bit in range(length))
    return f"""circuit stops
    input  tempo free running
    output code[{length}]
    count = flipflop(count + 1) on rise of tempo start 0
    net count[{length}]
    code  = {code}
    let moved = code xor before code
    let wraps = before count == {top} and count == 0
    must one_bit_at_a_rise: tempo rises only when {one_bit}
    must still_otherwise:   not tempo rises only when moved == 0
    must one_bit_at_wrap:   wraps only when moved == {1 << (length - 1)}
    can  wrap:              wraps
    {further}
"""


def gray(length: int) -> str:
    """i xor (i >> 1)."""
    shifted = f"join(0, count[{length - 1}..1])"
    return f"count xor {shifted}"


# Gray, US patent 2,632,058, 1953 (from memory): neighbours differ in one digit.
@pytest.mark.parametrize("length", LENGTHS)
def test_neighbours_differ_in_one_bit_and_so_do_the_last_and_the_first(length: int) -> None:
    assert verdicts(stops(length, gray(length))) == {
        "one_bit_at_a_rise": "proved",
        "still_otherwise": "proved",
        "one_bit_at_wrap": "proved",
        "wrap": "shown",
        "settles": "proved",
    }


@pytest.mark.parametrize("length", LENGTHS)
def test_plain_binary_is_broken_at_the_step_from_1_to_2(length: int) -> None:
    found = lengths(stops(length, "count"))
    # Power-up, rise to 1, fall, rise to 2.
    assert found["one_bit_at_a_rise"] == 4
    assert found["one_bit_at_wrap"] == 2 * (1 << length)


@pytest.mark.parametrize("length", LENGTHS)
def test_the_code_goes_through_every_value_once_in_a_round(length: int) -> None:
    edges = edges_of(design_of(stops(length, gray(length))), "code", "tempo")
    order = [number ^ number >> 1 for number in range(1 << length)]
    assert set(edges.edges) == {(order[i - 1], order[i]) for i in range(1 << length)}


def test_a_code_wired_with_one_bit_forgotten_is_refused() -> None:
    forgotten = "join(count[2], count[1] xor count[2], count[0])"
    found = verdicts(stops(3, forgotten))
    assert found["one_bit_at_a_rise"] == "broken"


# 0, 1, 3, 2, 6, 7, 5, 4 (from memory: the reflected code of three digits)
def test_the_code_of_three_digits_is_the_published_one() -> None:
    published = [0, 1, 3, 2, 6, 7, 5, 4]
    rows = [f"must row_{count}: count == {count} only when code == {code}" for count, code in enumerate(published)]
    found = verdicts(stops(3, gray(3), "\n    ".join(rows)))
    assert {found[f"row_{count}"] for count in range(8)} == {"proved"}
    wrong = [f"must row_{count}: count == {count} only when code == {code ^ 1}" for count, code in enumerate(published)]
    found = verdicts(stops(3, gray(3), "\n    ".join(wrong)))
    assert {found[f"row_{count}"] for count in range(8)} == {"broken"}
