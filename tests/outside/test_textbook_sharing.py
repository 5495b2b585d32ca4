"""Mutual exclusion, arbiters and the C-element: what textbooks say of them, from memory unless a source is named."""

from __future__ import annotations

import pytest

from outside.judging import HERE, circuits_of, expected_words, judged, verdicts, words
from outside.walking import number
from verifier import ClaimResult, Design
from verifier.language import loads

ARBITERS = ("round_robin", "fixed_priority", "forgetful", "strict_turns", "no_turns")
C_ELEMENTS = ("majority_with_feedback", "three_terms", "term_forgotten", "no_memory")
HANDSHAKES = (*C_ELEMENTS, "pair_of_nands", "filtered_pair", "too_polite")
ALL = [("arbiters.wiring", name) for name in ARBITERS] + [("handshakes.wiring", name) for name in HANDSHAKES]


@pytest.mark.parametrize(("file_name", "circuit"), ALL)
def test_each_circuit_keeps_and_breaks_what_the_file_says(file_name: str, circuit: str) -> None:
    design = circuits_of(file_name)[circuit]
    assert words(judged(design)) == expected_words(design)


def test_every_circuit_in_the_files_is_judged() -> None:
    assert set(circuits_of("arbiters.wiring")) == set(ARBITERS)
    assert set(circuits_of("handshakes.wiring")) == set(HANDSHAKES)


def around_the_loop(design: Design, result: ClaimResult, name: str) -> set[int]:
    """Values of a signal in the part of the run that is repeated for ever."""
    assert result.run is not None
    assert result.run.loop_from is not None
    return {number(design, instant, name) for instant in result.run.instants[result.run.loop_from :]}


@pytest.mark.parametrize("circuit", ["fixed_priority", "forgetful"])
def test_the_user_without_priority_starves_on_a_loop_on_which_the_other_is_served(circuit: str) -> None:
    design = circuits_of("arbiters.wiring")[circuit]
    starved = judged(design)["b_not_starved"]
    assert around_the_loop(design, starved, "ask_b") == {1}
    assert around_the_loop(design, starved, "grant_b") == {0}
    assert around_the_loop(design, starved, "clock") == {0, 1}
    assert 1 in around_the_loop(design, starved, "ask_a")


def hurried(circuit: str, contract: str, further: str = "") -> dict[str, str]:
    return words(judged(hurried_design(circuit, contract, further)))


def hurried_design(circuit: str, contract: str, further: str = "") -> Design:
    """The same circuit, its inputs free to change together, with further lines in its contract."""
    text = (HERE / "handshakes.wiring").read_text()
    head = f"contract {contract}\n"
    assert head in text
    loosened = text.replace(head, head + "    inputs may change together\n" + further)
    return {design.name: design for design in loads(loosened, "outside.wiring").designs}[circuit]


# Brzozowski, Seger 1995, of which from memory: as one gate the element has nothing to race with. In three AND gates and
# an OR it is right only when the inputs move one at a time.
def test_with_both_inputs_moving_at_once_the_single_gate_holds_and_the_three_terms_race() -> None:
    single = hurried("majority_with_feedback", "joins_two")
    assert set(single.values()) == {"proved", "shown"}
    terms = hurried("three_terms", "joins_two")
    assert {name for name, word in terms.items() if word == "broken"} == {"holds", "settles"}


def test_the_three_terms_are_right_as_long_as_the_inputs_do_not_pass_each_other() -> None:
    apart = "    given no_passing: not (left changes and right changes and left != right)\n"
    assert set(hurried("three_terms", "joins_two", apart).values()) == {"proved", "shown"}


# Seitz, in Mead and Conway 1980: when both ask at the same instant, the pair takes its time to decide, and both sides
# may go low together meanwhile; the filter behind it is what excludes.
def test_when_both_ask_together_the_pair_races_and_excludes_only_behind_its_filter() -> None:
    bare, filtered = (hurried(circuit, "first_come") for circuit in ("pair_of_nands", "filtered_pair"))
    assert (bare["settles"], bare["exclusion"]) == ("broken", "broken")
    assert (filtered["settles"], filtered["exclusion"]) == ("broken", "proved")
    assert filtered["served"] == "broken"


