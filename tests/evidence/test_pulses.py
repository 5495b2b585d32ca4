"""Pulses that begin and end inside one round: which nets they pass, and what may feel them, worked out by hand."""

from __future__ import annotations

import pytest

from evidence.bench import Bench, gates_only, wire
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import FlipFlopKind, GateKind, Level
from verifier.evidence.simulator import Outcome

RACE_FREE, RACED = False, True


def one_shot(inputs: str = "") -> NetlistBuilder:
    """A press gives `q` a pulse in round 2: it takes a 1 and clears itself. `a` rises in that round, `b` one later."""
    builder = NetlistBuilder("one_shot", inputs_may_change_together=True)
    for name in ["press", *inputs.split()]:
        builder.input(name)
    wire(builder, "high = high")
    builder.flip_flop("q", "high", "press", clear="q", start=False)
    builder.flip_flop("a", "high", "press", start=False)
    builder.flip_flop("b", "high", "a", start=False)
    return builder


def ways(bench: Bench, **inputs: int) -> tuple[Outcome, ...]:
    """Every way the next step can go; asking for each of them by its last instant must find it."""
    outcomes = bench.ways(**inputs)
    for aim in {outcome.instant for outcome in outcomes}:
        found = bench.simulator.outcomes_leading_to(bench.instant, aim)
        assert found == tuple(outcome for outcome in outcomes if outcome.instant == aim)
    return outcomes


def ends(bench: Bench, names: str, **inputs: int) -> set[tuple[str, bool]]:
    """The values of these nets after the step, and whether it is a race."""
    outcomes = ways(bench, **inputs)
    assert not any(outcome.events.oscillated for outcome in outcomes)
    return {(bench.read(outcome.instant, names), outcome.events.raced) for outcome in outcomes}


# Clocks


def test_a_flip_flop_clocked_by_one_that_clears_itself_may_feel_the_pulse_or_not() -> None:
    builder = one_shot()
    builder.flip_flop("struck", "high", "q", start=False)
    bench = Bench(builder.build())
    assert ends(bench, "q struck", press=1) == {("00", RACED), ("01", RACED)}
    assert all("q" in bench.names_of(outcome.events.may_glitch) for outcome in ways(bench, press=1))


def test_a_flip_flop_whose_clear_comes_with_its_clock_edge_pulses_without_any_loop() -> None:
    builder = NetlistBuilder("taken_away")
    builder.input("clk")
    wire(builder, "high = high")
    builder.flip_flop("a", "high", "clk", start=False)
    builder.flip_flop("q", "high", "clk", clear="a", start=False)
    builder.flip_flop("z", "high", "q", kind=FlipFlopKind.TOGGLE, start=False)
    bench = Bench(builder.build())
    assert ends(bench, "a q z", clk=1) == {("100", RACED), ("101", RACED)}
    assert all("q" in bench.names_of(outcome.events.may_glitch) for outcome in ways(bench, clk=1))


def test_what_is_sampled_and_taken_away_shows_as_a_possible_glitch_alone() -> None:
    builder = NetlistBuilder("either", inputs_may_change_together=True)
    builder.input("clk")
    builder.input("d")
    wire(builder, "high = high")
    builder.flip_flop("a", "high", "clk", start=False)
    builder.flip_flop("q", "d", "clk", clear="a", start=False)
    bench = Bench(builder.build())
    outcomes = ways(bench, clk=1, d=1)  # d changes with its clock: q takes either value before it is cleared
    assert {bench.read(outcome.instant, "a q") for outcome in outcomes} == {"10"}
    assert {"q" in bench.names_of(outcome.events.may_glitch) for outcome in outcomes} == {False, True}


def test_what_reads_its_own_value_from_a_felt_pulse_is_not_disturbed() -> None:
    builder = one_shot("d")
    builder.flip_flop("struck", "d", "q", start=False)
    bench = Bench(builder.build())
    assert ends(bench, "struck", press=1) == {("0", RACE_FREE)}
    bench.set(d=1)
    assert ends(bench, "struck", press=1) == {("0", RACED), ("1", RACED)}


