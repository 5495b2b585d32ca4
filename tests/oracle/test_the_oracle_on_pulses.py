"""Pulses inside a round (grammar/README.md, 12.7) in circuits that were worked out by hand.

No source is known for the numbers: each is the page's rules, followed with pencil and paper.
"""

from __future__ import annotations

import pytest

from oracle.hand_worked import nand_pair, ripple_counter
from oracle.search import Behaviour
from oracle.settled_steps import Inputs, StepOutcome
from oracle.wiring import Wiring
from verifier.circuit.netlist import Edge, FlipFlopKind, GateKind, Netlist
from verifier.claims.run import Instant

D, TOGGLE = FlipFlopKind.D, FlipFlopKind.TOGGLE


def one_shot() -> Wiring:
    """`press` sets `shot`, which clears itself in the round it comes up in: round 2 of the step."""
    wiring = Wiring("one_shot").input("press").gate("high", GateKind.HIGH).gate("low", GateKind.LOW)
    return wiring.flip_flop("shot", D, "high", clock="press", clear=("shot", True), start=False)


def the_step(netlist: Netlist, state: dict[str, int], changed: str) -> tuple[Behaviour, Instant, Inputs]:
    """From the only reachable instant with these values, with one input changed."""
    behaviour = Behaviour(netlist)
    wanted = {netlist.signals[name][0]: bool(value) for name, value in state.items()}
    (instant,) = (i for i in behaviour.reachable() if all(i[net] == value for net, value in wanted.items()))
    changing = netlist.signals[changed][0]
    return behaviour, instant, tuple(instant[pin] != (pin == changing) for pin in netlist.input_nets)


def outcomes(netlist: Netlist, state: dict[str, int], changed: str) -> set[StepOutcome]:
    behaviour, instant, inputs = the_step(netlist, state, changed)
    return set(behaviour.steps.step(instant, inputs))


def ends(netlist: Netlist, found: set[StepOutcome], *names: str) -> set[str]:
    return {"".join(str(int(one.instant[netlist.signals[name][0]])) for name in names) for one in found}


def names_of(netlist: Netlist, nets: frozenset[int]) -> set[str]:
    return {netlist.nets[net].name for net in nets}


def restless(netlist: Netlist, found: set[StepOutcome]) -> set[str]:
    """Names of the nets that are restless in some round of each outcome, when that is the same for all."""
    (nets,) = {one.restless for one in found}
    return names_of(netlist, nets)


def glitching(netlist: Netlist, state: dict[str, int], changed: str, *names: str) -> dict[str, set[str]]:
    """For each end of the step, told by the values of these nets, what may glitch on the way to it."""
    behaviour, instant, inputs = the_step(netlist, state, changed)
    found: dict[str, set[str]] = {}
    for one in behaviour.step(instant, inputs):
        end = "".join(str(int(one.instant[netlist.signals[name][0]])) for name in names)
        assert end not in found
        found[end] = names_of(netlist, one.events.may_glitch)
    return found


def flags(found: set[StepOutcome]) -> set[tuple[bool, bool, bool]]:
    """(raced, oscillated, a pulse was felt)."""
    return {(one.raced, one.oscillated, one.felt) for one in found}


RACE_OF_A_FELT_PULSE = {(True, False, True)}
QUIET = {(False, False, False)}


# What makes a pulse


def test_a_flip_flop_that_clears_itself_is_restless_and_what_hangs_on_it_may_count_or_not() -> None:
    netlist = one_shot().flip_flop("struck", D, "high", clock="shot", start=False).netlist()
    found = outcomes(netlist, {"press": 0, "struck": 0}, "press")
    assert ends(netlist, found, "shot", "struck") == {"00", "01"}
    assert flags(found) == RACE_OF_A_FELT_PULSE
    assert restless(netlist, found) == {"shot"}
    # At the end 00 `struck` too ends where it began, with a clock that may glitch.
    assert glitching(netlist, {"press": 0, "struck": 0}, "press", "struck") == {"0": {"shot", "struck"}, "1": {"shot"}}


def test_an_edge_that_would_take_nothing_new_is_not_felt() -> None:
    netlist = one_shot().flip_flop("struck", D, "low", clock="shot", start=False).netlist()
    found = outcomes(netlist, {"press": 0}, "press")
    assert ends(netlist, found, "shot", "struck") == {"00"}
    assert flags(found) == QUIET
    assert restless(netlist, found) == {"shot"}


