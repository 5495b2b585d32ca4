"""Where firings lead in the any-delay view, compared with a graph library on the same definition."""

from __future__ import annotations

from random import Random

import networkx as nx
import pytest
from oracle.targets import gate_function

from evidence.delay_bench import circuit, every_start, random_simulator, read, start, wire
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import Driver, Gate, Latch, SetReset
from verifier.claims.run import Instant
from verifier.evidence.budget import Budget, SimulationLimit
from verifier.evidence.delay_simulator import DelaySimulator
from verifier.evidence.quiet import ends_after_input_changes, quiet_ends


def is_obliged(element: Driver, values: Instant) -> bool:
    """It is excited, and more than a set-reset latch that is pulled both ways."""
    own = values[element.output]
    if isinstance(element, Gate):
        return own != gate_function(element.kind, tuple(values[pin] for pin in element.inputs))
    if isinstance(element, Latch):
        return values[element.enable.net] == element.enable.active_high and own != values[element.data]
    assert isinstance(element, SetReset)
    set_pin, reset_pin = values[element.set], values[element.reset]
    return set_pin != reset_pin and own != set_pin


def expected_ends(simulator: DelaySimulator, first: Instant) -> tuple[set[Instant], bool]:
    """Quiet instants and whether it may go on, without the simulator's firings: no flip-flops here."""
    elements = list(simulator.netlist.drivers.values())
    graph: nx.DiGraph[Instant] = nx.DiGraph()
    graph.add_node(first)
    pending = [first]
    while pending:
        values = pending.pop()
        moving = [e.output for e in elements if is_obliged(e, values) or is_pulled_both_ways(e, values)]
        for code in range(1, 1 << len(moving)):
            turned = {net for bit, net in enumerate(moving) if code >> bit & 1}
            following = tuple(value != (net in turned) for net, value in enumerate(values))
            if following not in graph:
                pending.append(following)
            graph.add_edge(values, following)
    quiet = {values for values in graph if not any(is_obliged(element, values) for element in elements)}
    return quiet, any(goes_on(graph, component, elements) for component in nx.strongly_connected_components(graph))


def is_pulled_both_ways(element: Driver, values: Instant) -> bool:
    return isinstance(element, SetReset) and values[element.set] and values[element.reset]


def goes_on(graph: nx.DiGraph[Instant], component: set[Instant], elements: list[Driver]) -> bool:
    if graph.subgraph(component).number_of_edges() == 0:
        return False
    return not any(
        all(is_obliged(element, values) for values in component)
        and len({values[element.output] for values in component}) == 1
        for element in elements
    )


def test_firings_lead_where_a_graph_library_says() -> None:
    endless = several = settled = 0
    for seed in range(150):
        simulator = random_simulator(Random(seed), timed=False)
        for first in every_start(simulator):
            for _, reached in simulator.input_changes(first):
                ends = quiet_ends(simulator, reached)
                assert len(reached) == 1
                assert (ends.quiet, ends.goes_on) == expected_ends(simulator, reached[0].values), f"seed {seed}"
                endless += ends.goes_on
                several += len(ends.quiet) > 1
                settled += ends.settles
    assert min(endless, several, settled) > 20


def test_a_ring_that_is_let_go_turns_for_ever() -> None:
    netlist = circuit("rope", "gate = not rope; ring = nand gate ring")
    simulator = DelaySimulator(netlist, False)
    stopped = start(simulator, rope=1, gate=0, ring=1)
    ends = [ends for _, ends in ends_after_input_changes(simulator, stopped)]
    assert len(ends) == 1
    assert ends[0].goes_on
    assert not ends[0].quiet


def test_a_ring_that_is_being_stopped_stops() -> None:
    # `gate` is passed over for as long as the ring turns, so it falls some time, and then the ring stops.
    builder = NetlistBuilder("ring")
    wire(builder, "gate = and gate low; low = low; ring = nand gate ring", "gate=1 ring=1")
    netlist = builder.build()
    simulator = DelaySimulator(netlist, False)
    first = start(simulator)
    ends = quiet_ends(simulator, [first])
    assert not simulator.is_quiet(first)
    assert not ends.goes_on
    assert {read(netlist, instant, "gate ring") for instant in ends.quiet} == {"01"}


def test_a_set_reset_latch_pulled_both_ways_goes_on_and_is_quiet_either_way() -> None:
    builder = NetlistBuilder("both", inputs_may_change_together=True)
    builder.input("s")
    builder.input("r")
    builder.set_reset("q", "s", "r")
    simulator = DelaySimulator(builder.build(), False)
    moves = {move.nets: ends for move, ends in ends_after_input_changes(simulator, start(simulator, q=0))}
    assert len(moves[frozenset({0, 1})].quiet) == 2
    assert moves[frozenset({0, 1})].goes_on
    assert moves[frozenset({0})].settles


def test_a_flip_flop_whose_data_moves_with_its_clock_has_two_quiet_ends() -> None:
    builder = NetlistBuilder("register", inputs_may_change_together=True)
    builder.input("d")
    builder.input("clk")
    builder.flip_flop("q", "d", "clk", start=False)
    simulator = DelaySimulator(builder.build(), False)
    moves = {move.nets: ends for move, ends in ends_after_input_changes(simulator, start(simulator))}
    assert moves[frozenset({0, 1})].quiet == {(True, True, False), (True, True, True)}
    assert all(ends.settles for nets, ends in moves.items() if len(nets) == 1)


def test_the_search_gives_up_loudly_and_is_not_for_the_timed_view() -> None:
    gates = "; ".join(f"n{i} = not rope 1 2" for i in range(8))
    netlist = circuit("rope", gates)
    simulator = DelaySimulator(netlist, False)
    _, reached = next(simulator.input_changes(start(simulator)))
    with pytest.raises(SimulationLimit):
        quiet_ends(simulator, reached, Budget(100))
    assert quiet_ends(simulator, reached).settles
    with pytest.raises(ValueError, match="any-delay"):
        quiet_ends(DelaySimulator(netlist, True), [])