def test_a_clock_that_rises_and_is_restless_may_give_one_edge_more() -> None:
    builder = one_shot()
    wire(builder, "c = or q a")  # a rises in the round of the pulse: c ends high, by one edge or two
    builder.flip_flop("z", "high", "c", kind=FlipFlopKind.TOGGLE, start=False)
    assert ends(Bench(builder.build()), "c z", press=1) == {("10", RACED), ("11", RACED)}


def test_an_edge_more_reads_the_data_that_moved_in_its_own_round_as_either_value() -> None:
    builder = one_shot()
    builder.flip_flop("r", "a", "q", start=False)  # a is 0 before the step and rises in the round of the pulse
    assert ends(Bench(builder.build()), "r", press=1) == {("0", RACED), ("1", RACED)}
    builder = one_shot()
    builder.flip_flop("r", "b", "q", start=False)  # b rises a round too late to be read
    assert ends(Bench(builder.build()), "r", press=1) == {("0", RACE_FREE)}


@pytest.mark.parametrize("pin", ["clear", "preset"])
def test_a_clock_pulse_while_a_pin_forces_the_flip_flop_is_not_felt(pin: str) -> None:
    builder = one_shot("hold")
    wire(builder, "low = low")
    data = "high" if pin == "clear" else "low"
    clear, preset = ("hold", None) if pin == "clear" else (None, "hold")
    builder.flip_flop("struck", data, "q", clear=clear, preset=preset, start=False)
    bench = Bench(builder.build(), hold=1)
    assert ends(bench, "struck", press=1) == {("0" if pin == "clear" else "1", RACE_FREE)}


def test_two_one_shots_that_fire_one_another_may_go_on_for_ever() -> None:
    builder = NetlistBuilder("round_and_round")
    builder.input("press")
    wire(builder, "high = high; c = xor press p")
    builder.flip_flop("q", "high", "c", clear="q", start=False)
    builder.flip_flop("p", "high", "q", clear="p", start=False)
    bench = Bench(builder.build())
    outcomes = ways(bench, press=1)
    assert {bench.read(outcome.instant, "q p") for outcome in outcomes} == {"00"}
    assert {(outcome.events.raced, outcome.events.oscillated) for outcome in outcomes} == {(True, False), (True, True)}


# Pins of storage elements


@pytest.mark.parametrize(("pin", "start", "felt"), [("clear", 1, 0), ("preset", 0, 1)])
def test_a_pulse_on_clear_or_preset_may_be_felt(pin: str, start: int, felt: int) -> None:
    for own, expected in [(start, {(str(start), RACED), (str(felt), RACED)}), (felt, {(str(felt), RACE_FREE)})]:
        builder = one_shot("idle")
        clear, preset = ("q", None) if pin == "clear" else (None, "q")
        builder.flip_flop("p", "high", "idle", clear=clear, preset=preset, start=bool(own))
        assert ends(Bench(builder.build()), "p", press=1) == expected


def test_a_pin_that_is_active_when_the_round_is_over_needs_no_feeling() -> None:
    builder = one_shot("idle")
    # Active low: what its pulse takes away comes back, and p is cleared before and after.
    builder.flip_flop("p", "high", "idle", clear=Level(builder.net("q"), False), start=False)
    assert ends(Bench(builder.build()), "p", press=1) == {("0", RACE_FREE)}


@pytest.mark.parametrize(("pin", "forced"), [("clear", "0"), ("preset", "1")])
def test_a_flip_flop_that_a_pulse_tugs_at_as_its_clock_rises_takes_either_value(pin: str, forced: str) -> None:
    builder = one_shot()
    clear, preset = ("q", None) if pin == "clear" else (None, "q")
    builder.flip_flop("p", "high", "a", clear=clear, preset=preset, start=False)
    found = ends(Bench(builder.build()), "p", press=1)
    assert {value for value, _ in found} == {"0", "1"}
    # Its old value or what it sampled; and from there a pulse may be felt that takes it to the forced value.
    assert {value for value, raced in found if not raced} == {forced}