def test_a_pulse_on_a_clock_counts_on_either_edge_and_at_most_once() -> None:
    wiring = one_shot().flip_flop("up", TOGGLE, "high", clock="shot", start=False)
    netlist = wiring.flip_flop("down", TOGGLE, "high", clock="shot", edge=Edge.FALL, start=False).netlist()
    found = outcomes(netlist, {"press": 0, "up": 0, "down": 0}, "press")
    assert ends(netlist, found, "up", "down") == {"00", "01", "10", "11"}
    assert flags(found) == RACE_OF_A_FELT_PULSE


def test_what_another_flip_flop_takes_away_again_is_restless_without_any_loop() -> None:
    wiring = Wiring("taken_away").input("clk").gate("high", GateKind.HIGH)
    wiring.flip_flop("a", D, "high", clock="clk", start=False)
    wiring.flip_flop("q", D, "high", clock="clk", clear=("a", True), start=False)
    netlist = wiring.flip_flop("z", TOGGLE, "high", clock="q", start=False).netlist()
    found = outcomes(netlist, {"clk": 0, "a": 0, "q": 0, "z": 0}, "clk")
    assert ends(netlist, found, "a", "q", "z") == {"100", "101"}
    assert flags(found) == RACE_OF_A_FELT_PULSE
    assert restless(netlist, found) == {"q"}
    assert glitching(netlist, {"clk": 0, "a": 0, "z": 0}, "clk", "z") == {"0": {"q", "z"}, "1": {"q"}}
    # From then on `a` keeps the clear active: no edge samples, nothing moves.
    for end in ("0", "1"):
        quiet = outcomes(netlist, {"clk": 0, "a": 1, "z": int(end)}, "clk")
        assert (ends(netlist, quiet, "a", "q", "z"), flags(quiet), restless(netlist, quiet)) == (
            {f"10{end}"},
            QUIET,
            set(),
        )


# Gates


@pytest.mark.parametrize(
    ("kind", "pins", "expected"),
    [
        (GateKind.NOT, ("shot",), True),
        (GateKind.AND, ("shot", "high"), True),
        (GateKind.AND, ("shot", "low"), False),
        (GateKind.OR, ("shot", "high"), False),
        # `late` rises in round 2, the round of the pulse: while it is still low the pulse gets through the NOR.
        (GateKind.NOR, ("shot", "late"), True),
        (GateKind.AND, ("shot", "late"), True),
        # `press` rises in round 1, and stands at 1 on both sides of round 2.
        (GateKind.OR, ("shot", "press"), False),
        (GateKind.SELECT, ("low", "shot", "high"), False),
        (GateKind.SELECT, ("shot", "late", "late"), True),
        (GateKind.SELECT, ("shot", "high", "high"), False),
        # A net on two pins: each of them may see the pulse at its own time.
        (GateKind.XOR, ("shot", "shot"), True),
        (GateKind.MAJORITY, ("shot", "high", "high"), False),
        (GateKind.MAJORITY, ("shot", "high", "low"), True),
    ],
)
def test_a_gate_passes_a_pulse_when_its_other_pins_let_it(
    kind: GateKind, pins: tuple[str, ...], expected: bool
) -> None:
    wiring = one_shot().flip_flop("late", D, "high", clock="press", start=False)
    netlist = wiring.gate("passed", kind, *pins).netlist()
    found = outcomes(netlist, {"press": 0, "late": 0}, "press")
    assert flags(found) == QUIET
    assert restless(netlist, found) == ({"shot", "passed"} if expected else {"shot"})


# Loops that a pulse enters


def latch_of_nands() -> Netlist:
    wiring = one_shot().input("reset_n").gate("set_n", GateKind.NOT, "shot")
    wiring.gate("ring", GateKind.NAND, "set_n", "ring_n").gate("ring_n", GateKind.NAND, "reset_n", "ring")
    return wiring.netlist()


def test_a_nand_latch_may_be_set_by_a_pulse_or_not_or_hang_between() -> None:
    # Low for a moment, `set_n` raises `ring`; let go before `ring_n` is down, both gates are excited at 11.
    netlist = latch_of_nands()
    found = outcomes(netlist, {"press": 0, "reset_n": 1, "ring": 0, "ring_n": 1}, "press")
    seen = {(*ends(netlist, {one}, "ring", "ring_n"), one.raced, one.oscillated) for one in found}
    assert seen == {("01", True, False), ("10", True, False), ("00", True, True), ("11", True, True)}
    assert restless(netlist, found) == {"shot", "set_n", "ring", "ring_n"}
    assert not any(one.felt for one in found)


