"""The oracle's steps on circuits that were worked out by hand, so that it is no empty authority."""

from __future__ import annotations

import pytest

from oracle.hand_worked import arrivals, bits, follow, named, nand_pair, ripple_counter, settles, starts
from oracle.search import Behaviour, NoPowerUpStateError, Oracle
from oracle.wiring import Wiring, design_of, must, signal
from verifier.circuit.netlist import Edge, FlipFlopKind, GateKind, InputClass, Netlist
from verifier.claims.claim import Given
from verifier.claims.formula import (
    Apply,
    Never,
    NeverGlitches,
    Operator,
)

# Loops


def test_a_nand_pair_has_five_power_up_states() -> None:
    assert starts(nand_pair(False), "set_n", "reset_n", "ring", "ring_n") == {"0011", "0110", "1001", "1110", "1101"}


def test_a_nand_pair_let_go_of_at_both_inputs_visits_all_four_states_and_ends_in_either() -> None:
    # Brzozowski and Seger 1995; also shared by every text on latches: 11 and 00 can follow each other for ever.
    netlist = nand_pair(True)
    reached = arrivals(netlist, {"set_n": 0, "reset_n": 0}, "11")
    assert {named(netlist, arrival.instant, "ring", "ring_n") for arrival in reached} == {"00", "01", "10", "11"}
    assert all(arrival.events.raced for arrival in reached)
    oscillating = {named(netlist, a.instant, "ring", "ring_n") for a in reached if a.events.oscillated}
    assert oscillating == {"00", "11"}


def test_a_nand_pair_with_one_input_at_a_time_settles_and_together_breaks_in_two_instants() -> None:
    assert settles(nand_pair(False)) == ("proved", None)
    assert settles(nand_pair(True)) == ("broken", 2)


def test_a_ring_of_three_inverters_oscillates_from_its_first_instant() -> None:
    netlist = (
        Wiring("ring").gate("a", GateKind.NOT, "c").gate("b", GateKind.NOT, "a").gate("c", GateKind.NOT, "b").netlist()
    )
    assert settles(netlist) == ("broken", 1)
    # Three gates that fire in perfect step keep 000 and 111 going too: every coincidence is allowed.
    assert len(starts(netlist, "a", "b", "c")) == 8
    alone = Behaviour(netlist).step((False, False, True), ())
    assert {named(netlist, arrival.instant, "a", "b", "c") for arrival in alone} == {
        "001",
        "010",
        "011",
        "100",
        "101",
        "110",
    }


def test_a_ring_of_two_inverters_has_two_stable_states_and_settles() -> None:
    netlist = Wiring("pair").gate("a", GateKind.NOT, "b").gate("b", GateKind.NOT, "a").netlist()
    assert starts(netlist, "a", "b") == {"01", "10"}
    assert settles(netlist) == ("proved", None)


def test_a_cycle_that_one_gate_must_leave_sooner_or_later_is_transient() -> None:
    # Started, `a` and `stop` are excited; while `stop` waits `a` may go round and round, but it cannot wait for ever.
    netlist = (
        Wiring("transient")
        .input("go")
        .gate("a", GateKind.AND, "na", "stop_n")
        .gate("na", GateKind.NOT, "a")
        .gate("stop_n", GateKind.NAND, "go", "keep")
        .gate("keep", GateKind.OR, "go", "a")
        .netlist()
    )
    behaviour = Behaviour(netlist)
    running = {a for a in behaviour.first() if not behaviour.steps.inputs_at(a.instant)[0]}
    assert all(arrival.events.oscillated for arrival in running)
    for arrival in running:
        stopped = behaviour.step(arrival.instant, (True,))
        assert {named(netlist, end.instant, "a", "na", "stop_n", "keep") for end in stopped} == {"0101"}
        assert not any(end.events.raced or end.events.oscillated for end in stopped)


def test_a_gate_in_a_loop_may_have_a_start() -> None:
    netlist = Wiring("pair").gate("a", GateKind.NOT, "b", start=True).gate("b", GateKind.NOT, "a").netlist()
    assert starts(netlist, "a", "b") == {"10"}


def test_a_loop_without_a_stable_state_disregards_starts() -> None:
    netlist = Wiring("ring").gate("a", GateKind.NOT, "a", start=True).netlist()
    assert starts(netlist, "a") == {"0", "1"}
    assert settles(netlist) == ("broken", 1)


