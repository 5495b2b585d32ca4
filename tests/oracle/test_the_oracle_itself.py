"""The oracle on circuits that were worked out by hand, so that it is no empty authority."""

from __future__ import annotations

import networkx as nx
import pytest

from oracle.formulas import Events, Memory, judge
from oracle.search import Arrival, Behaviour, Contradictory, NoPowerUpState, Oracle
from oracle.wiring import Wiring, can, design_of, must, signal
from verifier.circuit.netlist import Edge, FlipFlopKind, GateKind, InputClass, Netlist
from verifier.claims.claim import Given
from verifier.claims.formula import (
    Apply,
    AtTheLast,
    Before,
    Bound,
    Formula,
    LeadsTo,
    Literal,
    Never,
    NeverGlitches,
    Once,
    OnlyWhen,
    Operator,
    Signal,
    Since,
    Step,
    StepWord,
    Unit,
    WithinTheLast,
)
from verifier.claims.run import Instant

QUIET = Events(raced=False, oscillated=False, may_glitch=frozenset())


def named(netlist: Netlist, instant: Instant, *names: str) -> str:
    """The values of these nets as a word of zeros and ones."""
    numbers = {net.name: number for number, net in enumerate(netlist.nets)}
    return "".join(str(int(instant[numbers[name]])) for name in names)


def starts(netlist: Netlist, *names: str) -> set[str]:
    return {named(netlist, arrival.instant, *names) for arrival in Behaviour(netlist).first()}


def arrivals(netlist: Netlist, state: dict[str, int], inputs: str) -> set[Arrival]:
    """Where the circuit gets from the only first instant with these values when its inputs become `inputs`."""
    behaviour = Behaviour(netlist)
    names = tuple(state)
    wanted = "".join(str(value) for value in state.values())
    origins = {found for found in behaviour.reachable() if named(netlist, found, *names) == wanted}
    assert len(origins) == 1
    return set(behaviour.step(origins.pop(), tuple(letter == "1" for letter in inputs)))


def follow(netlist: Netlist, words: list[str], *names: str) -> list[str]:
    """The values of the nets along a run in which every step has one outcome; one word of inputs an instant."""
    behaviour = Behaviour(netlist)
    first = {a for a in behaviour.first() if behaviour.steps.inputs_at(a.instant) == bits(words[0])}
    assert len(first) == 1
    instant = first.pop().instant
    seen = [named(netlist, instant, *names)]
    for word in words[1:]:
        reached = {arrival.instant for arrival in behaviour.step(instant, bits(word))}
        assert len(reached) == 1
        instant = reached.pop()
        seen.append(named(netlist, instant, *names))
    return seen


def bits(word: str) -> tuple[bool, ...]:
    return tuple(letter == "1" for letter in word)


def settles(netlist: Netlist) -> tuple[str, int | None]:
    answer = Oracle(design_of(netlist, [])).answers()[-1]
    return answer.verdict, answer.length


