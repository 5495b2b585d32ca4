"""What the last line below the table of a run of a delay view says."""

from dataclasses import replace

import pytest
from report.timed_runs import (
    AT_REST,
    HAZARD,
    HIGH,
    NAND_MUX,
    STAGE,
    Move,
    claim_of,
    design_of,
    last_sentence,
    page_of,
    run_in_time,
)

from verifier.claims import formula as tree
from verifier.claims.claim import Claim, View
from verifier.claims.run import StepEvents
from verifier.evidence.verdict import Verdict


@pytest.mark.parametrize(
    ("claim", "moves", "said"),
    [
        ("wide", HAZARD, "broken at 18 ns: beat was low for 11 ns"),
        ("clean_beat", HAZARD, "broken at 18 ns: beat was low for 11 ns"),
        ("quick", (*HAZARD[:5], (16, "")), "broken at 16 ns: no (beat rises) within 12 ns of (choose falls) at 3 ns"),
        (
            "quickest",
            (*HAZARD[:5], (15, "")),
            "broken at 15 ns: no (beat rises) within 11 ns of (choose falls) at 3 ns",
        ),
        ("clean", HAZARD, "broken at 18 ns: beat changes a second time since choose changed"),
        (
            "recent",
            HAZARD[:3],
            "broken at 7 ns: beat falls, but (choose changes within the last 3 ns) does not hold",
        ),
        (
            "slow_edges",
            HAZARD[:2],
            "broken at 5 ns: choose changes at 3 ns, but up to 5 ns this has not come: beat rises",
        ),
    ],
)
def test_claims_in_time_say_what_was_too_short_or_too_late(claim: str, moves: tuple[Move, ...], said: str) -> None:
    design = design_of(NAND_MUX)
    assert last_sentence(design, claim, run_in_time(design, HIGH, *moves)) == said


def test_an_answer_that_came_in_between_does_not_count_for_what_was_asked_later() -> None:
    text = """
circuit echo_box
    input  rope
    output echo
    echo = rope takes 2 ns
    must answers: rope leads to echo falls within 6 ns
"""
    design = design_of(text)
    moves = [(1, "rope"), (3, "echo"), (5, "rope"), (7, "echo"), (20, "rope"), (22, "echo"), (27, "")]
    run = run_in_time(design, {"rope": 0, "echo": 0}, *moves)
    assert last_sentence(design, "answers", run) == "broken at 27 ns: no (echo falls) within 6 ns of rope at 20 ns"


def test_of_two_bits_the_shorter_pulse_is_told_and_only_of_the_kind_that_is_asked_for() -> None:
    # The language has pulses of one bit alone; the tree of a claim has room for more.
    text = """
circuit bells
    input  rope[2]
    output bell[2]
    bell = rope takes 1 ns
    must long in timed view: never (bell == 3)
"""
    design = design_of(text)
    nets = design.netlist.signals["bell"]
    bells = tree.Signal(name="bell", nets=nets, width=2)

    def claim(pulses: tree.Pulses) -> Claim:
        formula = tree.PulsesLast(signal=bells, pulses=pulses, at_least=tree.Bound(40, tree.Unit.NANOSECONDS))
        return replace(claim_of(design, "long"), formula=formula)

    start = dict.fromkeys(["rope[0]", "rope[1]", "bell[0]", "bell[1]"], 0)
    strokes: list[Move] = [(1, "rope[1]"), (2, "bell[1]"), (5, "rope[0]"), (6, "bell[0]")]
    both: list[Move] = [*strokes, (11, "rope[0] rope[1]"), (12, "bell[0] bell[1]")]
    assert last_sentence(design, claim(tree.Pulses.HIGH), run_in_time(design, start, *both)) == (
        "broken at 12 ns: bell[0] was high for 6 ns"
    )
    # bell[1] is struck again when bell[0], struck for longer, falls silent
    again: list[Move] = [*strokes, (11, "rope[1]"), (12, "bell[1]"), (20, "rope[0] rope[1]"), (21, "bell[0] bell[1]")]
    assert last_sentence(design, claim(tree.Pulses.LOW), run_in_time(design, start, *again)) == (
        "broken at 21 ns: bell[1] was low for 9 ns"
    )
    assert last_sentence(design, claim(tree.Pulses.HIGH), run_in_time(design, start, *again)) == (
        "broken at 21 ns: bell[0] was high for 15 ns"
    )
    assert last_sentence(design, claim(tree.Pulses.BOTH), run_in_time(design, start, *again)) == (
        "broken at 21 ns: bell[1] was low for 9 ns"
    )