def test_a_flip_flop_that_clears_itself_is_a_loop_that_oscillates() -> None:
    # Set by a press on the lever, its own output clears it at once; cleared, it is let go.
    wiring = Wiring("self_clearing").input("lever").gate("high", GateKind.HIGH)
    netlist = wiring.flip_flop(
        "bell", FlipFlopKind.D, "high", clock="lever", clear=("bell", True), start=False
    ).netlist()
    assert starts(netlist, "bell") == {"0"}
    (reached,) = arrivals(netlist, {"lever": 0, "bell": 0}, "1")
    assert named(netlist, reached.instant, "bell") == "0"
    assert not reached.events.raced


def test_a_latch_that_copies_itself_keeps_its_value() -> None:
    netlist = Wiring("copy").input("open").latch("bell", "bell", enable=("open", True), start=True).netlist()
    assert starts(netlist, "open", "bell") == {"01", "11"}
    assert settles(netlist) == ("proved", None)


def test_what_nothing_touches_in_a_later_round_is_not_chosen_anew() -> None:
    # Both pins of `ring` go up in round 1; round 2 belongs to `count` alone, so `ring` cannot fall back in it.
    wiring = Wiring("kept").input("lever").gate("high", GateKind.HIGH)
    wiring.set_reset("ring", set="lever", reset="lever", start=False)
    netlist = wiring.flip_flop("count", FlipFlopKind.TOGGLE, "high", clock="lever", start=False).netlist()
    ring = netlist.signals["ring"][0]
    behaviour = Behaviour(netlist)
    (quiet,) = (first.instant for first in behaviour.first() if named(netlist, first.instant, "lever") == "0")
    outcomes = behaviour.steps.step(quiet, (True,))
    assert {(outcome.instant[ring], ring in outcome.changed) for outcome in outcomes} == {(False, False), (True, True)}


def test_starts_that_contradict_each_other_leave_no_power_up_state() -> None:
    netlist = Wiring("pair").gate("a", GateKind.NOT, "b", start=True).gate("b", GateKind.NOT, "a", start=True).netlist()
    with pytest.raises(NoPowerUpStateError):
        Oracle(design_of(netlist, []))


# Flip-flops and rounds


def test_a_ripple_counter_counts_one_on_every_fall() -> None:
    presses = ["0", *["1", "0"] * 9]
    seen = follow(ripple_counter(3), presses, "count_2", "count_1", "count_0")
    assert [int(word, 2) for word in seen[::2]] == [0, 1, 2, 3, 4, 5, 6, 7, 0, 1]


def test_a_decoder_on_a_ripple_counter_may_glitch_at_a_value_that_is_passed_through() -> None:
    # From 01 the counter goes to 10 by way of 00. From 00 it goes straight to 01.
    wiring = Wiring("decoded").input("lever").gate("high", GateKind.HIGH)
    wiring.flip_flop("count_0", FlipFlopKind.TOGGLE, "high", clock="lever", edge=Edge.FALL, start=False)
    wiring.flip_flop("count_1", FlipFlopKind.TOGGLE, "high", clock="count_0", edge=Edge.FALL, start=False)
    wiring.gate("is_zero", GateKind.NOR, "count_0", "count_1").gate("is_three", GateKind.AND, "count_0", "count_1")
    netlist = wiring.netlist()
    number = {net.name: index for index, net in enumerate(netlist.nets)}
    (to_two,) = arrivals(netlist, {"lever": 1, "count_1": 0, "count_0": 1}, "0")
    assert named(netlist, to_two.instant, "count_1", "count_0", "is_zero") == "100"
    assert number["is_zero"] in to_two.events.may_glitch
    (to_one,) = arrivals(netlist, {"lever": 1, "count_1": 0, "count_0": 0}, "0")
    assert named(netlist, to_one.instant, "count_1", "count_0") == "01"
    assert to_one.events.may_glitch == frozenset()


def shift_register(together: bool) -> Netlist:
    wiring = Wiring("shift", inputs_may_change_together=together).input("lever").input("tempo")
    wiring.flip_flop("near", FlipFlopKind.D, "lever", clock="tempo", start=False)
    return wiring.flip_flop("far", FlipFlopKind.D, "near", clock="tempo", start=False).netlist()


