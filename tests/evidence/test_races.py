"""Loops: where races end, what oscillates, what settles for all its gates in a circle."""

from __future__ import annotations

from itertools import product

import pytest

from evidence.bench import Bench, gates_only, wire
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import Netlist
from verifier.claims.run import Instant
from verifier.evidence.simulator import SimulationLimit, Simulator

NAND_PAIR = gates_only("s_n r_n", "q = nand s_n qn; qn = nand r_n q")


# Unger 1969; Brzozowski and Seger 1995: let go from Q = Q' = 1 the pair ends in 01 or 10, or swings between 11 and 00.
def test_a_nand_pair_released_from_both_inputs_active_races_to_both_ends_and_may_oscillate() -> None:
    bench = Bench(NAND_PAIR)
    outcomes = bench.ways(s_n=1, r_n=1)
    seen = {bench.read(o.instant, "q qn"): (o.events.raced, o.events.oscillated) for o in outcomes}
    assert seen == {"01": (True, False), "10": (True, False), "00": (True, True), "11": (True, True)}


# The same sources: inputs 01 to 11 from Q = 1 stays at 10 and does not race.
def test_a_nand_pair_whose_set_goes_away_stays() -> None:
    bench = Bench(NAND_PAIR, s_n=0, r_n=1)
    bench.set(s_n=1)
    assert (bench["q"], bench["qn"]) == (1, 0)


# Own computation in the collected facts: inputs 01 to 10 end at 01 without a race, though they pass 11.
def test_a_nand_pair_turned_over_at_once_settles() -> None:
    bench = Bench(NAND_PAIR, s_n=0, r_n=1)
    bench.set(s_n=1, r_n=0)
    assert (bench["q"], bench["qn"]) == (0, 1)


def ring(stages: int) -> Netlist:
    return gates_only("", ";".join(f"n{i} = not n{(i - 1) % stages}" for i in range(stages)))


# Textbook: a ring of n inverters has no stable state for odd n and two for even n.
@pytest.mark.parametrize("stages", [1, 3, 5, 7])
def test_an_odd_ring_of_inverters_never_settles(stages: int) -> None:
    simulator = Simulator(ring(stages))
    starts = list(simulator.first_instants({}))
    assert starts
    assert all(events.oscillated for _, events in starts)
    for instant, _ in starts:
        outcomes = simulator.step(instant, {})
        assert outcomes
        assert all(outcome.events.oscillated for outcome in outcomes)


@pytest.mark.parametrize("stages", [2, 4, 6, 12])
def test_an_even_ring_of_inverters_has_two_stable_states(stages: int) -> None:
    starts = list(Simulator(ring(stages)).first_instants({}))
    alternating = [tuple(bool((i + first) % 2) for i in range(stages)) for first in (0, 1)]
    assert sorted(instant for instant, _ in starts) == sorted(alternating)
    assert not any(events.oscillated or events.raced for _, events in starts)


def test_a_ring_that_is_let_run_by_an_enable_oscillates_and_stops_again_by_a_race() -> None:
    bench = Bench(gates_only("run", "a = nand run c; b = not a; c = not b"))
    outcomes = bench.ways(run=1)
    assert len(outcomes) > 1
    assert all(outcome.events.oscillated for outcome in outcomes)
    bench.instant = outcomes[0].instant
    bench.set(run=0)
    assert (bench["a"], bench["b"], bench["c"]) == (1, 0, 1)


# Brzozowski and Seger 1995: a member that is excited in all states of a cycle has to fire, so the cycle is left.
def test_a_swing_that_a_waiting_member_must_end_is_no_outcome() -> None:
    bench = Bench(gates_only("quiet go", "a = nor a hold quiet; hold = or go x; x = and hold a"), quiet=1)
    assert bench.read(bench.instant, "a hold x") == "000"
    # Nothing but `hold` stops the swing of a, and its target is 1 all the time.
    bench.set(quiet=0, go=1)
    assert bench.read(bench.instant, "a hold x") == "010"


def test_a_swing_that_nothing_has_to_end_is_an_outcome() -> None:
    bench = Bench(gates_only("quiet go", "a = nor a hold quiet; hold = or go x; x = and hold a"), quiet=1)
    outcomes = bench.ways(quiet=0)
    assert {bench.read(o.instant, "a hold x") for o in outcomes} == {"000", "100"}
    assert all(o.events.raced and o.events.oscillated for o in outcomes)


def reachable(bench: Bench) -> set[Instant]:
    """All instants that single input changes lead to; every step on the way must settle."""
    nets = bench.netlist.input_nets
    seen = {bench.instant}
    pending = [bench.instant]
    while pending:
        instant = pending.pop()
        for net in nets:
            outcomes = bench.simulator.step(instant, {net: not instant[net]})
            assert len(outcomes) == 1
            assert not outcomes[0].events.raced
            assert not outcomes[0].events.oscillated
            if outcomes[0].instant not in seen:
                seen.add(outcomes[0].instant)
                pending.append(outcomes[0].instant)
    return seen


LATCH_OF_NANDS = "s_n = nand d en; r_n = nand s_n en; q = nand s_n qn; qn = nand r_n q"


