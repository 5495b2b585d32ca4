"""Storage in the delay views: what it holds, when it becomes unsure, what it asks of its pins; and inputs in time."""

from __future__ import annotations

from itertools import product
from random import Random

import pytest

from evidence.delay_bench import circuit, every_start, numbers, random_walk, run_of, start, takes, wire
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import Edge, FlipFlopKind, InputClass, Level, Netlist, Timing
from verifier.claims.formula import KeepsTiming, TimingRule
from verifier.claims.run import Run, StepEvents
from verifier.claims.timed_meaning import evaluate_in_time, first_breach_in_time, with_every_tick
from verifier.errors import InternalDisagreement
from verifier.evidence.delay_simulator import DelaySimulator, DelayState, MoveKind

TIMING = Timing(set_up=3, hold=2, clock_width=5, clear_width=4, settling=6)


def register(timing: Timing | None = TIMING, kind: FlipFlopKind = FlipFlopKind.D) -> Netlist:
    builder = NetlistBuilder("register", inputs_may_change_together=True)
    pins = ["d"] if kind is not FlipFlopKind.JK else ["j", "k"]
    for name in (*pins, "clk", "clear", "preset"):
        builder.input(name)
    builder.flip_flop(
        "q", pins, "clk", kind=kind, clear="clear", preset="preset", start=False, takes=takes((1, 1)), timing=timing
    )
    return builder.build()


IDLE = {"d": 0, "clk": 0, "clear": 0, "preset": 0, "q": 0}


def states_after(netlist: Netlist, *moves: tuple[int, str], until: int | None = None) -> frozenset[DelayState]:
    return DelaySimulator(netlist, True).follow(run_of(netlist, IDLE, *moves, until=until))


def held(states: frozenset[DelayState]) -> set[bool]:
    return {bool(state.holding) for state in states}


def is_followed(simulator: DelaySimulator, run: Run) -> bool:
    try:
        simulator.follow(run)
    except InternalDisagreement:
        return False
    return True


@pytest.mark.parametrize("own", [0, 1])
@pytest.mark.parametrize(("j", "k"), list(product((0, 1), repeat=2)))
def test_a_jk_flip_flop_takes_what_its_function_table_says(own: int, j: int, k: int) -> None:
    # The function table of the 74112: hold, reset, set, toggle (from memory).
    builder = NetlistBuilder("jk")
    for name in ("j", "k", "clk"):
        builder.input(name)
    builder.flip_flop("q", ["j", "k"], "clk", kind=FlipFlopKind.JK, edge=Edge.FALL, start=bool(own))
    netlist = builder.build()
    simulator = DelaySimulator(netlist, False)
    first = start(simulator, j=j, k=k, clk=1)
    clock = numbers(netlist)["clk"]
    after = [state for move, state in simulator.successors(first) if move.nets == {clock}]
    assert [bool(state.holding) for state in after] == [
        bool({(0, 0): own, (0, 1): 0, (1, 0): 1, (1, 1): 1 - own}[j, k])
    ]


def test_a_pin_that_moves_with_the_clock_reads_as_either_value() -> None:
    netlist = register(timing=None)
    assert held(states_after(netlist, (5, "d"), (9, "clk"))) == {True}
    assert held(states_after(netlist, (9, "clk"))) == {False}
    assert held(states_after(netlist, (9, "d clk"))) == {False, True}


def test_preset_wins_over_clear_and_both_over_the_clock() -> None:
    netlist = register(timing=None)
    assert held(states_after(netlist, (5, "preset"))) == {True}
    assert held(states_after(netlist, (5, "clear preset"))) == {True}
    assert held(states_after(netlist, (1, "d"), (5, "clear"), (9, "clk"))) == {False}
    assert held(states_after(netlist, (5, "clear preset"), (6, "q"), (9, "preset"))) == {False}


def test_the_output_follows_what_is_held_after_its_delay() -> None:
    netlist = register(timing=None)
    simulator = DelaySimulator(netlist, True)
    assert is_followed(simulator, run_of(netlist, IDLE, (1, "d"), (9, "clk"), (10, "q")))
    assert not is_followed(simulator, run_of(netlist, IDLE, (1, "d"), (9, "clk"), (9, "q")))
    assert not is_followed(simulator, run_of(netlist, IDLE, (1, "d"), (9, "clk"), (11, "q")))


@pytest.mark.parametrize(
    ("change", "edge", "is_sure"),
    [(4, 8, True), (5, 8, False), (6, 8, False), (8, 8, False), (9, 8, False), (10, 8, False), (11, 8, True)],
)
def test_a_flip_flop_is_sure_from_one_ns_past_its_set_up_and_hold(change: int, edge: int, is_sure: bool) -> None:
    # Set-up 3 ns, hold 2 ns: a change exactly that far from the edge is in order, and yet it may be unsure.
    moves = sorted([(change, "d"), (edge, "clk")])
    if change < edge:
        moves.append((edge + 1, "q"))
    states = states_after(register(), *moves)
    timers = [state.timers for state in states if state.timers is not None]
    assert len(timers) == len(states)
    assert (any(one.unsure != (None,) for one in timers)) is not is_sure