def test_the_race_is_that_of_two_requests_from_rest() -> None:
    design = hurried_design("filtered_pair", "first_come")
    run = judged(design)["settles"].run
    assert run is not None
    assert [(number(design, i, "ask_a"), number(design, i, "ask_b")) for i in run.instants] == [(0, 0), (1, 1)]
    assert run.events[-1].raced


def test_either_may_win_the_race() -> None:
    both = "ask_a rises and ask_b rises"
    wins = f"    can a_wins: grant_a and {both}\n    can b_wins: grant_b and {both}\n"
    found = hurried("pair_of_nands", "first_come", wins)
    assert (found["a_wins"], found["b_wins"]) == ("shown", "shown")


@pytest.mark.parametrize("circuit", ["pair_of_nands", "filtered_pair"])
def test_either_pair_settles_when_the_requests_never_come_together(circuit: str) -> None:
    staggered = "    given staggered: never (ask_a rises and ask_b rises)\n"
    assert set(hurried(circuit, "first_come", staggered).values()) == {"proved", "shown"}


IDLE, ASKING, WAITING, INSIDE = range(4)

SCHEDULED = "clock rises and not who", "clock rises and who"


Wants = tuple[str, ...]
BOTH_CHOOSE: Wants = ("want_a", "want_b")
B_CHOOSES: Wants = ("1", "want_b")
BOTH_ALWAYS: Wants = ("1", "1")


def sharing(waits: tuple[str, str], claims: list[str], wants: Wants = BOTH_CHOOSE, first_the_turn: bool = False) -> str:
    """Two users, each a small machine: idle, asking, waiting, inside. At a rise of the clock one moves, as `who` says.

    Peterson, Myths about the Mutual Exclusion Problem, IPL 12(3), 1981 (from memory): raise the flag, give the turn
    away, wait while the other one's flag is up and the turn is his, go in, lower the flag.
    """
    raised = f">= {WAITING}" if first_the_turn else f"!= {IDLE}"
    gives_at = IDLE if first_the_turn else ASKING
    pins = ["clock free running", "who", *(want for want in wants if want != "1")]
    lines = [
        "circuit sharing",
        *(f"input {pin}" for pin in pins),
        "output a[2], b[2], b_first, flag_a, flag_b",
        f"flag_a = a {raised}",
        f"flag_b = b {raised}",
        machine("a", wants[0], waits[0], "clock", "not who"),
        machine("b", wants[1], waits[1], "clock", "who"),
        f"a_gives = not who and a == {gives_at}",
        f"b_gives = who and b == {gives_at}",
        "b_first = flipflop(if a_gives then 1 else (if b_gives then 0 else b_first)) on rise of clock start 0",
        *exclusion(claims),
    ]
    return "\n    ".join(lines)


def machine(user: str, wants: str, blocked: str, clock: str, moves: str = "1") -> str:
    idle = f"if {wants} then {ASKING} else {IDLE}"
    waiting = f"if {blocked} then {WAITING} else {INSIDE}"
    later = f"if {user} == {ASKING} then {WAITING} else (if {user} == {WAITING} then ({waiting}) else {IDLE})"
    following = f"if {user} == {IDLE} then ({idle}) else ({later})"
    return f"{user} = flipflop(if {moves} then ({following}) else {user}) on rise of {clock} start {IDLE}"


def exclusion(claims: list[str]) -> list[str]:
    inside = [f"can {user}_inside: {user} == {INSIDE}" for user in "ab"]
    return [f"must exclusion: never (a == {INSIDE} and b == {INSIDE})", *inside, *claims]


