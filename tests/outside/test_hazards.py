"""The static-1 hazard of `a b + not a c`, its consensus cure, and where exactly it is."""

from __future__ import annotations

from itertools import product

import pytest

from outside.judging import design_of, judged, lengths, verdicts
from outside.walking import first_instants, number
from verifier.evidence.simulator import Simulator

SELECTOR = "(a and b) or (not a and c)"
WITH_CONSENSUS = "or(a and b, not a and c, b and c)"


def lamp(function: str, given: str = "", together: bool = False) -> str:
    lines = [f"given rest: {given}"] if given else []
    lines += ["inputs may change together"] if together else []
    return "\n    ".join(
        ["circuit lamp", "input a, b, c", "output f", *lines, f"f = {function}", "must clean: f never glitches"]
    )


# Huffman 1957; McCluskey 1962 (names looked up, the place of the hazard own computation): with b = c = 1, a change of
# `a` may send f low for a moment; the consensus term `b c` holds it.
def test_the_selector_has_a_static_hazard_and_the_consensus_term_cures_it() -> None:
    assert verdicts(lamp(SELECTOR))["clean"] == "broken"
    assert verdicts(lamp(WITH_CONSENSUS))["clean"] == "proved"


def test_the_hazard_shows_with_the_first_change() -> None:
    assert lengths(lamp(SELECTOR))["clean"] == 2


def test_the_hazard_is_there_with_b_and_c_high_and_nowhere_else() -> None:
    assert verdicts(lamp(SELECTOR, "b and c"))["clean"] == "broken"
    assert verdicts(lamp(SELECTOR, "not (b and c)"))["clean"] == "proved"


@pytest.mark.parametrize(("b", "c"), list(product((0, 1), repeat=2)))
def test_each_pair_of_b_and_c_is_judged_as_published(b: int, c: int) -> None:
    expected = "broken" if b and c else "proved"
    assert verdicts(lamp(SELECTOR, f"b == {b} and c == {c}"))["clean"] == expected


def test_the_breaking_step_is_a_change_of_a_alone() -> None:
    design = design_of(lamp(SELECTOR))
    run = judged(design)["clean"].run
    assert run is not None
    old, new = run.instants[-2:]
    before, after = ({name: number(design, instant, name) for name in "abcf"} for instant in (old, new))
    assert before | {"a": after["a"]} == after
    assert before["a"] != after["a"]
    assert (before["b"], before["c"], before["f"]) == (1, 1, 1)


def test_either_direction_of_a_is_a_hazard() -> None:
    assert verdicts(lamp(SELECTOR, "b and c and not a falls"))["clean"] == "broken"
    assert verdicts(lamp(SELECTOR, "b and c and not a rises"))["clean"] == "broken"


@pytest.mark.parametrize("missing", [("a and b", "not a and c"), ("a and b", "b and c"), ("not a and c", "b and c")])
def test_a_cure_that_is_not_the_consensus_term_does_not_pass_as_one(missing: tuple[str, str]) -> None:
    # Two of the three terms and a constant cannot be the same function and free of the hazard.
    same = f"must same: f == ({SELECTOR})"
    found = verdicts(lamp(f"{missing[0]} or {missing[1]}") + f"\n    {same}")
    assert not (found["clean"] == "proved" and found["same"] == "proved")


def function(a: int, b: int, c: int) -> int:
    return b if a else c


# Course notes on Eichelberger 1965: a change of several inputs has a static hazard when f is the same before and after,
# and is not the same everywhere in the smallest cube around both (for a sum of all prime implicants).
def test_with_several_inputs_at_once_every_change_is_judged_as_the_theorem_says() -> None:
    design = design_of(lamp(WITH_CONSENSUS, together=True))
    simulator = Simulator(design.netlist)
    (f,) = design.netlist.signals["f"]
    by_inputs = {tuple(number(design, i, n) for n in "abc"): i for i in first_instants(design)}
    judged_pairs = 0
    for old, new in product(by_inputs, repeat=2):
        inputs = {design.netlist.signals[name][0]: bool(value) for name, value in zip("abc", new, strict=True)}
        (outcome,) = simulator.step(by_inputs[old], inputs)
        cube = product(*({before, after} for before, after in zip(old, new, strict=True)))
        values = {function(*corner) for corner in cube}
        assert (f in outcome.events.may_glitch) == (function(*old) == function(*new) and len(values) == 2)
        judged_pairs += 1
    assert judged_pairs == 64
    assert verdicts(lamp(WITH_CONSENSUS, together=True))["clean"] == "broken"


# The two-way selector shipped as `mux_2` in the netlists of the package circuitgraph is wired in this way (looked up).
def test_a_selector_gate_that_knows_better_is_no_hazard_but_its_gates_are() -> None:
    assert verdicts(lamp("if a then b else c"))["clean"] == "proved"
    assert verdicts(lamp("nand(nand(a, b), nand(not a, c))"))["clean"] == "broken"
    assert verdicts(lamp("nand(nand(a, b), nand(not a, c), nand(b, c))"))["clean"] == "proved"