def test_an_unsure_flip_flop_becomes_either_value_within_its_settling_time_once() -> None:
    netlist = register()
    simulator = DelaySimulator(netlist, True)
    # `d` rises 1 ns before the edge at 8 ns; unsure until 14 ns; the output follows 1 ns after what is held.
    late = [(7, "d"), (8, "clk")]
    assert is_followed(simulator, run_of(netlist, IDLE, *late, (9, "q"), until=30))
    assert is_followed(simulator, run_of(netlist, IDLE, *late, until=30))
    # It took the 1, lost it again at the last moment: a pulse of 6 ns.
    assert is_followed(simulator, run_of(netlist, IDLE, *late, (9, "q"), (15, "q"), until=30))
    assert not is_followed(simulator, run_of(netlist, IDLE, *late, (9, "q"), (16, "q"), until=30))
    assert not is_followed(simulator, run_of(netlist, IDLE, *late, (9, "q"), (12, "q"), (14, "q"), until=30))
    # Where nothing is violated there is no such choice.
    assert not is_followed(simulator, run_of(netlist, IDLE, (4, "d"), (8, "clk"), until=30))


def test_without_a_settling_time_it_is_sure_in_the_same_ns() -> None:
    netlist = register(Timing(set_up=3))
    simulator = DelaySimulator(netlist, True)
    late = [(7, "d"), (8, "clk")]
    assert is_followed(simulator, run_of(netlist, IDLE, *late, (9, "q"), until=30))
    assert is_followed(simulator, run_of(netlist, IDLE, *late, until=30))
    assert not is_followed(simulator, run_of(netlist, IDLE, *late, (9, "q"), (10, "q"), until=30))


@pytest.mark.parametrize("ending", ["clear", "preset"])
def test_being_cleared_or_preset_ends_it(ending: str) -> None:
    states = states_after(register(), (7, "d"), (8, "clk"), (8, ending))
    assert held(states) == {ending == "preset"}
    assert {state.timers.unsure for state in states if state.timers} == {(None,)}


def test_being_sampled_anew_ends_it() -> None:
    moves = [(7, "d"), (8, "clk"), (9, "q"), (10, "clk"), (12, "clk")]
    states = states_after(register(), *moves)
    assert held(states) == {True}
    assert {state.timers.unsure for state in states if state.timers} == {(None,)}


# The claims that are always there, on runs


def breach(
    netlist: Netlist, rule: TimingRule, *moves: tuple[int, str], first: dict[str, int] | None = None
) -> int | None:
    """The time of the first breach."""
    run = run_of(netlist, first or IDLE, *moves)
    found = first_breach_in_time(KeepsTiming(rule=rule, storage=numbers(netlist)["q"]), run, netlist)
    times = with_every_tick(run).run.times
    assert times is not None
    return None if found is None else times[found]


@pytest.mark.parametrize(
    ("rule", "moves", "expected"),
    [
        (TimingRule.SET_UP, [(5, "d"), (8, "clk")], None),
        (TimingRule.SET_UP, [(6, "d"), (8, "clk")], 8),
        (TimingRule.SET_UP, [(8, "d"), (8, "clk")], 8),
        (TimingRule.SET_UP, [(8, "d clk")], 8),
        (TimingRule.SET_UP, [(8, "clk"), (8, "d")], None),
        (TimingRule.SET_UP, [(2, "clear"), (7, "d"), (8, "clk")], None),
        (TimingRule.SET_UP, [(1, "clk"), (7, "d"), (8, "clk")], None),
        (TimingRule.HOLD, [(8, "clk"), (10, "d")], None),
        (TimingRule.HOLD, [(8, "clk"), (9, "d")], 9),
        (TimingRule.HOLD, [(8, "clk"), (8, "d")], 8),
        (TimingRule.HOLD, [(8, "d clk")], 8),
        (TimingRule.HOLD, [(8, "d"), (8, "clk")], None),
        (TimingRule.HOLD, [(2, "preset"), (8, "clk"), (9, "d")], None),
        (TimingRule.CLOCK_WIDTH, [(2, "clk"), (7, "clk"), (12, "clk")], None),
        (TimingRule.CLOCK_WIDTH, [(2, "clk"), (6, "clk")], 6),
        (TimingRule.CLOCK_WIDTH, [(2, "clk"), (7, "clk"), (11, "clk")], 11),
        (TimingRule.CLOCK_WIDTH, [(2, "clk")], None),
        (TimingRule.CLEAR_WIDTH, [(2, "clear"), (6, "clear"), (7, "clear")], None),
        (TimingRule.CLEAR_WIDTH, [(2, "clear"), (5, "clear")], 5),
        (TimingRule.CLEAR_WIDTH, [(2, "preset"), (5, "preset")], 5),
    ],
)
def test_what_a_flip_flop_asks_of_its_pins_is_broken_to_the_ns(
    rule: TimingRule, moves: list[tuple[int, str]], expected: int | None
) -> None:
    assert breach(register(), rule, *moves) == expected