def test_a_shift_register_moves_one_place_a_clock_edge() -> None:
    words = ["00", "10", "11", "10", "11", "10", "00", "01", "00", "01"]
    assert follow(shift_register(False), words, "near", "far") == (
        ["00", "00", "10", "10", "11", "11", "11", "01", "01", "00"]
    )
    assert settles(shift_register(False)) == ("proved", None)


def test_data_that_changes_with_the_clock_gives_either_value_and_is_no_race() -> None:
    netlist = shift_register(True)
    reached = arrivals(netlist, {"lever": 0, "tempo": 0, "near": 0, "far": 0}, "11")
    assert {named(netlist, arrival.instant, "near", "far") for arrival in reached} == {"00", "10"}
    assert not any(arrival.events.raced for arrival in reached)


def test_data_that_changes_because_of_the_clock_alone_is_read_as_it_stood() -> None:
    wiring = Wiring("own_clock").input("tempo").gate("tempo_n", GateKind.NOT, "tempo")
    netlist = wiring.flip_flop("bell", FlipFlopKind.D, "tempo_n", clock="tempo", start=False).netlist()
    (reached,) = arrivals(netlist, {"tempo": 0, "bell": 0}, "1")
    assert named(netlist, reached.instant, "bell") == "1"


def test_data_that_changed_in_an_earlier_round_gives_either_value() -> None:
    # `near` takes its new value in round 2, `slow` rises in round 2 too, so its edge comes after round 2. `far` reads
    # `nearer`, which goes up a round before it is clocked.
    wiring = Wiring("late").input("tempo").gate("high", GateKind.HIGH)
    wiring.flip_flop("first", FlipFlopKind.TOGGLE, "high", clock="tempo", start=False)
    wiring.flip_flop("second", FlipFlopKind.TOGGLE, "high", clock="first", start=False)
    netlist = wiring.flip_flop("far", FlipFlopKind.D, "first", clock="second", start=False).netlist()
    reached = arrivals(netlist, {"tempo": 0, "first": 0, "second": 0, "far": 0}, "1")
    assert {named(netlist, arrival.instant, "first", "second", "far") for arrival in reached} == {"110", "111"}


def test_a_counter_that_clears_itself_at_three_races_when_it_gets_there() -> None:
    # Common practice, no source: the first flip-flop to clear takes the clear away from the other.
    wiring = Wiring("modulo_three").input("tempo").gate("high", GateKind.HIGH)
    wiring.gate("clear_n", GateKind.NAND, "low_bit", "high_bit")
    wiring.flip_flop("low_bit", FlipFlopKind.TOGGLE, "high", clock="tempo", clear=("clear_n", False), start=False)
    wiring.flip_flop("high_bit", FlipFlopKind.TOGGLE, "low_bit", clock="tempo", clear=("clear_n", False), start=False)
    netlist = wiring.netlist()
    assert settles(netlist) == ("broken", 6)
    reached = arrivals(netlist, {"tempo": 0, "high_bit": 1, "low_bit": 0}, "1")
    assert {named(netlist, a.instant, "high_bit", "low_bit", "clear_n") for a in reached} == {"001", "011", "101"}
    assert all(a.events.raced and not a.events.oscillated for a in reached)


@pytest.mark.parametrize(
    ("kind", "pins", "own", "after"),
    [
        # SN7474, SN7476 function tables (J K: hold, reset, set, toggle); T from memory.
        (FlipFlopKind.D, "0", 1, "0"),
        (FlipFlopKind.D, "1", 0, "1"),
        (FlipFlopKind.TOGGLE, "0", 1, "1"),
        (FlipFlopKind.TOGGLE, "1", 1, "0"),
        (FlipFlopKind.JK, "00", 1, "1"),
        (FlipFlopKind.JK, "01", 1, "0"),
        (FlipFlopKind.JK, "10", 0, "1"),
        (FlipFlopKind.JK, "11", 0, "1"),
        (FlipFlopKind.JK, "11", 1, "0"),
    ],
)
def test_a_flip_flop_takes_what_its_table_says(kind: FlipFlopKind, pins: str, own: int, after: str) -> None:
    names = [f"pin_{number}" for number in range(len(pins))]
    wiring = Wiring("table").input("tempo")
    for name, level in zip(names, pins, strict=True):
        wiring.gate(name, GateKind.HIGH if level == "1" else GateKind.LOW)
    netlist = wiring.flip_flop("bell", kind, *names, clock="tempo").netlist()
    (reached,) = arrivals(netlist, {"tempo": 0, "bell": own}, "1")
    assert named(netlist, reached.instant, "bell") == after