def nand_pair(together: bool) -> Netlist:
    return (
        Wiring("nand_pair", inputs_may_change_together=together)
        .input("set_n")
        .input("reset_n")
        .gate("ring", GateKind.NAND, "set_n", "ring_n")
        .gate("ring_n", GateKind.NAND, "reset_n", "ring")
        .netlist()
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
        Wiring("ring")
        .gate("a", GateKind.NOT, "c")
        .gate("b", GateKind.NOT, "a")
        .gate("c", GateKind.NOT, "b")
        .netlist()
    )
    assert settles(netlist) == ("broken", 1)
    # Three gates that fire in perfect step keep 000 and 111 going too: every coincidence is allowed.
    assert len(starts(netlist, "a", "b", "c")) == 8
    alone = Behaviour(netlist).step((False, False, True), ())
    assert {named(netlist, arrival.instant, "a", "b", "c") for arrival in alone} == {
        "001", "010", "011", "100", "101", "110"
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
    netlist = (
        Wiring("pair").gate("a", GateKind.NOT, "b", start=True).gate("b", GateKind.NOT, "a").netlist()
    )
    assert starts(netlist, "a", "b") == {"10"}


def test_a_loop_without_a_stable_state_disregards_starts() -> None:
    netlist = Wiring("ring").gate("a", GateKind.NOT, "a", start=True).netlist()
    assert starts(netlist, "a") == {"0", "1"}
    assert settles(netlist) == ("broken", 1)


def test_a_flip_flop_that_clears_itself_is_a_loop_that_oscillates() -> None:
    # Set by a press on the lever, its own output clears it at once; cleared, it is let go.
    wiring = Wiring("self_clearing").input("lever").gate("high", GateKind.HIGH)
    netlist = wiring.flip_flop("bell", FlipFlopKind.D, "high", clock="lever", clear=("bell", True), start=False).netlist()
    assert starts(netlist, "bell") == {"0"}
    (reached,) = arrivals(netlist, {"lever": 0, "bell": 0}, "1")
    assert named(netlist, reached.instant, "bell") == "0"
    assert not reached.events.raced


def test_a_latch_that_copies_itself_keeps_its_value() -> None:
    netlist = Wiring("copy").input("open").latch("bell", "bell", enable=("open", True), start=True).netlist()
    assert starts(netlist, "open", "bell") == {"01", "11"}
    assert settles(netlist) == ("proved", None)


def test_a_loop_that_nothing_touches_in_a_later_round_keeps_its_values() -> None:
    # The two bells race when the lever goes up, in round 1. Round 2 clocks `count` and leaves the loop alone.
    wiring = Wiring("kept").input("lever").gate("high", GateKind.HIGH)
    wiring.set_reset("ring", set="lever", reset="lever", start=False)
    wiring.flip_flop("copy", FlipFlopKind.TOGGLE, "high", clock="lever", start=False)
    netlist = wiring.gate("up", GateKind.BUFFER, "ring").netlist()
    up = netlist.signals["up"][0]
    ring = netlist.signals["ring"][0]
    reached = arrivals(netlist, {"lever": 0, "ring": 0}, "1") if False else set()
    behaviour = Behaviour(netlist)
    first = next(a.instant for a in behaviour.first() if not behaviour.steps.inputs_at(a.instant)[0])
    reached = set(behaviour.step(first, (True,)))
    assert {arrival.instant[up] for arrival in reached} == {False, True}
    steady = behaviour.steps.step(first, (True,))
    assert {outcome.instant[ring] for outcome in steady if ring not in outcome.changed} == {False}


def test_starts_that_contradict_each_other_leave_no_power_up_state() -> None:
    netlist = (
        Wiring("pair")
        .gate("a", GateKind.NOT, "b", start=True)
        .gate("b", GateKind.NOT, "a", start=True)
        .netlist()
    )
    with pytest.raises(NoPowerUpState):
        Oracle(design_of(netlist, []))


# Flip-flops and rounds


def ripple_counter(stages: int) -> Netlist:
    wiring = Wiring("ripple").input("lever").gate("high", GateKind.HIGH)
    clock = "lever"
    for stage in range(stages):
        name = f"count_{stage}"
        wiring.flip_flop(name, FlipFlopKind.TOGGLE, "high", clock=clock, edge=Edge.FALL, start=False)
        clock = name
    return wiring.netlist()


def test_a_ripple_counter_counts_one_on_every_fall() -> None:
    presses = ["0", *["1", "0"] * 9]
    seen = follow(ripple_counter(3), presses, "count_2", "count_1", "count_0")
    assert [int(word, 2) for word in seen[::2]] == [0, 1, 2, 3, 4, 5, 6, 7, 0, 1]


def test_a_decoder_on_a_ripple_counter_may_glitch_at_a_value_that_is_passed_through() -> None:
    # From 01 the counter goes to 10 by way of 00. From 00 it goes straight to 01.
    netlist = ripple_counter(2)
    zero = Wiring("decoded").input("lever").gate("high", GateKind.HIGH)
    zero.flip_flop("count_0", FlipFlopKind.TOGGLE, "high", clock="lever", edge=Edge.FALL, start=False)
    zero.flip_flop("count_1", FlipFlopKind.TOGGLE, "high", clock="count_0", edge=Edge.FALL, start=False)
    zero.gate("is_zero", GateKind.NOR, "count_0", "count_1").gate("is_three", GateKind.AND, "count_0", "count_1")
    netlist = zero.netlist()
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
    wiring = Wiring("pins", inputs_may_change_together=True).input("clear_n").input("preset_n").gate("low", GateKind.LOW)
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
    wiring = Wiring("let_go", inputs_may_change_together=True).input("clear_n").input("tempo").gate("high", GateKind.HIGH)
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


# Claims


def told(formula: Formula, *words: str) -> str:
    """Whether the formula holds at each instant of a run; one word with a letter a net for each instant."""
    memory: Memory | None = None
    said = ""
    for word in words:
        judged = judge(formula, bits(word), QUIET, memory)
        memory = judged.memory
        said += str(int(judged.holds))
    return said


A = Signal(name="a", nets=(0,))
B = Signal(name="b", nets=(1,))


@pytest.mark.parametrize(
    ("formula", "words", "expected"),
    [
        (Before(operand=A), "1 0 1 1", "1101"),
        (Step(word=StepWord.RISES, operand=A), "1 0 1 1", "0010"),
        (Step(word=StepWord.FALLS, operand=A), "1 0 1 1", "0100"),
        (Step(word=StepWord.STEADY, operand=A), "1 0 1 1", "1001"),
        (Step(word=StepWord.CHANGES, operand=Before(operand=A)), "0 1 1 0", "0010"),
        (Once(operand=A), "0 1 0 0", "0111"),
        (Since(left=A, right=B), "10 01 10 10 00 10", "011100"),
        (AtTheLast(operand=A, trigger=B), "10 11 00 01 10", "01100"),
        (WithinTheLast(operand=A, bound=Bound(1, Unit.STEPS)), "1 0 0 1", "1101"),
        (WithinTheLast(operand=A, bound=Bound(0, Unit.STEPS)), "1 0 0 1", "1001"),
        (OnlyWhen(left=A, right=B), "00 10 11 01", "1011"),
        (LeadsTo(left=A, right=B, bound=Bound(2, Unit.STEPS)), "10 00 01 00", "1111"),
        (LeadsTo(left=A, right=B, bound=Bound(1, Unit.STEPS)), "10 00 01 00", "1011"),
        (LeadsTo(left=A, right=B, bound=Bound(0, Unit.STEPS)), "11 10", "10"),
        # A new trigger does not put the deadline of an older one off.
        (LeadsTo(left=A, right=B, bound=Bound(2, Unit.STEPS)), "10 10 10", "110"),
    ],
)
def test_a_formula_says_of_a_run_what_its_word_means(formula: Formula, words: str, expected: str) -> None:
    assert told(formula, *words.split()) == expected


def test_a_deadline_in_rises_does_not_count_the_rise_that_comes_with_the_trigger() -> None:
    counted = Signal(name="c", nets=(2,))
    formula = LeadsTo(left=A, right=B, bound=Bound(1, Unit.RISES, counted))
    assert told(formula, "000", "101", "000", "011") == "1111"
    assert told(formula, "000", "101", "000", "000", "001") == "11110"


def test_the_trigger_that_never_comes_makes_a_proof_empty() -> None:
    netlist = Wiring("strap").input("lever").gate("low", GateKind.LOW).netlist()
    low, lever = signal(netlist, "low"), signal(netlist, "lever")
    claims = [
        must("empty", OnlyWhen(left=low, right=lever)),
        must("full", OnlyWhen(left=lever, right=lever)),
        must("no_trigger", Never(operand=low)),
        can("shown", Step(word=StepWord.FALLS, operand=lever)),
        can("impossible", low),
    ]
    answers = Oracle(design_of(netlist, claims)).answers()
    assert [answer.empty for answer in answers] == [True, False, False, False, False, False]
    assert [answer.length for answer in answers] == [None, None, None, 2, None, None]
    assert [answer.verdict for answer in answers] == ["proved", "proved", "proved", "shown", "impossible", "proved"]


def test_givens_that_no_endless_run_obeys_are_contradictory() -> None:
    netlist = Wiring("strap").input("lever").netlist()
    lever = signal(netlist, "lever")
    early = WithinTheLast(operand=Step(word=StepWord.CHANGES, operand=lever), bound=Bound(0, Unit.STEPS))
    with pytest.raises(Contradictory):
        Oracle(design_of(netlist, [], [Given(name="at_once", formula=early, text="lever changes within the last 0 steps")]))
    # Obeyed for two instants, then never more: nothing has changed at the first, so something must by the second.
    stuck = Apply(
        operator=Operator.AND, operands=(Before(operand=lever), Apply(operator=Operator.NOT, operands=(Once(operand=lever),)))
    )
    with pytest.raises(Contradictory):
        Oracle(design_of(netlist, [], [Given(name="stuck", formula=stuck, text="before lever and not once lever")]))


def test_a_piece_of_a_run_that_cannot_go_on_breaks_shows_and_fires() -> None:
    # The given lets the lever go up, and then no further instant obeys it.
    netlist = Wiring("strap").input("lever").netlist()
    lever = signal(netlist, "lever")
    never_after = Never(operand=Before(operand=lever))
    given = Given(name="dead_end", formula=never_after, text="never before lever")
    claims = [must("down", Never(operand=lever)), can("up", lever), must("silent", OnlyWhen(left=lever, right=lever))]
    answers = Oracle(design_of(netlist, claims, [given])).answers()
    assert [(answer.verdict, answer.length, answer.empty) for answer in answers] == [
        ("broken", 2, False),
        ("shown", 2, False),
        ("proved", None, False),
        ("proved", None, False),
    ]


# The walk itself


def test_shortest_lengths_agree_with_shortest_paths_on_the_explicit_graph() -> None:
    netlist = ripple_counter(3)
    behaviour = Behaviour(netlist)
    graph = nx.DiGraph(
        (instant, arrival.instant) for instant in behaviour.reachable() for arrival in behaviour.after(instant)
    )
    graph.add_edges_from(("start", arrival.instant) for arrival in behaviour.first())
    distance = nx.single_source_shortest_path_length(graph, "start")
    count = [signal(netlist, f"count_{stage}") for stage in range(3)]
    for value in range(8):
        wanted = [bit if value >> place & 1 else Apply(operator=Operator.NOT, operands=(bit,)) for place, bit in enumerate(count)]
        claim = can("counted", Apply(operator=Operator.AND, operands=tuple(wanted)))
        answer = Oracle(design_of(netlist, [claim])).answers()[0]
        reached = [length for node, length in distance.items() if node != "start" and all(
            node[bit.nets[0]] == bool(value >> place & 1) for place, bit in enumerate(count)
        )]
        assert answer.length == min(reached) == max(1, 2 * value)


def test_every_step_of_a_walk_is_an_edge_and_no_reachable_instant_is_missed() -> None:
    netlist = nand_pair(True)
    behaviour = Behaviour(netlist)
    found = behaviour.reachable()
    graph = nx.DiGraph((instant, arrival.instant) for instant in found for arrival in behaviour.after(instant))
    firsts = {arrival.instant for arrival in behaviour.first()}
    assert found == firsts.union(*(nx.descendants(graph, instant) for instant in firsts))
    assert {named(netlist, instant, "ring", "ring_n") for instant in found} == {"00", "01", "10", "11"}


def test_a_number_is_compared_as_wide_as_it_is() -> None:
    notes = Signal(width=2, name="notes", nets=(0, 1))
    rising = Step(word=StepWord.CHANGES, operand=notes)
    assert told(rising, "00", "10", "10", "01") == "0101"
    at_most_two = OnlyWhen(left=Literal(value=1), right=Apply(operator=Operator.NAND, operands=(A, B)))
    assert told(at_most_two, "00", "10", "11") == "110"