@pytest.mark.parametrize(
    ("rule", "moves", "expected"),
    [
        (TimingRule.SET_UP, [(1, "en"), (5, "d"), (8, "en")], None),
        (TimingRule.SET_UP, [(1, "en"), (6, "d"), (8, "en")], 8),
        (TimingRule.SET_UP, [(7, "d"), (8, "en")], None),
        (TimingRule.HOLD, [(1, "en"), (8, "en"), (9, "d")], 9),
        (TimingRule.HOLD, [(1, "en"), (8, "en"), (10, "d")], None),
        (TimingRule.CLOCK_WIDTH, [(1, "en"), (5, "en")], 5),
        (TimingRule.CLOCK_WIDTH, [(1, "en"), (6, "en"), (7, "en")], None),
    ],
)
def test_what_a_latch_asks_of_its_pins_is_broken_to_the_ns(
    rule: TimingRule, moves: list[tuple[int, str]], expected: int | None
) -> None:
    builder = NetlistBuilder("latch")
    builder.input("d")
    builder.input("en")
    builder.latch("q", "d", Level(builder.net("en"), False), takes=takes((1, 1)), timing=TIMING)
    netlist = builder.build()
    assert breach(netlist, rule, *moves, first={"d": 0, "en": 1, "q": 0}) == expected


def test_a_figure_or_part_that_is_not_there_is_refused() -> None:
    netlist = register(Timing(set_up=1))
    run = run_of(netlist, IDLE)
    for rule, storage in ((TimingRule.HOLD, "q"), (TimingRule.SET_UP, "d")):
        with pytest.raises(ValueError, match=r"no hold|not the output"):
            evaluate_in_time(KeepsTiming(rule=rule, storage=numbers(netlist)[storage]), run, netlist)


def test_a_flip_flop_becomes_unsure_exactly_where_a_run_breaks_a_set_up_or_hold_of_one_ns_more() -> None:
    netlist = register(Timing(set_up=3, hold=2, settling=50))
    stricter = register(Timing(set_up=4, hold=3))
    net = numbers(netlist)
    breaches = 0
    for seed in range(200):
        simulator = DelaySimulator(netlist, True)
        run, _ = random_walk(Random(seed), simulator, 25)
        assert run.times is not None
        broken = [
            evaluate_in_time(KeepsTiming(rule=rule, storage=net["q"]), run, stricter)
            for rule in (TimingRule.SET_UP, TimingRule.HOLD)
        ]
        breached = (i for i in range(len(run)) if not (broken[0][i] and broken[1][i]))
        first = next((i for i in breached if not forced(run, net, i)), None)
        for length in range(1, len(run) + 1 if first is None else first + 2):
            piece = Run(run.instants[:length], run.events[:length], times=run.times[:length])
            unsure = {left for state in simulator.follow(piece) if state.timers for left in state.timers.unsure}
            assert unsure == ({None, 50} if length - 1 == first else {None}), f"seed {seed}"
        breaches += first is not None
    assert breaches > 50


def forced(run: Run, net: dict[str, int], i: int) -> bool:
    return run.instants[i][net["clear"]] or run.instants[i][net["preset"]]


# The first instant


def test_storage_with_an_unknown_start_may_stand_at_either_value() -> None:
    builder = NetlistBuilder("unknown")
    for name in ("d", "en", "s", "r", "clk"):
        builder.input(name)
    builder.flip_flop("a", "d", "clk")
    builder.latch("b", "d", "en")
    builder.set_reset("c", "s", "r", start=True)
    simulator = DelaySimulator(builder.build(), False)
    found = every_start(simulator)
    expected = sum(
        2 * (1 if en else 2) * (2 if s and r else 1) for en, s, r, _, _ in product((0, 1), repeat=5)
    )  # fmt: skip
    assert len(found) == len({state.values for state in found}) == expected
    assert all(bool(state.holding) == state.values[5] for state in found)


