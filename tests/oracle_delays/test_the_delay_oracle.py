"""The delay oracle itself, on circuits whose answers are worked out by hand or stand in textbooks."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise
from random import Random

import pytest

from oracle_delays.hand_worked import answers, netlist, numbers, settles, verdicts, wired
from oracle_delays.moves import Moves, NoFirstInstantError
from oracle_delays.rational_runs import Moment, random_run
from oracle_delays.real_time_claims import Reading
from verifier.circuit.netlist import NetId
from verifier.claims.claim import ClaimKind
from verifier.language import loads

LEVER = "input lever by hand"


def pulse_train(high: str, low: str = "30 ns") -> str:
    return f"input tempo free running high {high}, low {low}"


# Rings. The period of a ring of inverters is twice the sum of their delays: Weste and Harris, "CMOS VLSI Design"
# (from memory).


@pytest.mark.parametrize("stages", [3, 5])
@pytest.mark.parametrize("delay", [1, 2])
def test_a_ring_of_inverters_has_a_period_of_twice_the_summed_delay(stages: int, delay: int) -> None:
    ring = [
        f"bell_{stage} = not bell_{(stage - 1) % stages} start {stage % 2} takes {delay} ns" for stage in range(stages)
    ]
    found = numbers(
        wired(
            *ring,
            "must shortest: pulses of bell_0 last at least ? ns",
            "must most_high: bell_0 rises leads to bell_0 falls within ? ns",
            "must most_low: bell_0 falls leads to bell_0 rises within ? ns",
        )
    )
    assert found == dict.fromkeys(("shortest", "most_high", "most_low"), stages * delay)


def test_a_ring_with_ranges_is_as_fast_as_its_least_delays_and_as_slow_as_its_greatest() -> None:
    found = numbers(
        wired(
            "bell_0 = not bell_2 start 0 takes 1..3 ns",
            "bell_1 = not bell_0 start 1 takes 2..4 ns",
            "bell_2 = not bell_1 start 0 takes 1..2 ns",
            "must shortest: pulses of bell_0 last at least ? ns",
            "must most: bell_0 rises leads to bell_0 falls within ? ns",
        )
    )
    assert found == {"shortest": 1 + 2 + 1, "most": 3 + 4 + 2}


def test_unequal_edges_of_a_ring_add_up_each_in_its_own_half() -> None:
    """While bell_0 is high, bell_1 falls, bell_2 rises and bell_0 falls; while it is low, the other edges come."""
    found = numbers(
        wired(
            "bell_0 = not bell_2 start 0 takes rise 1 ns, fall 2 ns",
            "bell_1 = not bell_0 start 1 takes rise 3 ns, fall 1 ns",
            "bell_2 = not bell_1 start 0 takes rise 4 ns, fall 2 ns",
            "must high: high pulses of bell_0 last at least ? ns",
            "must low: low pulses of bell_0 last at least ? ns",
            "must most_high: bell_0 rises leads to bell_0 falls within ? ns",
            "must most_low: bell_0 falls leads to bell_0 rises within ? ns",
        )
    )
    assert found == {"high": 1 + 4 + 2, "most_high": 1 + 4 + 2, "low": 3 + 2 + 1, "most_low": 3 + 2 + 1}


def test_a_ring_of_an_even_number_of_inverters_stands_still_in_either_of_two_states() -> None:
    text = wired("bell_0 = not bell_1 takes 1 ns", "bell_1 = not bell_0 takes 1 ns")
    firsts = {point.instant for point in Moves(netlist(text)).first()}
    assert firsts == {(False, True), (True, False)}


def test_a_ring_of_an_odd_number_of_inverters_has_no_first_instant_without_starts() -> None:
    with pytest.raises(NoFirstInstantError):
        Moves(netlist(wired("bell_0 = not bell_0 takes 1 ns"))).first()


# Inertial delay: a pulse shorter than the least delay is absorbed, one longer than the greatest passes, in between both
# may happen, and both bounds are closed. Unger, "Asynchronous Sequential Switching Circuits", 1969; Brzozowski and
# Seger, "Asynchronous Circuits", 1995 (from memory).


@pytest.mark.parametrize("width", [1, 2, 3, 4, 5, 6])
def test_a_pulse_is_absorbed_below_the_range_of_a_gate_and_passes_above_it(width: int) -> None:
    low, high = 3, 5
    found = verdicts(
        wired(
            pulse_train(f"{width} ns"),
            f"bell = tempo takes {low}..{high} ns",
            "can passes in timed view: bell rises",
            "can absorbed in timed view: tempo falls and not bell and once tempo rises",
        )
    )
    assert (found["passes"] == "shown") == (width >= low)
    assert (found["absorbed"] == "shown") == (width <= high)


def test_a_pulse_shrinks_by_what_a_gate_rises_slower_than_it_falls() -> None:
    """Common practice: the width changes by the fall delay minus the rise delay, at each gate of a chain."""
    found = numbers(
        wired(
            pulse_train("10 ns"),
            "bell = tempo takes rise 4 ns, fall 2 ns",
            "chime = bell takes rise 3 ns, fall 2 ns",
            "must one: high pulses of bell last at least ? ns",
            "must two: high pulses of chime last at least ? ns",
            "must between: low pulses of chime last at least ? ns",
        )
    )
    assert found == {"one": 10 - 2, "two": 10 - 2 - 1, "between": 30 + 2 + 1}


def test_a_range_of_delays_shrinks_a_pulse_by_its_spread() -> None:
    found = numbers(
        wired(pulse_train("10 ns"), "bell = tempo takes 2..5 ns", "must wide: high pulses of bell last at least ? ns")
    )
    assert found == {"wide": 10 - (5 - 2)}


def test_a_pulse_that_no_run_ends_has_no_least_width() -> None:
    found = numbers(
        wired("input lever strapped", "bell = lever takes 1 ns", "must w: pulses of bell last at least ? ns")
    )
    assert found == {"w": None}


# Chains


def test_a_chain_answers_within_the_sum_of_its_greatest_delays_and_not_before_the_sum_of_its_least() -> None:
    found = answers(
        wired(
            LEVER,
            "bell_0 = lever takes 1..3 ns",
            "bell_1 = not bell_0 takes rise 2..4 ns, fall 1..2 ns",
            "must soon: lever rises leads to bell_1 falls within ? ns",
            "must late: lever falls leads to bell_1 rises within ? ns",
            "must caused: bell_1 rises only when lever falls within the last ? ns",
            "must not_caused: bell_1 rises only when lever falls within the last 6 ns",
            "can fast in timed view: bell_1 falls and lever rises within the last 2 ns",
            "can faster in timed view: bell_1 falls and lever rises within the last 1 ns",
        )
    )
    assert [found[name].number for name in ("soon", "late", "caused")] == [3 + 2, 3 + 4, 3 + 4]
    assert found["not_caused"].verdict == "broken"
    assert (found["fast"].verdict, found["faster"].verdict) == ("shown", "impossible")


def test_what_never_happens_makes_a_proof_empty() -> None:
    found = answers(
        wired(
            "input lever strapped", "bell = lever takes 1 ns", "must m: bell rises only when lever within the last 1 ns"
        )
    )
    assert (found["m"].verdict, found["m"].empty) == ("proved", True)


def test_an_input_by_hand_waits_for_quiet_without_apart_and_for_its_time_with_it() -> None:
    for words, shown in (("", "impossible"), (" apart 5 ns", "impossible"), (" apart 4 ns", "shown")):
        text = wired(
            f"input lever by hand{words}",
            "bell = lever takes 3..4 ns",
            "can hurried in timed view: lever falls and not bell",
        )
        assert verdicts(text)["hurried"] == shown


# Hazards. Static hazards and their cure by the consensus term: Huffman, "The design and use of hazard-free switching
# networks", 1957; Unger 1969 (from memory).

SELECTOR = (
    "input tempo, lever, choose by hand",
    "choose_n = not choose",
    "on_tempo = tempo and choose",
    "on_lever = lever and choose_n",
)


def test_a_selector_of_two_products_has_a_static_hazard_and_the_consensus_term_cures_it() -> None:
    claims = ("must clean in any delay view: beat never glitches",)
    hazard = verdicts(wired(*SELECTOR, "beat = on_tempo or on_lever", *claims))
    cured = verdicts(wired(*SELECTOR, "both = tempo and lever", "beat = or(on_tempo, on_lever, both)", *claims))
    assert (hazard["clean"], cured["clean"]) == ("broken", "proved")


@pytest.mark.parametrize(("slowness", "verdict"), [("1 ns", "broken"), ("2 ns", "broken"), ("3..4 ns", "proved")])
def test_a_slow_gate_swallows_the_hazard_pulse_of_the_inverter_in_front_of_it(slowness: str, verdict: str) -> None:
    """The pulse is as wide as the inverter is slow: 2 ns."""
    text = wired(
        "input tempo, lever strapped",
        "input choose by hand",
        "choose_n = not choose takes 2 ns",
        "on_tempo = tempo and choose takes 1 ns",
        "on_lever = lever and choose_n takes 1 ns",
        f"beat = on_tempo or on_lever takes {slowness}",
        "must clean in timed view: beat never glitches",
    )
    assert verdicts(text) == {"clean": verdict}


def test_a_dynamic_hazard_is_three_changes_where_one_is_due() -> None:
    """From memory: the input reaches the last gate by three ways, and the slowest comes last."""
    text = wired(
        "input lever by hand",
        "late = lever",
        "late_n = not late",
        "pulse = lever and late_n",
        "later = late",
        "bell = pulse or later",
        "must clean in any delay view: bell never glitches",
        "can in_time in any delay view: bell rises and lever",
    )
    assert verdicts(text) == {"clean": "broken", "in_time": "shown", "settles": "proved"}


# Speed independence. The C element as a majority gate: Muller and Bartky, "A theory of asynchronous circuits", 1959;
# the race of two cross-coupled NAND gates: Brzozowski and Seger 1995 (from memory).


def test_a_majority_gate_that_feeds_itself_settles_whatever_its_delay() -> None:
    assert settles(wired("input rope, lever by hand", "bell = majority(rope, lever, bell)"))


@pytest.mark.parametrize("together", [False, True])
def test_a_nand_pair_settles_unless_both_its_inputs_are_let_go_together(together: bool) -> None:
    lines = ["input set_n, reset_n", "bell = nand(set_n, bell_n)", "bell_n = nand(reset_n, bell)"]
    assert settles(wired(*lines, *["inputs may change together"] * together)) is not together


def test_a_nand_pair_let_go_within_less_than_a_gate_delay_may_oscillate_for_ever() -> None:
    text = wired(
        "input set_n, reset_n",
        "inputs may change together",
        "bell = nand(set_n, bell_n) takes 1..2 ns",
        "bell_n = nand(reset_n, bell) takes 1..2 ns",
        "must calm: bell and bell_n and set_n and reset_n leads to not (bell == bell_n) within ? ns",
    )
    assert verdicts(text) == {"calm": "broken"}


def test_a_ring_oscillates_and_a_gate_that_is_merely_slow_does_not() -> None:
    assert not settles(wired("input go by hand", "bell = nand(go, chime)", "chime = bell"))
    assert settles(wired("input go by hand", "bell = not go", "chime = bell and go"))


# Set-up, hold, width. A register that feeds itself through logic: clock-to-output plus logic plus set-up within the
# period, clock-to-output plus logic no shorter than hold: Weste and Harris (from memory).


@pytest.mark.parametrize(
    ("figures", "breached"),
    [
        ("set-up 8 ns, clock width 5 ns", set()),
        ("set-up 9 ns, clock width 5 ns", {"set_up"}),
        ("hold 2 ns, clock width 5 ns", set()),
        ("hold 3 ns, clock width 5 ns", {"hold"}),
        ("set-up 8 ns, clock width 6 ns", {"clock_width"}),
        # At exactly its hold the register is unsure, and may answer 2 ns later than it should: too late for the set-up.
        ("set-up 8 ns, hold 2 ns, clock width 5 ns", {"set_up"}),
        ("set-up 6 ns, hold 2 ns, clock width 5 ns", set()),
    ],
)
def test_figures_are_kept_at_exactly_their_number_and_breached_one_past_it(figures: str, breached: set[str]) -> None:
    text = wired(
        "input tempo free running high 5 ns, low 5 ns",
        "hammer_n = not hammer takes 1 ns",
        "hammer = flipflop(hammer_n) on rise of tempo start 0 takes 1 ns",
        "must counted in timed view: never (hammer and before hammer and hammer_n falls and not tempo)",
        family=f"flipflop takes 1 ns, {figures}",
    )
    found = verdicts(text)
    assert {name for name, verdict in found.items() if verdict == "broken"} == {f"hammer {rule}" for rule in breached}


def test_clear_width_judges_the_active_pulse_alone() -> None:
    for high, verdict in (("4 ns", "broken"), ("5 ns", "proved")):
        text = wired(
            pulse_train(high, low="1 ns"),
            "input lever by hand",
            "hammer = flipflop(lever) on rise of lever clear when tempo high start 0",
            "must m in timed view: never (hammer rises and lever rises)",
            family="flipflop takes 1 ns, clear width 5 ns",
        )
        assert verdicts(text)["hammer clear_width"] == verdict


def test_a_latch_is_judged_when_it_closes() -> None:
    text = wired(
        pulse_train("4 ns"),
        "late = tempo takes 3 ns",
        "hammer = latch(late) while tempo high start 0",
        "must m in timed view: never (hammer rises and late falls)",
        family="latch takes 1 ns, set-up 2 ns, hold 3 ns, enable width 4 ns",
    )
    assert {name: verdict for name, verdict in verdicts(text).items() if name != "m"} == {
        "hammer set_up": "broken",
        "hammer hold": "proved",
        "hammer clock_width": "proved",
    }


@pytest.mark.parametrize("settling", [0, 1, 4])
def test_what_is_unsure_becomes_either_value_within_its_settling_time(settling: int) -> None:
    """The data pin changes 1 ns before every rise of the clock, less than its set-up time of 2 ns."""
    text = wired(
        pulse_train("10 ns"),
        "hammer = flipflop(tempo_late) on rise of late start 0 takes 1 ns",
        "tempo_late = tempo takes 2 ns",
        "late = tempo takes 3 ns",
        "must settled: hammer changes only when late changes within the last ? ns",
        "can missed in timed view: late falls and not hammer",
        family=f"flipflop takes 1 ns, set-up 2 ns, settling {settling} ns",
    )
    found = answers(text)
    assert found["hammer set_up"].verdict == "broken"
    assert found["settled"].number == settling + 1
    assert found["missed"].verdict == "shown"


# Runs in real time


def changes(moments: list[Moment], net: NetId) -> list[Fraction]:
    return [new.at for old, new in pairwise(moments) if old.instant[net] != new.instant[net]]


def test_a_ring_in_real_time_keeps_within_the_sums_of_its_bounds_and_is_not_bound_to_whole_ns() -> None:
    text = wired(
        "bell_0 = not bell_2 start 0 takes 1..3 ns",
        "bell_1 = not bell_0 start 1 takes 2..4 ns",
        "bell_2 = not bell_1 start 0 takes 1..2 ns",
    )
    moves = Moves(netlist(text))
    widths: list[Fraction] = []
    for seed in range(40):
        at = changes(random_run(moves, Random(seed), moves.first(), 60), 0)
        widths.extend(later - earlier for earlier, later in pairwise(at))
    assert len(widths) > 100
    assert min(widths) >= 4
    assert max(widths) <= 9
    assert any(width.denominator > 1 for width in widths)
    assert {Fraction(4), Fraction(9)} & set(widths)


def test_runs_in_real_time_absorb_a_pulse_and_let_it_pass_where_both_may_happen() -> None:
    moves = Moves(netlist(wired(pulse_train("3..4 ns"), "bell = tempo takes 2..5 ns")))
    bell = next(net for net, named in enumerate(moves.netlist.nets) if named.name == "bell")
    passed = [len(changes(random_run(moves, Random(seed), moves.first(), 12), bell)) for seed in range(30)]
    assert min(passed) < 2 < max(passed)


# What whole ns do not cover. Digitisation keeps closed bounds (Henzinger, Manna and Pnueli 1992). A window that
# something is *not* in is an open one: whole ns keep it for some way of rounding, but one way of rounding need not
# serve two. A breach of set-up is open too, which is why a flip-flop is unsure at exactly its set-up as well.

TWO_BREACHES = wired(
    "input tempo free running high 3 ns, low 12 ns",
    "input lever by hand apart 10 ns",
    "hammer_1 = flipflop(tempo) on rise of lever start 0",
    "hammer_2 = flipflop(lever) on fall of tempo start 0",
    "let met = tempo at the last lever rises",
    "can both_lost in timed view: lever falls and met and not hammer_1 and not hammer_2",
    "can first_lost in timed view: lever falls and met and not hammer_1",
    "can second_lost in timed view: lever falls and met and not hammer_2",
    family="flipflop takes 1 ns, set-up 2 ns",
)

TWO_WINDOWS = wired(
    "input tempo free running high 3 ns, low 12 ns",
    "input lever by hand apart 10 ns",
    "bell = lever and tempo takes 1 ns",
    "let alone = lever rises and tempo and not (tempo rises within the last 1 ns)",
    "can both: tempo falls and not (lever rises within the last 1 ns) and (alone within the last 3 ns)"
    " and (tempo rises within the last 3 ns) and lever",
    "can first: alone and (tempo rises within the last 3 ns)",
    "can second: tempo falls and not (lever rises within the last 1 ns) and (lever rises within the last 3 ns)",
)


@pytest.mark.parametrize(("text", "lost"), [(TWO_BREACHES, set()), (TWO_WINDOWS, {"both"})])
def test_two_open_windows_can_meet_in_real_time_and_not_in_whole_ns(text: str, lost: set[str]) -> None:
    """The lever rises 1.5 ns after tempo did, and 1.5 ns before it falls; whole ns leave 1 and 2, or 2 and 1."""
    (design,) = loads(text, "open_bounds.wiring").designs
    moves = Moves(design.netlist)
    claims = [claim for claim in design.claims if claim.kind is ClaimKind.CAN]
    firsts, wanted = moves.first(), {claim.name for claim in claims}
    shown: set[str] = set()
    for seed in range(8_000):
        reading = Reading(random_run(moves, Random(seed), firsts, 10))
        shown |= {claim.name for claim in claims if reading.shows(claim.formula)}
        if shown == wanted:
            break
    assert shown == wanted
    in_whole_ns = verdicts(text)
    assert {name for name in shown if in_whole_ns[name] == "shown"} == shown - lost