def flip_flop_with_pins() -> Netlist:
    wiring = (
        Wiring("pins", inputs_may_change_together=True).input("clear_n").input("preset_n").gate("low", GateKind.LOW)
    )
    clear, preset = ("clear_n", False), ("preset_n", False)
    return wiring.flip_flop("bell", FlipFlopKind.D, "low", clock="low", clear=clear, preset=preset).netlist()


def test_preset_wins_and_letting_go_of_both_pins_at_once_is_a_race() -> None:
    # Motorola LS data book, 74, 76, 112: PRE = CLR = L gives Q = H, not stable when both return high together.
    netlist = flip_flop_with_pins()
    assert starts(netlist, "clear_n", "preset_n", "bell") == {"001", "010", "101", "110", "111"}
    reached = arrivals(netlist, {"clear_n": 0, "preset_n": 0}, "11")
    assert {named(netlist, arrival.instant, "bell") for arrival in reached} == {"0", "1"}
    assert all(arrival.events.raced for arrival in reached)
    (cleared,) = arrivals(netlist, {"clear_n": 0, "preset_n": 0}, "01")
    assert named(netlist, cleared.instant, "bell") == "0"
    assert not cleared.events.raced


def test_a_clear_let_go_together_with_the_edge_gives_either_value() -> None:
    wiring = (
        Wiring("let_go", inputs_may_change_together=True).input("clear_n").input("tempo").gate("high", GateKind.HIGH)
    )
    netlist = wiring.flip_flop("bell", FlipFlopKind.D, "high", clock="tempo", clear=("clear_n", False)).netlist()
    reached = arrivals(netlist, {"clear_n": 0, "tempo": 0}, "11")
    assert {named(netlist, arrival.instant, "bell") for arrival in reached} == {"0", "1"}


def test_a_flip_flop_that_clocks_itself_for_ever_oscillates() -> None:
    wiring = Wiring("buzzer").input("go").gate("bell_n", GateKind.NOT, "bell").gate("high", GateKind.HIGH)
    wiring.gate("clock", GateKind.XOR, "go", "bell", "half")
    wiring.flip_flop("bell", FlipFlopKind.TOGGLE, "high", clock="clock", start=False)
    wiring.flip_flop("half", FlipFlopKind.TOGGLE, "high", clock="clock", edge=Edge.FALL, start=False)
    netlist = wiring.netlist()
    reached = arrivals(netlist, {"go": 0, "bell": 0, "half": 0}, "1")
    assert {arrival.events.oscillated for arrival in reached} == {True}


# Latches and set-reset latches


def transparent_latch(together: bool) -> Netlist:
    wiring = Wiring("latch", inputs_may_change_together=together).input("lever").input("open")
    return wiring.latch("bell", "lever", enable=("open", True), start=False).netlist()


def test_a_latch_follows_while_open_and_keeps_the_last_value() -> None:
    words = ["00", "10", "11", "01", "11", "10", "00"]
    assert follow(transparent_latch(False), words, "bell") == ["0", "0", "1", "0", "1", "1", "1"]


def test_a_latch_that_closes_while_its_data_changes_keeps_either_value() -> None:
    netlist = transparent_latch(True)
    reached = arrivals(netlist, {"lever": 0, "open": 1}, "10")
    assert {named(netlist, arrival.instant, "bell") for arrival in reached} == {"0", "1"}


def test_a_latch_of_four_nands_settles_within_its_rules() -> None:
    wiring = Wiring("four_nands").input("lever").input("open")
    wiring.gate("set_n", GateKind.NAND, "lever", "open").gate("reset_n", GateKind.NAND, "set_n", "open")
    wiring.gate("bell", GateKind.NAND, "set_n", "bell_n").gate("bell_n", GateKind.NAND, "reset_n", "bell")
    netlist = wiring.netlist()
    assert settles(netlist) == ("proved", None)
    assert follow(netlist, ["01", "11", "10", "00", "01", "00"], "bell") == ["0", "1", "1", "1", "0", "0"]


