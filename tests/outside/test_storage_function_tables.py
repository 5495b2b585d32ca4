"""The function tables of 74-series latches, flip-flops, counters and a shift register: claims in the wiring files here.

The files name the source of each table. A circuit's `breaks` list says which rows a miswired part disobeys.
"""

from __future__ import annotations

import re

import pytest

import verifier
from outside.judging import HERE, circuits_of, expected_words, judged, words
from outside.walking import number, walked
from verifier import Verdict
from verifier.language import loads

FILES = ("latches.wiring", "flip_flops.wiring", "counters.wiring")
CIRCUIT = re.compile(r"(?m)^circuit (\w+)")
CIRCUITS = [(name, circuit) for name in FILES for circuit in CIRCUIT.findall((HERE / name).read_text())]


@pytest.mark.parametrize(("file_name", "circuit"), CIRCUITS)
def test_every_row_is_proved_or_broken_as_the_data_book_has_it(file_name: str, circuit: str) -> None:
    design = circuits_of(file_name)[circuit]
    assert words(judged(design)) == expected_words(design)


@pytest.mark.parametrize("file_name", FILES)
def test_beside_every_table_stand_a_part_that_obeys_it_and_one_that_does_not(file_name: str) -> None:
    obeying: dict[str, set[bool]] = {}
    for design in circuits_of(file_name).values():
        if design.contract is not None:
            breaks = any(claim.expected_to_break for claim in design.claims)
            obeying.setdefault(design.contract, set()).add(not breaks)
    assert obeying
    assert set(map(frozenset, obeying.values())) == {frozenset({True, False})}


def test_a_row_turned_over_in_the_file_is_broken() -> None:
    text = (HERE / "latches.wiring").read_text()
    contract, circuit = text[text.index("contract quarter_7475") :], "circuit packaged_7475"
    turned = contract[: contract.index("# The four NANDs")].replace("d only when q and", "d only when not q and")
    assert circuit in turned
    (design,) = loads(turned, "turned.wiring").designs
    assert words(judged(design))["high_row"] == "broken"


# Plain 7476: from memory.
def test_a_master_slave_catches_a_set_that_came_and_went_and_an_edge_triggered_part_does_not() -> None:
    caught = {}
    for name, design in circuits_of("master_slave.wiring").items():
        still, result = verifier.check_design(design, claims=["still_row", "catches"]).claims
        assert still.verdict is Verdict.PROVED
        caught[name] = (result.verdict.value, None if result.run is None else len(result.run))
    # Power-up, clock up, j up, j down, clock down.
    assert caught == {"master_slave_7476": ("shown", 5), "edge_triggered_7476": ("impossible", None)}


@pytest.mark.parametrize("circuit", ["master_slave_7476", "edge_triggered_7476"])
def test_with_j_and_k_held_through_the_pulse_both_obey_the_jk_table(circuit: str) -> None:
    design = circuits_of("master_slave.wiring")[circuit]
    graph = walked(design)
    seen = set()
    for low in graph:
        for high in graph.successors(low):
            for after in graph.successors(high):
                clocks = [number(design, instant, "clock") for instant in (low, high, after)]
                pins = {tuple(number(design, instant, pin) for pin in "jk") for instant in (low, high, after)}
                if clocks == [0, 1, 0] and len(pins) == 1:
                    ((j, k),) = pins
                    seen.add((j, k, number(design, low, "q"), number(design, after, "q")))
    # j, k, q before, q after: hold, reset, set, toggle.
    rows = "0000 0011 0100 0110 1001 1011 1101 1110"
    assert seen == {tuple(int(digit) for digit in row) for row in rows.split()}
