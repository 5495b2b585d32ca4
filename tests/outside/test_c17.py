"""c17, the smallest circuit of the 1985 set, against its truth vectors. Brglez, Fujiwara, ISCAS 1985."""

from __future__ import annotations

from itertools import product

import pytest

from outside.judging import HERE, verdicts
from outside.netlist_data import shipped

PUBLISHED = (HERE / "benchmarks.wiring").read_text()
PINS = ("N1", "N2", "N3", "N6", "N7")

# Own computation from the published netlist. Bit k is the value at k = N1 + 2 N2 + 4 N3 + 8 N6 + 16 N7.
VECTORS = {"N22": 0xACECACEC, "N23": 0x0FFF0CCC}


def c17(claims: list[str], text: str = PUBLISHED) -> str:
    logic = text[text.index("part c17_logic") :]
    lines = [
        "circuit c17",
        "input N1, N2, N3, N6, N7",
        "output N22, N23",
        "N22, N23 = c17_logic(N1, N2, N3, N6, N7)",
        "let row = join(N7, N6, N3, N2, N1)",
        *claims,
    ]
    return logic + "\n" + "\n    ".join(lines) + "\n"


def rows(output: str, vector: int) -> list[str]:
    """One claim for each of the 32 rows of the table."""
    return [
        f"must {output}_at_{index}: row == {index} only when {output} == {vector >> index & 1}" for index in range(32)
    ]


@pytest.mark.parametrize("output", VECTORS)
def test_every_row_of_the_truth_table_is_proved(output: str) -> None:
    assert verdicts(c17(rows(output, VECTORS[output]))) == {
        **{f"{output}_at_{index}": "proved" for index in range(32)},
        "settles": "proved",
    }


@pytest.mark.parametrize("output", VECTORS)
def test_every_row_turned_over_is_broken(output: str) -> None:
    found = verdicts(c17(rows(output, ~VECTORS[output])))
    assert found.pop("settles") == "proved"
    assert set(found.values()) == {"broken"}
    assert len(found) == 32


def test_the_shipped_netlist_has_the_same_vectors() -> None:
    gate_list = shipped("c17")
    found = dict.fromkeys(VECTORS, 0)
    for values in product((0, 1), repeat=5):
        index = sum(value << bit for bit, value in enumerate(values))
        for output in VECTORS:
            found[output] |= gate_list.value(output, dict(zip(PINS, values, strict=True))) << index
    assert found == VECTORS


# Looked up, and own computation: N22 = N1 N3 + N2 (N3 N6)', N23 = (N2 + N7) (N3 N6)'.
def test_the_published_equations_are_proved_and_a_wrong_one_is_not() -> None:
    claims = [
        "must first:  N22 == ((N1 and N3) or (N2 and not (N3 and N6)))",
        "must second: N23 == ((N2 or N7) and not (N3 and N6))",
        "must wrong:  N23 == ((N2 or N7) and not (N1 and N6))",
    ]
    found = verdicts(c17(claims))
    assert (found["first"], found["second"], found["wrong"]) == ("proved", "proved", "broken")


def test_a_gate_of_the_wrong_kind_breaks_rows() -> None:
    wrong = PUBLISHED.replace("N11 = nand(N3, N6)", "N11 = nor(N3, N6)")
    found = verdicts(c17(rows("N22", VECTORS["N22"]), wrong))
    # A NOR in place of a NAND differs where exactly one of N3 and N6 is high; N22 sees it with N2 high, unless N1 N3
    # hides it.
    seen = {
        index
        for index in range(32)
        if (index >> 2 & 1) != (index >> 3 & 1) and index >> 1 & 1 and not (index & 1 and index >> 2 & 1)
    }
    assert {int(name.rsplit("_", 1)[1]) for name, word in found.items() if word == "broken"} == seen
