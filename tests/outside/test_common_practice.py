"""What builders know of change-overs, ripple counters and carries: common practice, no source, unless one is named."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from outside.judging import HERE, circuits_of, design_of, expected_words, judged, lengths, verdicts, words
from outside.walking import number
from verifier import Design
from verifier.claims.run import Instant

CHANGE_OVERS = ("plain_multiplexer", "two_registers", "one_register", "registers_not_crossed")


@pytest.mark.parametrize("circuit", CHANGE_OVERS)
def test_change_overs_do_and_do_not_what_builders_say_of_them(circuit: str) -> None:
    design = circuits_of("change_over.wiring")[circuit]
    assert words(judged(design)) == expected_words(design)


def test_every_change_over_in_the_file_is_judged() -> None:
    assert set(circuits_of("change_over.wiring")) == set(CHANGE_OVERS)
    assert "breaks no_false_edge, no_cut_in" in (HERE / "change_over.wiring").read_text()


def test_the_false_edge_of_the_multiplexer_comes_with_the_choice_alone() -> None:
    design = circuits_of("change_over.wiring")["plain_multiplexer"]
    run = judged(design)["no_false_edge"].run
    assert run is not None
    assert len(run) == 2
    moved = [name for name in ("tempo", "lever", "choose", "beat") if _moves(design, run.instants, name)]
    assert moved == ["choose", "beat"]


def _moves(design: Design, instants: Sequence[Instant], name: str) -> bool:
    before, after = (number(design, instant, name) for instant in instants[-2:])
    return before != after


def test_the_first_press_after_a_switch_is_lost_and_the_second_is_not() -> None:
    design = circuits_of("change_over.wiring")["two_registers"]
    found = judged(design)
    assert found["no_first_press_lost"].verdict.value == "broken"
    assert found["second_press_counts"].verdict.value == "proved"


RIPPLE = "\n    ".join(
    [
        "count[0] = toggle(1) on fall of tempo start 0",
        "count[1] = toggle(1) on fall of count[0] start 0",
        "count[2] = toggle(1) on fall of count[1] start 0",
    ]
)
TOGETHER = "count = flipflop(count + 1) on fall of tempo start 0"
GRAY = "\n    ".join(
    [
        "count[0] = flipflop(xnor(count[2], count[1])) on fall of tempo start 0",
        "count[1] = flipflop(if count[0] then not count[2] else count[1]) on fall of tempo start 0",
        "count[2] = flipflop(if count[0] then count[2] else count[1]) on fall of tempo start 0",
    ]
)


def decoder(counter: str) -> str:
    ways = [f"strike_{value} = and({', '.join(_pin(value, bit) for bit in range(3))})" for value in range(8)]
    claims = [f"must clean_{value}: strike_{value} never glitches" for value in range(8)]
    outputs = ", ".join(f"strike_{value}" for value in range(8))
    head = ["circuit quarters", "input tempo free running", f"output count[3], {outputs}"]
    return "\n    ".join([*head, counter, *ways, *claims, "can comes_round: count == 0 and before count != 0"])


def _pin(value: int, bit: int) -> str:
    return f"count[{bit}]" if value >> bit & 1 else f"not count[{bit}]"


def first_spike(value: int, order: list[int]) -> int | None:
    """The number of the step, counted from 1, in which the decoder of a value may spike, by hand.

    While some bits change, each at a moment of its own, a decoder may see any mixture of the old and the new ones.
    """
    for number_of_step in range(1, len(order) + 1):
        old, new = order[number_of_step - 1], order[number_of_step % len(order)]
        moving = old ^ new
        if value not in (old, new) and (value ^ old) & ~moving == 0:
            return number_of_step
    return None


# Motorola FAST and LS TTL Data, p. 5-229 (LS196/LS197): outputs of a ripple counter do not change together, decoded
# outputs show spikes and are not for clocks or strobes. That a synchronous counter's do so too: common practice.
@pytest.mark.parametrize("counter", [RIPPLE, TOGETHER])
def test_decoded_outputs_of_a_binary_counter_spike_when_the_passing_values_come_by(counter: str) -> None:
    found = lengths(decoder(counter))
    for value in range(8):
        step = first_spike(value, list(range(8)))
        assert step is not None
        # Power-up with tempo high, then a fall at every other instant.
        assert found[f"clean_{value}"] == 2 * step


def test_decoded_outputs_of_a_gray_counter_never_spike() -> None:
    order = [0, 1, 3, 2, 6, 7, 5, 4]
    assert {first_spike(value, order) for value in range(8)} == {None}
    assert verdicts(decoder(GRAY)) == {
        **{f"clean_{value}": "proved" for value in range(8)},
        "comes_round": "shown",
        "settles": "proved",
    }


def carrying(carry: str) -> str:
    return f"""circuit strokes
    input  tempo free running
    input  enable by hand
    output count[4], carry
    step  = enable
    count = flipflop(if step then count + 1 else count) on rise of tempo start 0
    {carry}
    must clean: carry never glitches
    can  full:  carry rises
"""


# Motorola F161A/F163A sheet: the terminal count is open to decoding spikes, and not for use as a clock or as an
# asynchronous reset.
def test_the_terminal_count_of_a_161_may_spike_and_one_behind_a_flip_flop_does_not() -> None:
    plain = lengths(carrying("carry = enable and count == 15"))
    # The first mixture that holds fifteen is the one from 7 to 8: the eighth rise.
    assert plain["clean"] == 16
    kept = verdicts(carrying("carry = flipflop(enable and count == 14) on rise of tempo start 0"))
    assert kept == {"clean": "proved", "full": "shown", "settles": "proved"}


def test_a_ripple_counter_counts_right_whenever_all_is_quiet() -> None:
    claims = "\n    ".join(
        [
            "must counts:  tempo falls only when count == before count + 1",
            "must at_once: (before count == 3 and count == 4) only when tempo falls",
            "must wrong:   tempo falls only when count == before count + 2",
        ]
    )
    found = verdicts(decoder(RIPPLE) + "\n    " + claims)
    assert (found["counts"], found["at_once"], found["wrong"]) == ("proved", "proved", "broken")
    assert design_of(decoder(RIPPLE)).netlist.flip_flops
