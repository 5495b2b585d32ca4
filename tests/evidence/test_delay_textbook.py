"""Circuits whose behaviour in time textbooks describe."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from evidence.delay_bench import circuit, every_start, numbers, reachable, read, run_of, start, takes, wire
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind, InputClass, Netlist, Range
from verifier.claims.run import Run
from verifier.claims.timed_meaning import repeated_changes
from verifier.errors import InternalDisagreement
from verifier.evidence.delay_simulator import DelaySimulator, DelayState, MoveKind
from verifier.evidence.quiet import ends_after_input_changes, quiet_ends


def periods(simulator: DelaySimulator, first: DelayState, net: int) -> set[int]:
    """The times between one rise of the net and the next, over all runs."""
    found: set[int] = set()
    pending: list[tuple[DelayState, int | None]] = [(first, None)]
    met = set(pending)
    while pending:
        state, since = pending.pop()
        for move, following in simulator.successors(state):
            later = None if since is None else since + (move.kind is MoveKind.TICK)
            if not state.values[net] and following.values[net]:
                if later is not None:
                    found.add(later)
                later = 0
            if (following, later) not in met:
                met.add((following, later))
                pending.append((following, later))
    return found


@pytest.mark.parametrize(("low", "high"), [(2, 2), (1, 3)])
def test_a_ring_oscillator_has_twice_its_summed_delay_as_its_period(low: int, high: int) -> None:
    # Weste and Harris, "CMOS VLSI Design": a ring of N inverters has the period 2 N t (from memory).
    gates = "; ".join(f"n{i} = not n{(i - 1) % 3} {low} {high}" for i in range(3))
    simulator = DelaySimulator(circuit("", gates, "n0=0 n1=1 n2=0"), True)
    found = periods(simulator, start(simulator), numbers(simulator.netlist)["n0"])
    assert found == set(range(2 * 3 * low, 2 * 3 * high + 1))


def test_rising_and_falling_delays_both_count_in_a_ring() -> None:
    builder = NetlistBuilder("ring")
    for i in range(3):
        delay = takes((1, 1), (4, 4))
        builder.gate(f"n{i}", GateKind.NOT, [f"n{(i - 1) % 3}"], start=bool(i % 2), takes=delay)
    simulator = DelaySimulator(builder.build(), True)
    assert periods(simulator, start(simulator), numbers(simulator.netlist)["n0"]) == {3 * (1 + 4)}


@pytest.mark.parametrize(
    ("width", "passes", "is_absorbed"), [(2, False, True), (3, True, True), (5, True, True), (6, True, False)]
)
def test_an_inertial_delay_absorbs_what_is_shorter_and_passes_what_is_longer(
    width: int, passes: bool, is_absorbed: bool
) -> None:
    # Inertial delays: Unger, "Asynchronous Sequential Switching Circuits", 1969 (from memory). With a delay of 3 to
    # 5 ns, a pulse from 3 to 5 ns long may go either way, as both bounds are closed.
    netlist = circuit("rope", "bell = buffer rope 3 5")
    simulator = DelaySimulator(netlist, True)
    idle = {"rope": 0, "bell": 0}
    absorbed = run_of(netlist, idle, (0, "rope"), (width, "rope"), until=40)
    assert is_followed(simulator, absorbed) is is_absorbed
    at_the_end = run_of(netlist, idle, (0, "rope"), (min(width, 5), "bell"), (width, "rope"), until=width + 3)
    assert is_followed(simulator, at_the_end) is passes


def test_an_absorbed_excitation_leaves_nothing_behind() -> None:
    netlist = circuit("rope", "bell = buffer rope 3 5")
    idle = {"rope": 0, "bell": 0}
    early = run_of(netlist, idle, (0, "rope"), (2, "rope"), (2, "rope"), (4, "bell"))
    anew = run_of(netlist, idle, (0, "rope"), (2, "rope"), (2, "rope"), (5, "bell"))
    assert not is_followed(DelaySimulator(netlist, True), early)
    assert is_followed(DelaySimulator(netlist, True), anew)


def is_followed(simulator: DelaySimulator, run: Run) -> bool:
    try:
        simulator.follow(run)
    except InternalDisagreement:
        return False
    return True


MULTIPLEXER = "low = not s 1 2; upper = and a s 1 2; lower = and b low 1 2"


@pytest.mark.parametrize("timed", [False, True])
def test_a_consensus_term_cures_the_hazard_of_a_multiplexer(timed: bool) -> None:
    # Wakerly, "Digital Design: Principles and Practices", static hazards (from memory): a s + b s' has a static-1
    # hazard when s moves while a = b = 1, and a s + b s' + a b has none.
    plain = circuit("a b s", f"{MULTIPLEXER}; beat = or upper lower 1 2")
    cured = circuit("a b s", f"{MULTIPLEXER}; both = and a b 1 2; beat = or upper lower both 1 2")
    assert dips(plain, timed)
    assert not dips(cured, timed)


def dips(netlist: Netlist, timed: bool) -> bool:
    """`beat` goes low after the selector has fallen once, with both other inputs high."""
    simulator = DelaySimulator(netlist, timed)
    net = numbers(netlist)
    first = start(simulator, a=1, b=1, s=1)
    lowered = [state for move, state in simulator.successors(first) if move.nets == {net["s"]}]
    return any(not state.values[net["beat"]] for state in without_input_changes(simulator, lowered))


def without_input_changes(simulator: DelaySimulator, states: Iterable[DelayState]) -> set[DelayState]:
    found = set(states)
    pending = list(found)
    while pending:
        for move, following in simulator.successors(pending.pop()):
            if move.kind is not MoveKind.INPUT_CHANGE and following not in found:
                found.add(following)
                pending.append(following)
    return found


def test_a_c_element_of_gates_settles_in_an_environment_that_waits() -> None:
    # Muller and Bartky, "A theory of asynchronous circuits", 1959: c = a b + a c + b c keeps c until both inputs agree
    # against it (from memory).
    gates = "ab = and a b; ac = and a c; bc = and b c; c = or ab ac bc"
    netlist = circuit("a b", gates)
    simulator = DelaySimulator(netlist, False)
    quiet = [state for state in reachable(simulator, every_start(simulator)) if simulator.is_quiet(state)]
    assert len(quiet) == 6
    for state in quiet:
        for _, ends in ends_after_input_changes(simulator, state):
            assert ends.settles
            after = read(netlist, next(iter(ends.quiet)), "a b c")
            expected = after[0] if after[0] == after[1] else read(netlist, state.values, "c")
            assert after[2] == expected


def test_a_nand_latch_let_go_on_both_sides_swings_or_ends_either_way() -> None:
    # Any textbook on the cross-coupled pair, such as Mano, "Digital Design" (from memory): s_n = r_n = 0 drives both
    # outputs high, and what they do when both inputs rise together is not determined.
    builder = NetlistBuilder("pair", inputs_may_change_together=True)
    builder.input("s_n")
    builder.input("r_n")
    wire(builder, "q = nand s_n qn 2 2; qn = nand r_n q 2 2")
    netlist = builder.build()
    untimed = DelaySimulator(netlist, False)
    driven = start(untimed, q=1, qn=1)
    released = [states for move, states in untimed.input_changes(driven) if len(move.nets) == 2]
    assert len(released) == 1
    ends = quiet_ends(untimed, released[0])
    assert ends.goes_on
    assert {read(netlist, instant, "q qn") for instant in ends.quiet} == {"01", "10"}
    # With equal delays, neither has to be first.
    swings = [(7 + 2 * turn, "q qn") for turn in range(20)]
    idle = {"s_n": 0, "r_n": 0, "q": 1, "qn": 1}
    timed = DelaySimulator(netlist, True)
    timed.follow(run_of(netlist, idle, (5, "s_n r_n"), *swings))
    timed.follow(run_of(netlist, idle, (5, "s_n r_n"), (7, "q"), until=90))


def test_a_nand_latch_that_is_set_and_let_go_settles_and_glitches_nowhere() -> None:
    netlist = circuit("s_n r_n", "q = nand s_n qn; qn = nand r_n q")
    simulator = DelaySimulator(netlist, False)
    state = start(simulator, s_n=1, r_n=1, q=0, qn=1)
    moves = {min(move.nets): ends for move, ends in ends_after_input_changes(simulator, state)}
    assert moves[0].settles
    assert {read(netlist, instant, "q qn") for instant in moves[0].quiet} == {"10"}
    run = run_of(netlist, {"s_n": 1, "r_n": 1, "q": 0, "qn": 1}, (0, "s_n"), (0, "q"), (0, "qn"), (0, "s_n"))
    simulator.follow(run)
    assert not any(repeated_changes(run, frozenset(netlist.input_nets)))


def test_the_delays_of_a_path_add_up() -> None:
    # Common practice: the delay of a path lies between the sums of the least and of the greatest delays along it.
    netlist = circuit("rope", "a = not rope 2 3; b = not a 1 4; bell = not b 3 5")
    simulator = DelaySimulator(netlist, True)
    bell = numbers(netlist)["bell"]
    first = start(simulator)
    pulled = [state for move, state in simulator.successors(first) if 0 in move.nets]
    found: set[int] = set()
    pending = [(state, 0) for state in pulled]
    met = set(pending)
    while pending:
        state, time = pending.pop()
        for move, following in simulator.successors(state):
            step = (following, time + (move.kind is MoveKind.TICK))
            if following.values[bell] != state.values[bell]:
                found.add(time)
            elif move.kind is not MoveKind.INPUT_CHANGE and step not in met:
                if simulator.is_quiet(following):
                    continue
                met.add(step)
                pending.append(step)
    assert found == set(range(2 + 1 + 3, 3 + 4 + 5 + 1))


def test_a_free_running_input_keeps_its_times_from_the_second_change_on() -> None:
    builder = NetlistBuilder("tempo")
    builder.input("tempo", InputClass.FREE_RUNNING, high=Range(4, 6), low=Range(2, 3))
    netlist = builder.build()
    simulator = DelaySimulator(netlist, True)
    rises_from_low = {"tempo": 0}
    # It has been low for an unknown time, so it may rise at once, and must by 3 ns.
    assert is_followed(simulator, run_of(netlist, rises_from_low, (0, "tempo"), (4, "tempo")))
    assert is_followed(simulator, run_of(netlist, rises_from_low, (3, "tempo"), (9, "tempo"), (11, "tempo")))
    assert not is_followed(simulator, run_of(netlist, rises_from_low, (4, "tempo")))
    assert not is_followed(simulator, run_of(netlist, rises_from_low, (0, "tempo"), (3, "tempo")))
    assert not is_followed(simulator, run_of(netlist, rises_from_low, (0, "tempo"), (7, "tempo")))
    assert not is_followed(simulator, run_of(netlist, rises_from_low, (0, "tempo"), (4, "tempo"), (5, "tempo")))


def test_a_netlist_without_delays_or_times_is_refused_in_the_timed_view_alone() -> None:
    netlist = circuit("rope", "bell = not rope")
    with pytest.raises(ValueError, match="bell has no delay"):
        DelaySimulator(netlist, True)
    assert every_start(DelaySimulator(netlist, False))
    builder = NetlistBuilder("tempo")
    builder.input("tempo", InputClass.FREE_RUNNING)
    with pytest.raises(ValueError, match="tempo has no times"):
        DelaySimulator(builder.build(), True)