def test_a_nand_latch_that_is_set_already_does_not_mind_a_pulse_on_its_set_pin() -> None:
    netlist = latch_of_nands()
    found = outcomes(netlist, {"press": 0, "reset_n": 1, "ring": 1, "ring_n": 0}, "press")
    assert ends(netlist, found, "ring", "ring_n") == {"10"}
    assert flags(found) == QUIET
    assert restless(netlist, found) == {"shot", "set_n"}


def test_a_nand_latch_that_is_held_at_its_other_pin_passes_the_pulse_and_falls_back() -> None:
    # With `reset_n` low `ring_n` stays up, so `ring` follows the pulse: a gate of a loop that goes up and comes down.
    netlist = latch_of_nands()
    found = outcomes(netlist, {"press": 0, "reset_n": 0, "ring": 0, "ring_n": 1}, "press")
    assert ends(netlist, found, "ring", "ring_n") == {"01"}
    assert flags(found) == QUIET
    assert restless(netlist, found) == {"shot", "set_n", "ring"}


# Storage that a pulse reaches


@pytest.mark.parametrize(("lever", "expected", "told"), [(0, {"0"}, QUIET), (1, {"0", "1"}, RACE_OF_A_FELT_PULSE)])
def test_a_latch_with_a_pulse_on_its_enable_may_take_its_data(
    lever: int, expected: set[str], told: set[tuple[bool, bool, bool]]
) -> None:
    netlist = one_shot().input("lever").latch("bell", "lever", enable=("shot", True), start=False).netlist()
    found = outcomes(netlist, {"press": 0, "lever": lever, "bell": 0}, "press")
    assert ends(netlist, found, "bell") == expected
    assert flags(found) == told
    assert restless(netlist, found) == {"shot"}


def test_a_latch_with_a_pulse_on_its_enable_may_take_either_side_of_data_that_moves() -> None:
    # `late` rises in the round of the pulse: `bell`, which is high, may catch what it was, `chime` what it becomes.
    wiring = one_shot().flip_flop("late", D, "high", clock="press", start=False)
    wiring.latch("bell", "late", enable=("shot", True), start=True)
    netlist = wiring.latch("chime", "late", enable=("shot", True), start=False).netlist()
    found = outcomes(netlist, {"press": 0, "late": 0, "bell": 1, "chime": 0}, "press")
    assert ends(netlist, found, "bell", "chime") == {"00", "01", "10", "11"}
    assert flags(found) == RACE_OF_A_FELT_PULSE


def test_a_latch_with_pulses_on_its_enable_and_its_data_may_take_either_value() -> None:
    netlist = one_shot().latch("bell", "shot", enable=("shot", True), start=False).netlist()
    found = outcomes(netlist, {"press": 0, "bell": 0}, "press")
    assert ends(netlist, found, "bell") == {"0", "1"}
    assert flags(found) == RACE_OF_A_FELT_PULSE


def test_a_latch_whose_enable_ends_active_after_a_pulse_feels_nothing() -> None:
    wiring = one_shot().flip_flop("late", D, "high", clock="press", start=False).gate("open", GateKind.NOT, "shot")
    netlist = wiring.latch("bell", "late", enable=("open", True)).netlist()
    found = outcomes(netlist, {"press": 0, "late": 0}, "press")
    assert ends(netlist, found, "bell") == {"1"}
    assert flags(found) == QUIET
    assert restless(netlist, found) == {"shot", "open"}


def test_an_open_latch_passes_a_pulse_on_and_one_that_closes_on_it_may_keep_it() -> None:
    # `late` rises in the round of the pulse and shuts `bell`; nothing ever shuts `chime`.
    wiring = one_shot().flip_flop("late", D, "high", clock="press", start=False)
    wiring.latch("bell", "shot", enable=("late", False))
    netlist = wiring.latch("chime", "shot", enable=("high", True)).netlist()
    found = outcomes(netlist, {"press": 0, "late": 0}, "press")
    assert ends(netlist, found, "bell", "chime") == {"00", "10"}
    assert flags(found) == QUIET
    assert restless(netlist, found) == {"shot", "bell", "chime"}


