"""Loops: the exact table on textbook circuits, and a three-valued short cut that never misses an outcome."""

import random

import pytest

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.loops import Component, components
from verifier.circuit.netlist import GateKind
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph
from verifier.views.loop_result import Surroundings
from verifier.views.loop_table import LoopTable
from verifier.views.table_logic import literal_of
from verifier.views.three_valued_loop import race_three_valued, stable_at


def the_loop(builder: NetlistBuilder) -> Component:
    (loop,) = [part for part in components(builder.build()) if part.is_loop]
    return loop


def nand_pair() -> Component:
    """Members q (bit 0) and q_n (bit 1); outside s_n (bit 0) and r_n (bit 1)."""
    builder = NetlistBuilder("pair")
    s_n, r_n = builder.input("s_n"), builder.input("r_n")
    builder.gate("q", GateKind.NAND, [s_n, "q_n"])
    builder.gate("q_n", GateKind.NAND, ["q", r_n])
    return the_loop(builder)


def ring_of_inverters(count: int) -> Component:
    builder = NetlistBuilder("ring")
    for place in range(count):
        builder.gate(f"n{place}", GateKind.NOT, [f"n{(place - 1) % count}"])
    return the_loop(builder)


def test_a_nand_pair_released_from_both_inputs_active_races_and_may_oscillate():
    # S. H. Unger, Asynchronous Sequential Switching Circuits, 1969 (from memory): the critical race of the pair; both
    # gates may also go on switching together when their delays are equal.
    outcomes = LoopTable(nand_pair()).race_outcomes()[0b11, 0b11]
    assert outcomes.states == (0b00, 0b01, 0b10, 0b11)
    assert outcomes.oscillates


@pytest.mark.parametrize(("state", "surrounding", "end"), [(0b01, 0b11, 0b01), (0b01, 0b01, 0b10), (0b10, 0b10, 0b01)])
def test_a_nand_pair_used_within_its_rules_has_one_outcome(state, surrounding, end):
    outcomes = LoopTable(nand_pair()).race_outcomes()[state, surrounding]
    assert outcomes.states == (end,)
    assert not outcomes.oscillates


@pytest.mark.parametrize("count", [1, 3, 5])
def test_a_ring_of_an_odd_number_of_inverters_has_no_stable_power_up_state(count):
    power_up = LoopTable(ring_of_inverters(count)).power_up_states()[0]
    assert power_up.oscillates
    assert power_up.states


@pytest.mark.parametrize("count", [2, 4, 6])
def test_a_ring_of_an_even_number_of_inverters_has_two_stable_power_up_states(count):
    power_up = LoopTable(ring_of_inverters(count)).power_up_states()[0]
    assert not power_up.oscillates
    assert len(power_up.states) == 2


def test_a_cycle_that_some_member_must_leave_is_no_outcome():
    # An oscillating inverter beside a latched pair would be a cycle for ever; here `stop` is excited throughout and
    # ends it, so only the stable state is left (Brzozowski and Seger 1995, transient cycles).
    builder = NetlistBuilder("transient")
    builder.gate("stop", GateKind.OR, ["go", "stop", "wave"])
    go = builder.input("go")
    builder.gate("wave", GateKind.NOR, ["wave", "stop"])
    table = LoopTable(the_loop(builder))
    assert [member.output for member in table.members] == sorted(member.output for member in table.members)
    assert table.outside == (go,)
    for state in range(4):
        outcomes = table.race_outcomes()[state, 1]
        assert not outcomes.oscillates
        assert len(outcomes.states) == 1


def random_loop(chance: random.Random) -> Component:
    """Two to four gates, each reading another one of them."""
    kinds = [GateKind.NAND, GateKind.NOR, GateKind.AND, GateKind.OR, GateKind.XOR, GateKind.SELECT, GateKind.NOT]
    while True:
        builder = NetlistBuilder("random")
        outside = [builder.input("a"), builder.input("b")]
        count = chance.randint(2, 4)
        for place in range(count):
            kind = chance.choice(kinds)
            pins = {GateKind.NOT: 1, GateKind.SELECT: 3}.get(kind, 2)
            others = [f"n{other}" for other in range(count)] + [builder.name_of(net) for net in outside]
            following = f"n{(place + 1) % count}"
            builder.gate(f"n{place}", kind, [following, *(chance.choice(others) for _ in range(pins - 1))])
        netlist = builder.build()
        loops = [part for part in components(netlist) if part.is_loop]
        if len(loops) == 1 and len(loops[0].outside_nets) == 2:
            return loops[0]


