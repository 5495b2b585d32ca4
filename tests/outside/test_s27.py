"""s27, the smallest sequential circuit of the 1989 set: its logic, its reachable states, and how far they are.

Brglez, Bryan, Kozminski, ISCAS 1989. States are written G5 G6 G7, as a number with G5 its highest bit.
"""

from __future__ import annotations

from itertools import product

import networkx
import pytest

from outside.judging import HERE, design_of, lengths, verdicts
from outside.netlist_data import shipped
from verifier.evidence.simulator import Simulator

PUBLISHED = (HERE / "benchmarks.wiring").read_text()
PINS = ("G0", "G1", "G2", "G3")
STATES = range(8)


def s27(start: int | str, claims: list[str], text: str = PUBLISHED) -> str:
    """The flip-flops see inputs that stand still at the clock, and any inputs at every clock."""
    bits = [f" start {start >> bit & 1}" if isinstance(start, int) else "" for bit in (2, 1, 0)]
    lines = [
        "circuit s27",
        "input clock, G0, G1, G2, G3",
        "output G17",
        "inputs may change together",
        "given still_at_the_clock: clock rises only when G0 steady and G1 steady and G2 steady and G3 steady",
        "G10, G11, G13, G17 = s27_logic(G0, G1, G2, G3, G5, G6, G7)",
        f"G5 = flipflop(G10) on rise of clock{bits[0]}",
        f"G6 = flipflop(G11) on rise of clock{bits[1]}",
        f"G7 = flipflop(G13) on rise of clock{bits[2]}",
        "let state = join(G5, G6, G7)",
        *claims,
    ]
    return without_c17(text) + "\n" + "\n    ".join(lines) + "\n"


def without_c17(text: str) -> str:
    return text[: text.index("# c17")]


COMES = [f"can comes_{state}: state == {state}" for state in STATES]


def shipped_graph() -> networkx.DiGraph:
    """The explicit state graph of the netlist that the package circuitgraph ships."""
    gate_list = shipped("s27")
    graph = networkx.DiGraph()
    for old, inputs in product(STATES, product((0, 1), repeat=4)):
        known = {"G5": old >> 2 & 1, "G6": old >> 1 & 1, "G7": old & 1, **dict(zip(PINS, inputs, strict=True))}
        new = [gate_list.value(gate_list.next_of[name], known) for name in ("G5", "G6", "G7")]
        graph.add_edge(old, new[0] << 2 | new[1] << 1 | new[2])
    return graph


def disagreements(text: str) -> int:
    """At how many of the 128 points next state or output differ from the shipped netlist."""
    gate_list = shipped("s27")
    design = design_of(s27("unknown", ["can high: G17"], text))
    simulator = Simulator(design.netlist)
    net = {name: nets[0] for name, nets in design.netlist.signals.items() if len(nets) == 1}
    found = 0
    for values in product((0, 1), repeat=7):
        known = dict(zip((*PINS, "G5", "G6", "G7"), values, strict=True))
        inputs = {net[pin]: bool(known[pin]) for pin in PINS} | {net["clock"]: False}
        wanted = {net[name]: bool(known[name]) for name in ("G5", "G6", "G7")}
        ((first, _),) = simulator.first_instants(inputs, wanted)
        (outcome,) = simulator.step(first, {net["clock"]: True})
        here = [first[net["G17"]], *(outcome.instant[net[name]] for name in ("G5", "G6", "G7"))]
        there = ["G17", *(gate_list.next_of[name] for name in ("G5", "G6", "G7"))]
        found += here != [bool(gate_list.value(name, known)) for name in there]
    return found


def test_the_shipped_netlist_and_the_wiring_agree_at_all_128_points() -> None:
    assert disagreements(PUBLISHED) == 0


def test_a_wrong_gate_in_the_wiring_is_noticed() -> None:
    assert disagreements(PUBLISHED.replace("G8  = and(G14, G6)", "G8  = or(G14, G6)")) > 0


# Six of eight: the published count from memory; looked up as equations, counted anew.
def test_six_states_are_shown_from_zero_and_two_are_impossible() -> None:
    found = verdicts(s27(0, COMES))
    assert {state for state in STATES if found[f"comes_{state}"] == "shown"} == {0, 1, 2, 3, 4, 5}
    assert {state for state in STATES if found[f"comes_{state}"] == "impossible"} == {6, 7}
    assert set(networkx.descendants(shipped_graph(), 0)) | {0} == {0, 1, 2, 3, 4, 5}


NEVER_BOTH = ["must never_both: never (G5 and G6)"]


# Own computation: G5 and G6 are never both high, because G10 and G11 never are.
def test_g5_and_g6_are_never_both_high() -> None:
    assert verdicts(s27(0, NEVER_BOTH))["never_both"] == "proved"
    assert lengths(s27("unknown", NEVER_BOTH))["never_both"] == 1
    settled = ["must never_both: (once clock rises) only when not (G5 and G6)"]
    assert verdicts(s27("unknown", settled))["never_both"] == "proved"


# Own computation: from 110 or 111 seven states are reached.
@pytest.mark.parametrize("start", [6, 7])
def test_from_an_unused_state_that_state_and_the_six_are_reached(start: int) -> None:
    found = verdicts(s27(start, COMES))
    assert {state for state in STATES if found[f"comes_{state}"] == "shown"} == {0, 1, 2, 3, 4, 5, start}


# Own computation: breadth-first depth 2 from 000, diameter 3 inside the six.
def test_shortest_runs_are_as_long_as_the_distances_in_the_explicit_graph() -> None:
    graph = shipped_graph()
    longest = {}
    for start in range(6):
        distances = networkx.single_source_shortest_path_length(graph, start)
        found = lengths(s27(start, COMES))
        # The first instant, then a rise at every other instant, with the inputs set while the clock is low.
        expected = {f"comes_{state}": max(1, 2 * distance) for state, distance in distances.items()}
        assert {name: length for name, length in found.items() if length is not None} == expected
        longest[start] = max(distances.values())
    assert longest[0] == 2
    assert max(longest.values()) == 3


def test_a_wrong_gate_changes_what_is_reached() -> None:
    wrong = PUBLISHED.replace("G10 = nor(G14, G11)", "G10 = not G14")
    found = verdicts(s27(0, NEVER_BOTH, wrong))
    assert found["never_both"] == "broken"