@pytest.mark.parametrize(
    ("ring", "mute", "expected", "told", "moving"),
    [
        (0, 0, {"0", "1"}, RACE_OF_A_FELT_PULSE, [{"shot"}, {"shot"}]),
        (1, 0, {"1"}, QUIET, [{"shot"}]),
        # Reset all the time: the pulse sets it, if at all, for a moment; that is a pulse of its own.
        (0, 1, {"0"}, RACE_OF_A_FELT_PULSE, [{"shot"}, {"ring", "shot"}]),
    ],
)
def test_a_set_reset_latch_with_a_pulse_on_its_set_pin_may_be_set(
    ring: int, mute: int, expected: set[str], told: set[tuple[bool, bool, bool]], moving: list[set[str]]
) -> None:
    netlist = one_shot().input("mute").set_reset("ring", set="shot", reset="mute", start=bool(ring)).netlist()
    found = outcomes(netlist, {"press": 0, "mute": mute, "ring": ring}, "press")
    assert ends(netlist, found, "ring") == expected
    assert flags(found) == told
    assert sorted(sorted(names_of(netlist, one.restless)) for one in found) == sorted(map(sorted, moving))


def test_a_set_reset_latch_with_a_pulse_on_its_reset_pin_may_be_reset() -> None:
    netlist = one_shot().set_reset("ring", set="low", reset="shot", start=True).netlist()
    found = outcomes(netlist, {"press": 0, "ring": 1}, "press")
    assert ends(netlist, found, "ring") == {"0", "1"}
    assert flags(found) == RACE_OF_A_FELT_PULSE


@pytest.mark.parametrize("pin", ["clear", "preset"])
@pytest.mark.parametrize("own", [0, 1])
def test_a_clear_or_preset_outside_loops_that_a_pulse_reaches_may_act(pin: str, own: int) -> None:
    levels = {pin: ("shot", True)}
    wiring = one_shot()
    netlist = wiring.flip_flop("bell", D, "low", clock="low", start=bool(own), **levels).netlist()  # type: ignore[arg-type]
    found = outcomes(netlist, {"press": 0, "bell": own}, "press")
    acts = own == (pin == "clear")
    assert ends(netlist, found, "bell") == ({"0", "1"} if acts else {str(own)})
    assert flags(found) == (RACE_OF_A_FELT_PULSE if acts else QUIET)
    assert restless(netlist, found) == {"shot"}


def test_a_clear_that_a_pulse_may_reach_counts_as_let_go_with_the_edge() -> None:
    # `late` rises in the round of the pulse. `bell` samples 1 by it unless its clear is on just then.
    wiring = one_shot().flip_flop("late", D, "high", clock="press", start=False)
    netlist = wiring.flip_flop("bell", D, "high", clock="late", clear=("shot", True), start=False).netlist()
    found = outcomes(netlist, {"press": 0, "bell": 0, "late": 0}, "press")
    # It may miss the edge (no pulse is felt then), or take it and keep or lose the 1 (one is felt).
    assert {(*ends(netlist, {one}, "bell"), one.raced, one.felt) for one in found} == {
        ("0", False, False),
        ("0", True, True),
        ("1", True, True),
    }


def test_a_clear_that_a_pulse_may_have_reached_in_an_earlier_round_counts_as_let_go_with_the_edge() -> None:
    wiring = one_shot().flip_flop("late", D, "high", clock="press", start=False)
    wiring.flip_flop("later", D, "high", clock="late", start=False)
    netlist = wiring.flip_flop("bell", D, "high", clock="later", clear=("shot", True), start=False).netlist()
    found = outcomes(netlist, {"press": 0, "bell": 0, "late": 0}, "press")
    assert ends(netlist, found, "bell") == {"0", "1"}
    assert flags(found) == QUIET


def test_what_a_pulse_does_in_the_loop_that_makes_it_is_for_the_race_alone() -> None:
    # At three both bits are cleared; in some outcomes one bit stays up while `clear_n` has been low for a moment.
    wiring = Wiring("modulo_three").input("tempo").gate("high", GateKind.HIGH)
    wiring.gate("clear_n", GateKind.NAND, "low_bit", "high_bit")
    for name, data in (("low_bit", "high"), ("high_bit", "low_bit")):
        wiring.flip_flop(name, TOGGLE, data, clock="tempo", clear=("clear_n", False), start=False)
    netlist = wiring.netlist()
    found = outcomes(netlist, {"tempo": 0, "high_bit": 1, "low_bit": 0}, "tempo")
    assert flags(found) == {(True, False, False)}
    # `clear_n` falls and comes back in every outcome. `low_bit` goes 0, 1, 0, or stays at 1, from which some move takes
    # it, if not on the way to this outcome; the same goes for `high_bit`, which was 1, where it stays.
    seen = {(*ends(netlist, {one}, "high_bit", "low_bit"), *sorted(names_of(netlist, one.restless))) for one in found}
    assert seen == {
        ("00", "clear_n", "low_bit"),
        ("01", "clear_n", "low_bit"),
        ("10", "clear_n", "high_bit", "low_bit"),
    }


