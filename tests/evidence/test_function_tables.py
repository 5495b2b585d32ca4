"""The simulator against the published function tables of 74-series parts."""

from __future__ import annotations

import pytest

from evidence.bench import Bench, gates_only, wire
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import Edge, FlipFlopKind, Level, Netlist


def seven_four_seven_four() -> Netlist:
    builder = NetlistBuilder("7474", inputs_may_change_together=True)
    for name in ("d", "clk", "pre_n", "clr_n"):
        builder.input(name)
    preset, clear = Level(builder.net("pre_n"), False), Level(builder.net("clr_n"), False)
    builder.flip_flop("q", "d", "clk", preset=preset, clear=clear)
    return builder.build()


# National TL/F/6373 (DM7474), function table: PRE = L, CLR = H gives H; PRE = H, CLR = L gives L; both L gives H.
@pytest.mark.parametrize(("pre_n", "clr_n", "q"), [(0, 1, 1), (1, 0, 0), (0, 0, 1)])
@pytest.mark.parametrize("clk", [0, 1])
@pytest.mark.parametrize("d", [0, 1])
def test_7474_preset_and_clear_rule_whatever_clock_and_data_are(
    pre_n: int, clr_n: int, q: int, clk: int, d: int
) -> None:
    bench = Bench(seven_four_seven_four(), pre_n=0, clr_n=1, clk=clk, d=d)
    bench.set(pre_n=pre_n, clr_n=clr_n)
    assert bench["q"] == q
    bench.set(clk=1 - clk)
    assert bench["q"] == q


# The same sheet: on the rising edge Q takes D; while the clock is low (or high, or falls) Q stays.
@pytest.mark.parametrize("old", [0, 1])
@pytest.mark.parametrize("d", [0, 1])
def test_7474_takes_d_on_the_rising_edge_alone(old: int, d: int) -> None:
    bench = Bench(seven_four_seven_four(), {"q": old}, pre_n=1, clr_n=1)
    bench.set(d=d)
    assert bench["q"] == old
    bench.set(clk=1)
    assert bench["q"] == d
    bench.set(d=1 - d)
    bench.set(clk=0)
    assert bench["q"] == d


# The same sheet: the state with both active does not persist when both go away together ("unpredictable").
def test_7474_let_go_of_preset_and_clear_at_once_is_a_race() -> None:
    bench = Bench(seven_four_seven_four(), pre_n=0, clr_n=0)
    assert bench["q"] == 1
    outcomes = bench.ways(pre_n=1, clr_n=1)
    assert {bench.read(outcome.instant, "q") for outcome in outcomes} == {"0", "1"}
    assert all(outcome.events.raced for outcome in outcomes)
    bench.set(pre_n=1)
    assert bench["q"] == 0


def jk(edge: Edge) -> Netlist:
    builder = NetlistBuilder("jk")
    for name in ("j", "k", "clk", "set_n", "clr_n"):
        builder.input(name)
    preset, clear = Level(builder.net("set_n"), False), Level(builder.net("clr_n"), False)
    builder.flip_flop("q", ["j", "k"], "clk", kind=FlipFlopKind.JK, edge=edge, preset=preset, clear=clear)
    return builder.build()


# Motorola FAST and LS TTL Data, p. 5-79 (74LS76A) and p. 5-1 (74LS112A): both act on the falling edge;
# J K = L L holds, H L sets, L H resets, H H toggles.
@pytest.mark.parametrize("old", [0, 1])
@pytest.mark.parametrize(("j", "k"), [(0, 0), (1, 0), (0, 1), (1, 1)])
def test_74ls76a_and_74ls112a_follow_j_and_k_on_the_falling_edge(old: int, j: int, k: int) -> None:
    bench = Bench(jk(Edge.FALL), {"q": old}, set_n=1, clr_n=1)
    bench.set(j=j)
    bench.set(k=k)
    bench.set(clk=1)
    assert bench["q"] == old
    bench.set(clk=0)
    assert bench["q"] == {(0, 0): old, (1, 0): 1, (0, 1): 0, (1, 1): 1 - old}[j, k]


# Motorola p. 5-79: SET = CLR = L gives H at both outputs, SET alone H, CLR alone L.
# The plain 7476 has the same asynchronous rows (TI TTL Data Book, from memory); its clocking is a master-slave's.
@pytest.mark.parametrize(("set_n", "clr_n", "q"), [(0, 0, 1), (0, 1, 1), (1, 0, 0)])
def test_7476_and_74112_set_wins_over_clear(set_n: int, clr_n: int, q: int) -> None:
    assert Bench(jk(Edge.FALL), set_n=set_n, clr_n=clr_n)["q"] == q


# Motorola p. 5-75 (74LS75): while E is high Q follows D; while E is low Q keeps what it had when E fell.
def test_7475_is_transparent_while_enabled_and_holds_otherwise() -> None:
    builder = NetlistBuilder("7475")
    builder.input("d")
    builder.input("e")
    builder.latch("q", "d", "e")
    bench = Bench(builder.build(), e=1)
    for d in (1, 0, 1):
        bench.set(d=d)
        assert bench["q"] == d
    bench.set(e=0)
    for d in (0, 1, 0):
        bench.set(d=d)
        assert bench["q"] == 1
    bench.set(e=1)
    assert bench["q"] == 0


NAND_PAIR = gates_only("s_n r_n", "q = nand s_n qn; qn = nand r_n q")


def set_reset_279() -> Netlist:
    builder = NetlistBuilder("74279", inputs_may_change_together=True)
    builder.input("s_n")
    builder.input("r_n")
    wire(builder, "s = not s_n; r = not r_n")
    builder.set_reset("q", "s", "r")
    return builder.build()