@pytest.mark.parametrize("seed", range(20))
def test_the_three_valued_short_cut_contains_every_outcome_of_the_exact_table(seed):
    loop = random_loop(random.Random(seed))
    table = LoopTable(loop)
    graph = BitGraph()
    members = {net: graph.variable(str(net)) for net in loop.outputs}
    before = {net: graph.variable(f"before {net}") for net in table.outside}
    after = {net: graph.variable(f"after {net}") for net in table.outside}
    choices = []

    def choose():
        choices.append(graph.variable("choice"))
        return choices[-1]

    restless = {net: graph.variable(f"restless {net}") for net in table.outside}
    around = Surroundings(
        start=members, before=before, outside=after, restless=restless, was_open=[], watched=frozenset(members)
    )
    result = race_three_valued(graph, table, around, choose)
    for (state, surrounding), outcomes in table.race_outcomes(table.outside).items():
        for earlier in range(1 << len(table.outside)):
            values = {members[net]: bool(state >> i & 1) for i, net in enumerate(loop.outputs)}
            nets_around = [*after.values(), *restless.values()]
            values |= {net: bool(surrounding >> i & 1) for i, net in enumerate(nets_around)}
            values |= {before[net]: bool(earlier >> i & 1) for i, net in enumerate(table.outside)}
            reached = set()
            for choice in range(1 << len(choices)):
                chosen = {literal: bool(choice >> i & 1) for i, literal in enumerate(choices)}
                bits = graph.evaluate([result.values[net] for net in loop.outputs], values | chosen)
                reached.add(sum(bit << i for i, bit in enumerate(bits)))
            assert set(outcomes.states) <= reached
            (several,) = graph.evaluate([result.several], values)
            assert several or len(outcomes.states) == 1
            moves = graph.evaluate([result.rises[net] for net in loop.outputs], values)
            may_move = sum(bit << i for i, bit in enumerate(moves))
            assert (outcomes.rises | outcomes.falls) & ~may_move == 0


def test_a_pulse_on_set_may_flip_a_nand_latch_and_one_on_reset_leaves_a_latch_that_is_reset_alone():
    """From memory: a NAND latch remembers a set pulse that is long enough, and may miss one that is not."""
    table = LoopTable(nand_pair())
    (s_n, r_n), is_reset = table.outside, 0b10
    both_high, pulse_on_s_n, pulse_on_r_n = 0b11, 0b01 << 2, 0b10 << 2
    outcomes = table.race_outcomes((s_n, r_n))
    assert set(outcomes[is_reset, both_high].states) == {0b10}
    assert set(outcomes[is_reset, both_high | pulse_on_s_n].states) >= {0b10, 0b01}
    assert set(outcomes[is_reset, both_high | pulse_on_r_n].states) == {0b10}
    assert outcomes[is_reset, both_high | pulse_on_r_n].rises == 0


@pytest.mark.parametrize("seed", range(20))
def test_the_short_cut_for_power_up_finds_exactly_the_stable_states_where_there_are_any(seed):
    table = LoopTable(random_loop(random.Random(1000 + seed)))
    graph = BitGraph()
    outside = {net: graph.variable(str(net)) for net in table.outside}
    choices = []

    def choose():
        choices.append(graph.variable("choice"))
        return choices[-1]

    result = stable_at(graph, table, outside, choose)
    roots = [result.possible, result.unstable, *(result.values[member.output] for member in table.members)]
    for surrounding, exact in table.power_up_states().items():
        around = {outside[net]: bool(surrounding >> i & 1) for i, net in enumerate(table.outside)}
        found = set()
        for choice in range(1 << len(choices)):
            chosen = {literal: bool(choice >> i & 1) for i, literal in enumerate(choices)}
            possible, unstable, *bits = graph.evaluate(roots, around | chosen)
            if possible:
                found.add(sum(bit << i for i, bit in enumerate(bits)))
                assert unstable == exact.oscillates
        assert found == set(exact.states) or (exact.oscillates and found >= set(exact.states))


@pytest.mark.parametrize("seed", range(20))
def test_a_truth_table_becomes_the_same_function(seed):
    chance = random.Random(seed)
    count = chance.randint(0, 6)
    truth = chance.getrandbits(1 << count)
    graph = BitGraph()
    variables = [graph.variable(f"v{i}") for i in range(count)]
    literal = literal_of(graph, truth, variables)
    for row in range(1 << count):
        values = {variable: bool(row >> i & 1) for i, variable in enumerate(variables)}
        assert graph.evaluate([literal], values) == [bool(truth >> row & 1)]


def test_constant_truth_tables_become_the_constants():
    assert literal_of(BitGraph(), 0, []) == FALSE
    assert literal_of(BitGraph(), 1, []) == TRUE