def test_a_flip_flop_that_is_cleared_does_not_hear_a_pulse_on_its_clock() -> None:
    netlist = one_shot().flip_flop("bell", D, "high", clock="shot", clear=("high", True), start=False).netlist()
    found = outcomes(netlist, {"press": 0}, "press")
    assert ends(netlist, found, "bell") == {"0"}
    assert flags(found) == QUIET


# Data pins


def test_data_that_is_restless_in_the_round_of_the_edge_or_before_gives_either_value_and_is_no_race() -> None:
    # `late` rises in round 2, the round of the pulse, `later` in round 3.
    wiring = one_shot().flip_flop("late", D, "high", clock="press", start=False)
    wiring.flip_flop("later", D, "high", clock="late", start=False)
    wiring.flip_flop("bell", D, "shot", clock="late", start=False)
    netlist = wiring.flip_flop("chime", D, "shot", clock="later", start=False).netlist()
    found = outcomes(netlist, {"press": 0, "late": 0, "later": 0}, "press")
    assert ends(netlist, found, "late", "later", "bell", "chime") == {"1100", "1101", "1110", "1111"}
    assert flags(found) == QUIET


def test_data_that_is_restless_after_the_edge_is_read_as_it_stood() -> None:
    netlist = one_shot().flip_flop("bell", D, "shot", clock="press", start=False).netlist()
    found = outcomes(netlist, {"press": 0}, "press")
    assert ends(netlist, found, "bell") == {"0"}
    assert flags(found) == QUIET


def test_a_pulse_that_clocks_reads_data_that_moved_in_its_own_round_as_either_value() -> None:
    # `bell` is clocked by the pulse, and is high; `late`, its data, rises in the round of the pulse.
    wiring = one_shot().flip_flop("late", D, "high", clock="press", start=False)
    wiring.flip_flop("bell", D, "late", clock="shot", start=True)
    netlist = wiring.flip_flop("chime", D, "late", clock="shot", start=False).netlist()
    found = outcomes(netlist, {"press": 0, "late": 0, "bell": 1, "chime": 0}, "press")
    assert ends(netlist, found, "bell", "chime") == {"00", "01", "10", "11"}
    assert flags(found) == RACE_OF_A_FELT_PULSE


# No false alarms


def four_nands() -> Netlist:
    wiring = Wiring("four_nands").input("lever").input("open")
    wiring.gate("set_n", GateKind.NAND, "lever", "open").gate("reset_n", GateKind.NAND, "set_n", "open")
    wiring.gate("bell", GateKind.NAND, "set_n", "bell_n").gate("bell_n", GateKind.NAND, "reset_n", "bell")
    return wiring.netlist()


def six_nands() -> Netlist:
    """The edge-triggered flip-flop of the SN7474's logic diagram (from memory), without its clear and preset."""
    wiring = Wiring("six_nands").input("lever").input("tempo")
    wiring.gate("keep_high", GateKind.NAND, "keep_low", "set_n").gate("set_n", GateKind.NAND, "keep_high", "tempo")
    wiring.gate("reset_n", GateKind.NAND, "set_n", "tempo", "keep_low")
    wiring.gate("keep_low", GateKind.NAND, "reset_n", "lever")
    wiring.gate("bell", GateKind.NAND, "set_n", "bell_n").gate("bell_n", GateKind.NAND, "reset_n", "bell")
    return wiring.netlist()


@pytest.mark.parametrize(
    "netlist", [ripple_counter(3), nand_pair(False), four_nands(), six_nands()], ids=lambda netlist: netlist.name
)
def test_what_is_used_within_its_rules_has_nothing_restless(netlist: Netlist) -> None:
    behaviour = Behaviour(netlist)
    walked = [
        outcome
        for instant in behaviour.reachable()
        for inputs in behaviour.steps.permitted_inputs(instant)
        for outcome in behaviour.steps.step(instant, inputs)
    ]
    assert len(walked) >= 15
    assert not any(one.restless or one.felt or one.raced or one.oscillated for one in walked)