def test_a_flip_flop_whose_clear_pulsed_a_round_before_its_clock_edge_takes_either_value() -> None:
    builder = one_shot()
    builder.flip_flop("p", "high", "b", clear="q", start=False)  # 0 all along: the clear has nothing to take away
    assert ends(Bench(builder.build()), "p", press=1) == {("0", RACE_FREE), ("1", RACE_FREE)}


@pytest.mark.parametrize(("pins", "felt"), [(("q", "other"), 1), (("other", "q"), 0)])
def test_a_set_reset_latch_may_feel_a_pulse_on_either_pin(pins: tuple[str, str], felt: int) -> None:
    for own in (0, 1):
        builder = one_shot("other")
        builder.set_reset("m", *pins, start=bool(own))
        expected = {(str(felt), RACE_FREE)} if own == felt else {("0", RACED), ("1", RACED)}
        assert ends(Bench(builder.build()), "m", press=1) == expected


def test_a_set_pulse_against_a_lasting_reset_is_a_pulse_at_the_output() -> None:
    builder = one_shot("r")
    builder.set_reset("m", "q", "r")
    builder.flip_flop("z", "high", "m", start=False)
    bench = Bench(builder.build(), r=1)
    assert ends(bench, "m z", press=1) == {("00", RACED), ("01", RACED)}


@pytest.mark.parametrize(("own", "d", "raced"), [(0, 0, False), (0, 1, True), (1, 0, True), (1, 1, False)])
def test_a_latch_that_is_opened_by_a_pulse_may_take_d(own: int, d: int, raced: bool) -> None:
    builder = one_shot("d")
    builder.latch("m", "d", "q", start=bool(own))
    assert ends(Bench(builder.build(), d=d), "m", press=1) == {(str(value), raced) for value in {own, d}}


@pytest.mark.parametrize("own", [False, True])
def test_a_latch_that_is_opened_by_a_pulse_while_d_moves_may_take_the_old_d_or_the_new_one(own: bool) -> None:
    builder = one_shot()
    builder.latch("m", "a", "q", start=own)  # a rises from 0 in the round of the pulse
    assert ends(Bench(builder.build()), "m", press=1) == {("0", RACED), ("1", RACED)}


def test_a_latch_that_is_opened_by_a_pulse_whose_data_pulses_takes_either_value() -> None:
    builder = one_shot()
    wire(builder, "n = not q")  # high before and after
    builder.latch("m", "n", "q", start=True)
    assert ends(Bench(builder.build()), "m", press=1) == {("0", RACED), ("1", RACED)}


def test_a_latch_that_a_pulse_closes_for_a_moment_is_open_again_when_the_round_is_over() -> None:
    builder = one_shot("d")
    builder.latch("m", "d", Level(builder.net("q"), False))
    assert ends(Bench(builder.build(), d=1), "m", press=1) == {("1", RACE_FREE)}


@pytest.mark.parametrize("active_high", [False, True])
def test_a_latch_passes_pulses_of_its_data_only_when_it_was_open(active_high: bool) -> None:
    builder = one_shot("en")
    builder.latch("m", "q", Level(builder.net("en"), active_high), start=False)
    builder.flip_flop("z", "high", "m", start=False)
    expected = {("0", RACE_FREE)} if active_high else {("0", RACED), ("1", RACED)}
    assert ends(Bench(builder.build()), "z", press=1) == expected


def test_a_latch_that_closes_on_a_pulse_keeps_either_value() -> None:
    builder = one_shot()
    builder.latch("m", "q", Level(builder.net("a"), False))  # closes in the round of the pulse
    assert ends(Bench(builder.build()), "m", press=1) == {("0", RACE_FREE), ("1", RACE_FREE)}


# Data pins, and the round that is worked out again with the clock held


@pytest.mark.parametrize("clock", ["a", "b"])
def test_a_data_pin_that_pulses_in_the_round_of_the_edge_or_before_reads_as_either_value(clock: str) -> None:
    builder = one_shot()
    builder.flip_flop("r", "q", clock, start=False)
    assert ends(Bench(builder.build()), "r", press=1) == {("0", RACE_FREE), ("1", RACE_FREE)}