def test_a_glitch_of_a_bus_names_its_bits_and_one_from_power_up_says_so() -> None:
    text = """
circuit ringing
    input  rope strapped
    output chime[2]
    echo     = nand(rope, chime[1]) takes 3 ns start 1
    chime[1] = echo                 takes 2 ns start 1
    chime[0] = 0                    takes 1 ns
    must clean in timed view: chime never glitches
"""
    design = design_of(text)
    start = {"rope": 1, "echo": 1, "chime[1]": 1, "chime[0]": 0}
    run = run_in_time(design, start, (3, "echo"), (5, "chime[1]"), (8, "echo"), (10, "chime[1]"))
    assert last_sentence(design, "clean", run) == "broken at 10 ns: chime[1] changes a second time since power-up"


@pytest.mark.parametrize(
    ("events", "said"),
    [
        (StepEvents(oscillated=True), "from here parts may fire for ever while no input changes"),
        (
            StepEvents(raced=True),
            "from here it may come to rest in more than one state: which one hangs on which part is faster",
        ),
    ],
)
def test_what_does_not_settle_without_delays_says_how(events: StepEvents, said: str) -> None:
    # The circuit settles; how the events of such a run are told is all that is asked here.
    design = design_of(NAND_MUX)
    run = run_in_time(design, HIGH, *HAZARD[:1], timed=False)
    marked = replace(run, events=(*run.events[:-1], events))
    settles = replace(claim_of(design, "settles"), view=View.ANY_DELAY)
    assert last_sentence(design, settles, marked) == f"broken at step 1: {said}"
    assert page_of(design, settles, marked)[:3] == [
        "nand_mux: settles is broken in any delay view",
        "  always there: after power-up and after each input change it comes to rest,",
        "      and in one state alone",
    ]


def test_a_shown_claim_in_time_says_when() -> None:
    design = design_of(NAND_MUX)
    rows = page_of(design, "stays_low", run_in_time(design, HIGH, *HAZARD[:4]), Verdict.SHOWN)
    assert rows[-1] == "    shown at 8 ns: beat is low and beat was low before"


@pytest.mark.parametrize(
    ("claim", "moves", "said"),
    [
        (
            "q.set_up",
            ((7, "d"), (10, "clk")),
            "10 ns: the data pin d changed 3 ns before the clock edge; set-up asks for 20 ns",
        ),
        (
            "q.set_up",
            ((7, "d"), (7, "clk")),
            "7 ns: the data pin d changed 0 ns before the clock edge; set-up asks for 20 ns",
        ),
        (
            "q.hold",
            ((7, "clk"), (9, "d")),
            "9 ns: the data pin d changed 2 ns after the clock edge; hold asks for 5 ns",
        ),
        ("q.clock_width", ((7, "clk"), (19, "clk")), "19 ns: the clock clk was high for 12 ns; q asks for 25 ns"),
        ("q.clear_width", ((7, "clr"), (9, "clr")), "9 ns: the clear pin clr was low for 2 ns; q asks for 10 ns"),
        (
            "p.set_up",
            ((7, "en"), (17, "d"), (21, "p"), (25, "en")),
            "25 ns: the data pin d changed 8 ns before the end of the enable en; set-up asks for 20 ns",
        ),
        (
            "p.hold",
            ((7, "en"), (47, "en"), (48, "d")),
            "48 ns: the data pin d changed 1 ns after the end of the enable en; hold asks for 5 ns",
        ),
        ("p.clock_width", ((7, "en"), (16, "en")), "16 ns: the enable en was high for 9 ns; p asks for 20 ns"),
    ],
)
def test_what_storage_asks_of_its_pins_is_told_with_both_figures(
    claim: str, moves: tuple[Move, ...], said: str
) -> None:
    design = design_of(STAGE)
    assert last_sentence(design, claim, run_in_time(design, AT_REST, *moves)) == f"broken at {said}"


def test_data_that_changes_in_the_very_move_of_the_clock_is_told_as_such() -> None:
    design = design_of(STAGE.replace("input  d, clk", "inputs may change together\n    input  d, clk"))
    run = run_in_time(design, AT_REST, (30, "d clk"))
    together = "broken at 30 ns: the data pin d changed together with the clock edge"
    assert last_sentence(design, "q.set_up", run) == f"{together}; set-up asks for 20 ns"
    assert last_sentence(design, "q.hold", run) == f"{together}; hold asks for 5 ns"


def test_the_claim_of_a_figure_is_told_as_always_there() -> None:
    design = design_of(STAGE)
    rows = page_of(design, "q.hold", run_in_time(design, AT_REST, (7, "clk"), (9, "d")))
    assert rows[:2] == ["stage: q.hold is broken in timed view", "  always there: q: hold of at least 5 ns"]