FAIR = [f"given fair_to_{user}: ({moves}) again and again" for user, moves in zip("ab", SCHEDULED, strict=True)]
SERVED = [f"must {user}_served: {user} == {WAITING} leads to {user} == {INSIDE}" for user in "ab"]
PETERSON = ("flag_b and b_first", "flag_a and not b_first")
FLAGS_ALONE = ("flag_b", "flag_a")
TURN_ALONE = ("b_first", "not b_first")


def broken(text: str) -> set[str]:
    """The claims that do not hold; nothing may hold for want of an occasion."""
    return {name for name, word in verdicts(text).items() if word not in ("proved", "shown")}


def test_peterson_excludes_without_any_fairness() -> None:
    assert broken(sharing(PETERSON, [])) == set()


@pytest.mark.parametrize("wants", [B_CHOOSES, BOTH_ALWAYS])
def test_peterson_serves_everyone_who_waits_when_both_may_move_again_and_again(wants: Wants) -> None:
    assert broken(sharing(PETERSON, FAIR + SERVED, wants)) == set()


def test_peterson_serves_nobody_for_sure_when_one_need_not_move() -> None:
    assert broken(sharing(PETERSON, SERVED, B_CHOOSES)) == {"a_served", "b_served"}


# The well-known exercise: with the first two assignments the other way round, both get in.
def test_peterson_with_the_turn_given_away_before_the_flag_is_raised_does_not_exclude() -> None:
    assert broken(sharing(PETERSON, [], first_the_turn=True)) == {"exclusion"}


def test_flags_alone_exclude_and_block_each_other_for_ever() -> None:
    stuck = f"can stuck: (a == {WAITING} and b == {WAITING}) for good"
    assert broken(sharing(FLAGS_ALONE, [*FAIR, *SERVED, stuck], BOTH_ALWAYS)) == {"a_served", "b_served"}
    assert broken(sharing(PETERSON, [*FAIR, *SERVED, stuck], BOTH_ALWAYS)) == {"stuck"}


def test_the_turn_alone_excludes_and_starves_one_whose_partner_does_not_come() -> None:
    assert broken(sharing(TURN_ALONE, FAIR + SERVED, B_CHOOSES)) == {"a_served"}
    assert broken(sharing(TURN_ALONE, FAIR + SERVED, BOTH_ALWAYS)) == set()


def test_no_waiting_at_all_does_not_exclude() -> None:
    assert broken(sharing(("0", "0"), [])) == {"exclusion"}


# Kessels, Arbitration without Common Modifiable Variables, Acta Informatica 17, 1982 (from memory): each user writes
# bits of its own alone, so each can have a clock of its own; whose turn it is, is whether the two bits agree.
def kessels(claims: list[str], wants: Wants, b_copies: str = "not a_bit") -> str:
    lines = [
        "circuit sharing",
        "input a_clock, b_clock free running",
        *(f"input {want}" for want in wants if want != "1"),
        "output a[2], b[2]",
        machine("a", wants[0], f"b != {IDLE} and a_bit == b_bit", "a_clock"),
        machine("b", wants[1], f"a != {IDLE} and a_bit != b_bit", "b_clock"),
        f"a_bit = flipflop(if a == {ASKING} then b_bit else a_bit) on rise of a_clock start 0",
        f"b_bit = flipflop(if b == {ASKING} then {b_copies} else b_bit) on rise of b_clock start 0",
        *exclusion(claims),
    ]
    return "\n    ".join(lines)


def test_kessels_with_a_clock_each_excludes() -> None:
    assert broken(kessels([], BOTH_CHOOSE)) == set()


def test_kessels_serves_everyone_as_long_as_both_clocks_run() -> None:
    assert broken(kessels(SERVED, BOTH_ALWAYS)) == set()


def test_kessels_with_both_bits_copied_the_same_way_does_not_do() -> None:
    assert broken(kessels(SERVED, BOTH_ALWAYS, b_copies="a_bit")) & {"exclusion", "a_served", "b_served"}