def pulser_on(clock: str) -> Bench:
    """A rise of clk makes x go up and down again; round the loop of x, low and y nothing comes back to x."""
    builder = NetlistBuilder("pulser")
    builder.input("clk")
    wire(builder, "n = not clk; one = high; low = or x one; y = and n low; x = and clk y; late = buffer clk")
    builder.flip_flop("r", "x", clock, start=False)
    return Bench(builder.build())


def test_a_data_pin_that_only_its_own_clock_makes_pulse_reads_as_it_was() -> None:
    bench = pulser_on("clk")
    assert bench.read(bench.instant, "x low y") == "011"
    (outcome,) = ways(bench, clk=1)
    assert bench.read(outcome.instant, "x low y r") == "0100"
    assert not outcome.events.raced
    assert "x" in bench.names_of(outcome.events.may_glitch)
    # The same pulse comes ahead of a clock net that is held further down.
    assert ends(pulser_on("late"), "r", clk=1) == {("0", RACE_FREE), ("1", RACE_FREE)}


def test_a_clock_inside_the_loop_of_its_data_holds_the_pulse_up_when_it_is_held() -> None:
    builder = NetlistBuilder("inside")
    builder.input("clk")
    wire(builder, "n = not clk; one = high; low = or x one; y = and n low; x = and clk y")
    builder.flip_flop("r", "y", "x", start=False)  # x pulses; y falls only because of n
    # Both y before the step and y afterwards may be read at the pulse of x.
    assert ends(Bench(builder.build()), "x y r", clk=1) == {("000", RACED), ("001", RACED)}


# Loops


def test_a_nand_pair_that_is_set_by_a_pulse_may_take_it_or_not_or_swing() -> None:
    builder = one_shot("r_n")
    wire(builder, "s_n = not q; m = nand s_n mn; mn = nand r_n m")
    bench = Bench(builder.build(), {"m": 0}, r_n=1)
    assert bench.read(bench.instant, "m mn") == "01"
    outcomes = ways(bench, press=1)
    seen = {bench.read(o.instant, "m mn"): (o.events.raced, o.events.oscillated) for o in outcomes}
    # As when both inputs of the pair are let go at once: the pulse may end while the pair stands at 11.
    assert seen == {"01": (True, False), "10": (True, False), "00": (True, True), "11": (True, True)}
    (unmoved,) = (o for o in outcomes if bench.read(o.instant, "m mn") == "01")
    assert bench.names_of(unmoved.events.may_glitch) >= {"q", "s_n", "m", "mn"}


def test_a_nand_pair_that_is_set_already_does_not_mind_a_set_pulse() -> None:
    builder = one_shot("r_n")
    wire(builder, "s_n = not q; m = nand s_n mn; mn = nand r_n m")
    bench = Bench(builder.build(), {"m": 1}, r_n=1)
    (outcome,) = ways(bench, press=1)
    assert bench.read(outcome.instant, "m mn") == "10"
    assert not outcome.events.raced
    assert bench.names_of(outcome.events.may_glitch) == {"q", "s_n"}


def test_a_latch_of_nands_that_is_opened_by_a_pulse_may_take_d() -> None:
    builder = one_shot("d")
    wire(builder, "s_n = nand d q; r_n = nand s_n q; m = nand s_n mn; mn = nand r_n m")
    bench = Bench(builder.build(), {"m": 0}, d=1)
    outcomes = ways(bench, press=1)
    assert {bench.read(o.instant, "m mn") for o in outcomes if not o.events.oscillated} == {"01", "10"}
    assert all(o.events.raced for o in outcomes)


def test_a_storage_latch_inside_a_loop_may_feel_a_pulse_on_its_enable() -> None:
    builder = one_shot("push")
    builder.latch("m", "d", "q", start=False)
    wire(builder, "d = or push m")
    bench = Bench(builder.build(), push=1)
    assert bench.read(bench.instant, "m d") == "01"
    assert ends(bench, "m d", press=1) == {("01", RACED), ("11", RACED)}