# Mano; Wakerly: the D latch of four NANDs.
def test_a_transparent_latch_of_four_nands_settles_whatever_single_input_changes() -> None:
    bench = Bench(gates_only("d en", LATCH_OF_NANDS), en=1)
    instants = reachable(bench)
    assert {bench.read(i, "d q qn") for i in instants if bench.read(i, "en") == "1"} == {"001", "110"}
    assert {bench.read(i, "d q qn") for i in instants if bench.read(i, "en") == "0"} == {"001", "010", "101", "110"}


FLIP_FLOP_OF_NANDS = """
    a = nand w b; b = nand a clk; c = nand b clk w; w = nand c d
    q = nand b qn; qn = nand q c"""


# TI SN7474 logic diagram (from memory): six NANDs make a D flip-flop for the rising edge.
def test_a_flip_flop_of_six_nands_settles_and_takes_d_on_the_rising_edge_alone() -> None:
    bench = Bench(gates_only("d clk", FLIP_FLOP_OF_NANDS), {"q": 0})
    instants = reachable(bench)
    assert {bench.read(i, "d clk q") for i in instants} == {"".join(bits) for bits in product("01", repeat=3)}
    clk, d, q = bench.net["clk"], bench.net["d"], bench.net["q"]
    for instant in instants:
        for net in (clk, d):
            after = bench.simulator.step(instant, {net: not instant[net]})[0].instant
            rises = after[clk] and not instant[clk]
            assert after[q] == (instant[d] if rises else instant[q])


# Muller 1955: the C-element goes to what both inputs say and otherwise keeps its value.
def test_a_majority_gate_fed_back_is_a_c_element() -> None:
    bench = Bench(gates_only("a b", "y = majority a b y"))
    for a, b, y in [(1, 0, 0), (1, 1, 1), (0, 1, 1), (1, 1, 1), (1, 0, 1), (0, 0, 0), (0, 1, 0)]:
        bench.set(a=a, b=b)
        assert bench["y"] == y


def test_a_loop_of_twenty_four_members_is_followed_from_one_state() -> None:
    bench = Bench(
        gates_only("set", ";".join(["n0 = or set n23", *(f"n{i} = buffer n{i - 1}" for i in range(1, 24))])), {"n5": 0}
    )
    bench.set(set=1)
    assert all(bench[f"n{i}"] for i in range(24))


def test_a_search_that_explodes_is_given_up_loudly() -> None:
    gates = [f"n{i} = not n{j}" for i, j in zip(range(23), [22, *range(22)], strict=True)]
    with pytest.raises(SimulationLimit):
        next(Simulator(gates_only("", ";".join(gates)), limit=100_000).first_instants({}))


def test_membership_of_a_first_instant_of_a_long_odd_ring_needs_no_enumeration() -> None:
    simulator = Simulator(ring(21))
    instant = tuple(i % 2 == 0 for i in range(21))
    events = simulator.is_first_instant(instant)
    assert events is not None
    assert events.oscillated


def test_a_latch_that_feeds_its_own_inverse_oscillates_while_open_and_holds_while_closed() -> None:
    builder = NetlistBuilder("loop")
    builder.input("en")
    builder.latch("q", "d", "en", start=False)
    wire(builder, "d = not q")
    bench = Bench(builder.build())
    assert (bench["q"], bench["d"]) == (0, 1)
    outcomes = bench.ways(en=1)
    assert all(outcome.events.oscillated for outcome in outcomes)
    assert {bench.read(o.instant, "q") for o in outcomes} == {"0", "1"}


def test_a_set_reset_latch_that_resets_itself_goes_back_after_the_set_is_gone() -> None:
    builder = NetlistBuilder("self_reset")
    builder.input("s")
    builder.set_reset("q", "s", "r", start=False)
    wire(builder, "r = buffer q")
    bench = Bench(builder.build())
    outcomes = bench.ways(s=1)
    assert any(outcome.events.oscillated for outcome in outcomes)
    bench.instant = next(o.instant for o in outcomes if bench.read(o.instant, "q r") == "11")
    bench.set(s=0)
    assert bench["q"] == 0


def test_a_closing_latch_inside_a_loop_may_see_its_enable_late() -> None:
    """While the latch still sees its enable, the change of `push` may run round the loop into it, or not."""
    builder = NetlistBuilder("late", inputs_may_change_together=True)
    builder.input("en")
    builder.input("push")
    builder.latch("q", "d", "en", start=False)
    wire(builder, "d = or push q")
    bench = Bench(builder.build(), {"q": 0}, en=1)
    assert (bench["q"], bench["d"]) == (0, 0)
    outcomes = bench.ways(en=0, push=1)
    assert {bench.read(o.instant, "q d") for o in outcomes} == {"01", "11"}
    assert all(o.events.raced and not o.events.oscillated for o in outcomes)
    bench.set(push=1)
    assert bench["q"] == 1


@pytest.mark.parametrize(("kind", "old", "idle"), [("or", 0, 0), ("and", 1, 1)])
def test_a_gate_that_feeds_itself_remembers_the_one_input_that_moved_it(kind: str, old: int, idle: int) -> None:
    bench = Bench(gates_only("x", f"y = {kind} x y"), {"y": old}, x=idle)
    bench.set(x=1 - idle)
    assert bench["y"] == 1 - old
    bench.set(x=idle)
    assert bench["y"] == 1 - old
