"""Cross-coupled gates and rings of inverters: which of them come to rest."""

from __future__ import annotations

import pytest

from outside.judging import design_of, judged, lengths, verdicts
from outside.walking import number, walked
from verifier import Design
from verifier.evidence.simulator import Simulator


def pair(kind: str, together: bool, further: str = "") -> str:
    lines = ["inputs may change together"] if together else []
    return "\n    ".join(
        [
            "circuit striker",
            "input up_n, down_n",
            "output struck, resting",
            *lines,
            f"struck  = {kind}(up_n, resting)",
            f"resting = {kind}(down_n, struck)",
            "can both_ends: struck == resting",
            further,
        ]
    )


# Unger 1969 (from memory); Brzozowski and Seger 1995 (own computation of the states): a NAND pair released from both
# inputs low at once has a critical race; released one after the other it has none.
def test_a_nand_pair_released_from_both_inputs_at_once_races() -> None:
    found = lengths(pair("nand", together=True))
    assert found["settles"] == 2
    assert verdicts(pair("nand", together=True))["settles"] == "broken"


def test_a_nor_pair_released_from_both_inputs_at_once_races() -> None:
    assert lengths(pair("nor", together=True))["settles"] == 2


@pytest.mark.parametrize("kind", ["nand", "nor"])
def test_a_pair_whose_inputs_move_one_at_a_time_settles(kind: str) -> None:
    assert verdicts(pair(kind, together=False))["settles"] == "proved"


@pytest.mark.parametrize("kind", ["nand", "nor"])
def test_the_race_is_the_release_of_both_and_nothing_else(kind: str) -> None:
    high, low = "up_n and down_n", "not up_n and not down_n"
    active, idle = (low, high) if kind == "nand" else (high, low)
    without = f"given never_both_released: never ({idle} and before ({active}))"
    assert verdicts(pair(kind, together=True, further=without))["settles"] == "proved"


def test_the_breaking_step_is_the_release_from_both_low() -> None:
    design = design_of(pair("nand", together=True))
    run = judged(design)["settles"].run
    assert run is not None
    seen = [[number(design, instant, name) for name in ("up_n", "down_n")] for instant in run.instants]
    assert seen == [[0, 0], [1, 1]]
    assert run.events[-1].raced


# Own computation: from 11 the race visits all four states; it ends in 01 or 10, or goes round 11 and 00 for ever.
def test_the_race_has_two_ends_and_an_endless_round() -> None:
    design = design_of(pair("nand", together=True))
    outcomes = _outcomes(design, {"up_n": 0, "down_n": 0, "struck": 1, "resting": 1}, {"up_n": 1, "down_n": 1})
    assert outcomes == {(0, 0, True), (0, 1, False), (1, 0, False), (1, 1, True)}


# Own computation: from rest with Q = 1, inputs 01 to 11 leaves 10; 01 to 10 ends in 01.
def test_ordinary_changes_of_the_pair_end_where_they_should() -> None:
    design = design_of(pair("nand", together=True))
    rest = {"up_n": 0, "down_n": 1, "struck": 1, "resting": 0}
    assert _outcomes(design, rest, {"up_n": 1, "down_n": 1}) == {(1, 0, False)}
    assert _outcomes(design, rest, {"up_n": 1, "down_n": 0}) == {(0, 1, False)}


def _outcomes(design: Design, here: dict[str, int], then: dict[str, int]) -> set[tuple[int, int, bool]]:
    instants = [i for i in walked(design) if all(number(design, i, name) == value for name, value in here.items())]
    (instant,) = instants
    inputs = {design.netlist.signals[name][0]: bool(value) for name, value in then.items()}
    return {
        (number(design, o.instant, "struck"), number(design, o.instant, "resting"), o.events.oscillated)
        for o in Simulator(design.netlist).step(instant, inputs)
    }


def ring(inverters: int) -> str:
    gates = [f"stage_{i} = not stage_{(i - 1) % inverters}" for i in range(inverters)]
    return "\n    ".join(["circuit tempo_ring", "output stage_0", *gates, "can high: stage_0", "can low: not stage_0"])


# Textbook (from memory; own computation up to 7): a ring of n inverters has no stable state for odd n, two for even n.
@pytest.mark.parametrize("inverters", [1, 3, 5, 7])
def test_a_ring_of_an_odd_number_of_inverters_never_settles(inverters: int) -> None:
    assert lengths(ring(inverters))["settles"] == 1
    assert verdicts(ring(inverters))["settles"] == "broken"


@pytest.mark.parametrize("inverters", [2, 4, 6])
def test_a_ring_of_an_even_number_of_inverters_rests_in_either_of_two_states(inverters: int) -> None:
    assert verdicts(ring(inverters)) == {"high": "shown", "low": "shown", "settles": "proved"}
    assert len(walked(design_of(ring(inverters)))) == 2


def test_a_ring_that_is_let_run_by_a_lever_rests_until_it_is_let_go() -> None:
    text = """circuit tempo_ring
    input  run by hand
    output beat
    beat  = nand(run, third)
    second = not beat
    third  = not second
    can rests: not run
    """
    assert lengths(text + "given held: not run")["settles"] is None
    assert lengths(text + "given rests_first: run only when once (not run)") == {"rests": 1, "settles": 2}