# DM74LS279 (Fairchild DS006420), function table: S R = L H gives H, H L gives L, H H keeps Q0.
@pytest.mark.parametrize("netlist", [NAND_PAIR, set_reset_279()], ids=["two nands", "set_reset"])
def test_74279_sets_resets_and_keeps(netlist: Netlist) -> None:
    bench = Bench(netlist, s_n=0, r_n=1)
    assert bench["q"] == 1
    bench.set(s_n=1)
    assert bench["q"] == 1
    bench.set(r_n=0)
    assert bench["q"] == 0
    bench.set(r_n=1)
    assert bench["q"] == 0
    bench.set(s_n=0)
    assert bench["q"] == 1


# The same table: L L gives H (not stable), and Q is indeterminate when both go high together.
def test_74279_from_two_nands_is_high_with_both_inputs_active_and_races_when_let_go() -> None:
    bench = Bench(NAND_PAIR, s_n=0, r_n=0)
    assert (bench["q"], bench["qn"]) == (1, 1)
    outcomes = bench.ways(s_n=1, r_n=1)
    assert {bench.read(o.instant, "q") for o in outcomes if not o.events.oscillated} == {"0", "1"}
    assert all(o.events.raced for o in outcomes)


# A set_reset stands for parts of all makers: with both pins active it is either value.
def test_set_reset_with_both_pins_active_is_a_race_of_either_value() -> None:
    bench = Bench(set_reset_279(), s_n=0, r_n=1)
    outcomes = bench.ways(r_n=0)
    assert [(bench.read(o.instant, "q"), o.events.raced) for o in outcomes] == [("0", True), ("1", True)]


# IN74LS164, function table: CLR = L gives all L; a rising clock shifts, QA takes A and B.
def test_74164_shifts_a_and_b_in_and_clears_at_once() -> None:
    builder = NetlistBuilder("74164")
    for name in ("a", "b", "clk", "clr_n"):
        builder.input(name)
    wire(builder, "serial = and a b")
    clear = Level(builder.net("clr_n"), False)
    stages = ["qa", "qb", "qc", "qd", "qe", "qf", "qg", "qh"]
    for data, stage in zip(["serial", *stages], stages, strict=False):
        builder.flip_flop(stage, data, "clk", clear=clear)
    bench = Bench(builder.build(), clr_n=0, b=1)
    bench.set(clr_n=1)
    expected = 0
    for a in (1, 0, 1, 1, 0, 0, 1, 0, 1, 1):
        bench.set(a=a)
        bench.pulse("clk")
        expected = (expected << 1 | a) & 0xFF
        assert bench.number(stages) == expected
    bench.set(b=0)
    bench.pulse("clk")
    assert bench.number(stages) == expected << 1 & 0xFF
    bench.set(clr_n=0)
    assert bench.number(stages) == 0


def seven_four_nine_three() -> Netlist:
    builder = NetlistBuilder("7493")
    for name in ("clk", "mr1", "mr2", "high"):
        builder.input(name)
    wire(builder, "reset = and mr1 mr2")
    clear = Level(builder.net("reset"), True)
    for clock, stage in zip(["clk", "q0", "q1", "q2"], ["q0", "q1", "q2", "q3"], strict=True):
        builder.flip_flop(stage, "high", clock, kind=FlipFlopKind.TOGGLE, edge=Edge.FALL, clear=clear)
    return builder.build()


# Motorola p. 5-92 (74LS93): reset when MR1 = MR2 = H; with Q0 wired to CP1 it counts 0..15 on falling edges.
def test_7493_counts_to_fifteen_and_round_and_resets() -> None:
    bench = Bench(seven_four_nine_three(), {}, mr1=1, mr2=1, high=1)
    bench.set(mr1=0)
    stages = ["q0", "q1", "q2", "q3"]
    for count in range(1, 36):
        bench.pulse("clk")
        assert bench.number(stages) == count % 16
    bench.set(mr1=1)
    assert bench.number(stages) == 0


# Motorola p. 5-229 and Wakerly: a ripple counter passes through other counts on its way (1 to 2 via 0; 3 to 4 via 2, 0;
# 7 to 8 via 6, 4, 0; 15 to 0 via 14, 12, 8), so a decoder of such a count may show a spike. (Wakerly from memory.)
@pytest.mark.parametrize(("count", "passed"), [(0, []), (1, [0]), (3, [2, 0]), (7, [6, 4, 0]), (15, [14, 12, 8])])
def test_7493_decoders_of_the_counts_it_passes_through_may_glitch(count: int, passed: list[int]) -> None:
    builder = NetlistBuilder("decoded")
    builder.input("clk")
    builder.input("high")
    for clock, stage in zip(["clk", "q0", "q1", "q2"], ["q0", "q1", "q2", "q3"], strict=True):
        builder.flip_flop(stage, "high", clock, kind=FlipFlopKind.TOGGLE, edge=Edge.FALL)
    wire(builder, ";".join(f"n{i} = not q{i}" for i in range(4)))
    for value in range(16):
        wire(builder, f"is{value} = and " + " ".join(f"q{i}" if value >> i & 1 else f"n{i}" for i in range(4)))
    start = {f"q{i}": count >> i & 1 for i in range(4)}
    bench = Bench(builder.build(), start, clk=1, high=1)
    events = bench.set(clk=0)
    assert bench.number(["q0", "q1", "q2", "q3"]) == (count + 1) % 16
    glitching = bench.names_of(events.may_glitch)
    assert {f"is{value}" for value in passed} <= glitching
    assert f"is{count}" not in glitching
    if not passed:
        assert not glitching