def test_a_latch_in_a_loop_keeps_what_it_caught_when_its_own_output_closes_it() -> None:
    # bell goes up while open, and shuts the latch behind it: it stays up whatever the lever does.
    wiring = Wiring("catch").input("lever").gate("bell_n", GateKind.NOT, "bell")
    netlist = wiring.latch("bell", "lever", enable=("bell_n", True), start=False).netlist()
    assert follow(netlist, ["0", "1", "0", "1"], "bell") == ["0", "1", "1", "1"]
    assert settles(netlist) == ("proved", None)


def set_reset(together: bool) -> Netlist:
    wiring = Wiring("pair", inputs_may_change_together=together).input("pull").input("push")
    return wiring.set_reset("bell", set="pull", reset="push").netlist()


def test_a_set_reset_latch_with_both_pins_active_is_a_race_and_may_glitch() -> None:
    netlist = set_reset(False)
    assert settles(netlist) == ("broken", 1)
    reached = arrivals(netlist, {"pull": 1, "push": 0}, "11")
    assert {named(netlist, arrival.instant, "bell") for arrival in reached} == {"0", "1"}
    assert all(arrival.events.raced for arrival in reached)


def test_a_given_that_keeps_the_pins_apart_makes_a_set_reset_latch_settle() -> None:
    netlist = set_reset(True)
    both = Apply(operator=Operator.AND, operands=(signal(netlist, "pull"), signal(netlist, "push")))
    given = Given(name="apart", formula=Never(operand=both), text="never (pull and push)")
    (answer,) = Oracle(design_of(netlist, [], [given])).answers()
    assert answer.verdict == "proved"


# Inputs


def changes(together: bool, *classes: InputClass) -> set[str]:
    wiring = Wiring("inputs", inputs_may_change_together=together)
    for number, input_class in enumerate(classes):
        wiring.input(f"input_{number}", input_class)
    behaviour = Behaviour(wiring.netlist())
    permitted = behaviour.steps.permitted_inputs(tuple(False for _ in classes))
    return {"".join(str(int(bit)) for bit in word) for word in permitted}


def test_inputs_change_as_their_classes_and_the_rule_say() -> None:
    free, hand, strapped = InputClass.FREE, InputClass.BY_HAND, InputClass.STRAPPED
    assert changes(False, free, free) == {"00", "10", "01"}
    assert changes(True, free, InputClass.FREE_RUNNING) == {"00", "10", "01", "11"}
    assert changes(True, free, strapped) == {"00", "10"}
    assert changes(True, free, hand, hand) == {"000", "100", "010", "001"}


def test_the_bits_of_a_bus_change_together() -> None:
    behaviour = Behaviour(Wiring("bus").input("notes", width=2).input("lever").netlist())
    assert len(behaviour.steps.permitted_inputs((False, False, False))) == 5


# Glitches


def selector(with_consensus: bool) -> Netlist:
    wiring = Wiring("selector").input("a").input("b").input("c").gate("a_n", GateKind.NOT, "a")
    wiring.gate("high", GateKind.AND, "a", "b").gate("low", GateKind.AND, "a_n", "c")
    if not with_consensus:
        return wiring.gate("beat", GateKind.OR, "high", "low").netlist()
    return wiring.gate("both", GateKind.AND, "b", "c").gate("beat", GateKind.OR, "high", "low", "both").netlist()


def test_the_static_hazard_of_a_selector_is_there_exactly_when_both_data_inputs_are_high() -> None:
    # Huffman 1957; McCluskey 1962: f = ab + a'c has a static-1 hazard at b = c = 1, and bc cures it.
    netlist = selector(False)
    beat = netlist.signals["beat"][0]
    behaviour = Behaviour(netlist)
    hazards = {
        (behaviour.steps.inputs_at(instant), behaviour.steps.inputs_at(arrival.instant))
        for instant in behaviour.reachable()
        for arrival in behaviour.after(instant)
        if beat in arrival.events.may_glitch
    }
    assert hazards == {(bits("011"), bits("111")), (bits("111"), bits("011"))}


@pytest.mark.parametrize(("with_consensus", "expected"), [(False, ("broken", 2)), (True, ("proved", None))])
def test_the_consensus_term_cures_the_hazard(with_consensus: bool, expected: tuple[str, int | None]) -> None:
    netlist = selector(with_consensus)
    claim = must("clean", NeverGlitches(signal=signal(netlist, "beat")))
    answer = Oracle(design_of(netlist, [claim])).answers()[0]
    assert (answer.verdict, answer.length) == expected