def test_a_pulse_on_the_clear_of_a_flip_flop_in_a_loop_is_the_business_of_the_race() -> None:
    builder = one_shot("idle")
    wire(builder, "clear = or q full; full = and p idle")  # p is in a loop with its clear
    builder.flip_flop("p", "high", "idle", clear="clear", start=True)
    bench = Bench(builder.build())
    assert ends(bench, "p", press=1) == {("0", RACED), ("1", RACED)}
    # What the race brought about it has brought about in the round of the pulse: later rounds add nothing.
    assert all("clear" in bench.names_of(outcome.events.may_glitch) for outcome in ways(bench, press=1))


def test_a_flip_flop_in_a_loop_that_sets_itself_again_feels_no_clear_beyond_the_race() -> None:
    builder = one_shot()
    builder.flip_flop("p", "high", "q", clear="q", preset=Level(builder.net("p"), False))
    bench = Bench(builder.build())
    assert ends(bench, "p", press=1) == {("1", RACE_FREE)}
    assert all("p" in bench.names_of(outcome.events.may_glitch) for outcome in ways(bench, press=1))


def test_a_flip_flop_clocked_by_what_moves_inside_a_loop_may_feel_it() -> None:
    builder = NetlistBuilder("pulser")
    builder.input("clk")
    wire(builder, "n = not clk; one = high; low = or x one; y = and n low; x = and clk y")
    builder.flip_flop("z", "one", "x", kind=FlipFlopKind.TOGGLE, start=False)
    bench = Bench(builder.build())
    assert ends(bench, "z", clk=1) == {("0", RACED), ("1", RACED)}
    bench = Bench(builder.build(), clk=1)
    assert ends(bench, "z", clk=0) == {("0", RACE_FREE)}  # y rises only after clk has taken x away for good


# What must not be disturbed


def counted(builder: NetlistBuilder, clock: str) -> list[str]:
    """Three toggles in a row that count the falls of `clock`."""
    wire(builder, "one = high")
    stages = ["k0", "k1", "k2"]
    for before, stage in zip([clock, *stages], stages, strict=False):
        inverse = builder.net(f"{before}_n")
        builder.gate(inverse, GateKind.NOT, [before])
        builder.flip_flop(stage, "one", inverse, kind=FlipFlopKind.TOGGLE, start=False)
    return stages


def test_a_counter_behind_a_lever_freed_of_bounces_by_a_nand_pair_counts_without_a_race() -> None:
    builder = NetlistBuilder("bounce_free", inputs_may_change_together=True)
    builder.input("up_n")
    builder.input("down_n")
    wire(builder, "q = nand up_n qn; qn = nand down_n q")
    stages = counted(builder, "q")
    bench = Bench(builder.build(), {"q": 0}, up_n=1)
    for turn in range(1, 10):
        bench.set(down_n=1)
        bench.set(up_n=0)
        bench.set(up_n=1)
        bench.set(up_n=0)
        bench.set(up_n=1, down_n=0)  # turned over at once, the pair passes 11 and no pin moves twice
        assert bench.number(stages) == turn % 8


# TI SN7474 logic diagram (from memory): six NANDs make a D flip-flop for the rising edge.
def test_a_counter_behind_a_flip_flop_of_six_nands_that_halves_its_clock_counts_without_a_race() -> None:
    builder = NetlistBuilder("halved")
    builder.input("clk")
    builder.input("d")
    wire(builder, "a = nand w b; b = nand a clk; c = nand b clk w; w = nand c d; q = nand b qn; qn = nand q c")
    stages = counted(builder, "q")
    bench = Bench(builder.build(), {"q": 0})
    for turn in range(1, 10):
        for d in (1, 0):
            bench.set(d=d)
            bench.pulse("clk")
            assert bench["q"] == d
        assert bench.number(stages) == turn % 8


def test_gates_that_no_pulse_reaches_feel_nothing() -> None:
    bench = Bench(gates_only("x y", "u = and x y; v = xor u x"), x=1)
    assert bench.names_of(bench.set(y=1).may_glitch) == set()