@pytest.mark.parametrize(("given", "expected"), [("", 2), ("q=1", 1), ("q=1 qn=1", 1)])
def test_a_loop_stands_where_it_is_stable_or_where_all_its_starts_are(given: str, expected: int) -> None:
    netlist = circuit("s_n r_n", "q = nand s_n qn; qn = nand r_n q", given)
    net = numbers(netlist)
    simulator = DelaySimulator(netlist, False)
    found = list(simulator.first_states({net["s_n"]: True, net["r_n"]: True}))
    assert len(found) == expected
    assert all(simulator.is_quiet(state) is (given != "q=1 qn=1") for state in found)
    for bits in product((False, True), repeat=4):
        is_listed = any(state.values == bits for state in every_start(simulator))
        assert (simulator.first_state(bits) is not None) is is_listed


# Inputs


def by_hand(apart: int | None) -> DelaySimulator:
    builder = NetlistBuilder("hands", inputs_may_change_together=True)
    builder.input("lever", InputClass.BY_HAND, apart=apart)
    builder.input("crank", InputClass.BY_HAND, apart=apart)
    builder.input("board", InputClass.STRAPPED)
    builder.input("rope")
    wire(builder, "bell = or lever crank rope 2 2")
    return DelaySimulator(builder.build(), True)


HANDS = {"lever": 0, "crank": 0, "board": 0, "rope": 0, "bell": 0}


def test_hands_stay_apart_from_each_other() -> None:
    simulator = by_hand(4)
    netlist = simulator.netlist
    assert is_followed(simulator, run_of(netlist, HANDS, (0, "lever"), (2, "bell"), (4, "crank")))
    assert not is_followed(simulator, run_of(netlist, HANDS, (0, "lever"), (2, "bell"), (3, "crank")))
    assert is_followed(simulator, run_of(netlist, HANDS, (0, "lever"), (0, "rope")))
    for together in ("lever crank", "lever rope", "board"):
        assert not is_followed(simulator, run_of(netlist, HANDS, (0, together)))


def test_hands_without_a_time_wait_for_quiet() -> None:
    simulator = by_hand(None)
    netlist = simulator.netlist
    assert is_followed(simulator, run_of(netlist, HANDS, (0, "lever"), (2, "bell"), (2, "crank")))
    assert not is_followed(simulator, run_of(netlist, HANDS, (0, "lever"), (2, "crank")))
    assert not is_followed(simulator, run_of(netlist, HANDS, (0, "rope"), (1, "crank")))


def test_a_bus_turns_over_any_of_its_bits_and_several_inputs_only_where_they_may() -> None:
    for together, expected in ((False, 3 + 1), (True, 3 + 1 + 3)):
        builder = NetlistBuilder("bus", inputs_may_change_together=together)
        builder.input_bus("data", 2)
        builder.input("rope")
        simulator = DelaySimulator(builder.build(), False)
        moves = [move for move, _ in simulator.successors(every_start(simulator)[0])]
        assert len(moves) == len({move.nets for move in moves}) == expected
        assert {move.kind for move in moves} == {MoveKind.INPUT_CHANGE}


def test_several_changes_may_come_in_one_ns() -> None:
    netlist = circuit("rope", "bell = buffer rope 0 2")
    quick = run_of(netlist, {"rope": 0, "bell": 0}, (3, "rope"), (3, "bell"), (3, "rope"), (3, "bell"))
    assert DelaySimulator(netlist, True).follow(quick)


def test_a_set_reset_latch_with_both_pins_active_may_move_and_need_not() -> None:
    builder = NetlistBuilder("both")
    builder.input("s")
    builder.input("r")
    builder.set_reset("q", "s", "r", takes=takes((2, 3)))
    netlist = builder.build()
    simulator = DelaySimulator(netlist, True)
    idle = {"s": 1, "r": 1, "q": 0}
    assert is_followed(simulator, run_of(netlist, idle, until=50))
    assert is_followed(simulator, run_of(netlist, idle, (2, "q"), (9, "q"), until=50))
    assert not is_followed(simulator, run_of(netlist, idle, (1, "q")))
    # Let go on one side alone it must go, and has been under way for long.
    assert is_followed(simulator, run_of(netlist, idle, (20, "r"), (20, "q")))
    assert not is_followed(simulator, run_of(netlist, idle, (20, "r"), (21, "q")))


def test_a_run_in_which_nothing_happens_between_two_instants_is_none() -> None:
    netlist = circuit("rope", "bell = buffer rope 1 2")
    idle = {"rope": 0, "bell": 0}
    simulator = DelaySimulator(netlist, True)
    with pytest.raises(InternalDisagreement, match="nothing happens"):
        simulator.follow(run_of(netlist, idle, until=0))
    with pytest.raises(InternalDisagreement, match="time may not pass"):
        simulator.follow(run_of(netlist, idle, (0, "rope"), until=3))
    with pytest.raises(InternalDisagreement, match="cannot start"):
        simulator.follow(run_of(netlist, {"rope": 0, "bell": 1}))
    endless = Run(((False, False),), (StepEvents(),), loop_from=0, times=(0,))
    with pytest.raises(ValueError, match="endless"):
        simulator.follow(endless)
