"""Every single fault is put into the simulator as the board: the true one is always among those that are named."""

from __future__ import annotations

from random import Random

import pytest
from oracle.random_designs import as_test, random_design
from workbench.boards import Board, first_difference
from workbench.test_checklist import shelf

from verifier.circuit.fault import Fault, FaultClass, Technology
from verifier.circuit.single_faults import single_faults
from verifier.claims.claim import Design
from verifier.errors import CallError
from verifier.evidence.checklist import Checklist, Flip, PowerUp, Row
from verifier.evidence.diagnosis import NO_FIRM_LEVEL, Diagnosis
from verifier.evidence.simulator import SimulationLimit
from verifier.workbench.board_faults import explanations
from verifier.workbench.checklist import checklist
from verifier.workbench.diagnosis import diagnosis, experiences_of
from verifier.workbench.pin_levels import PinLevels
from verifier.workbench.readings import Further, Seen, further, seen
from verifier.workbench.settled_states import without_starts

INJECTED = [
    ("beat_source", "plain_mux", ""),
    ("beat_source", "hold_until_agree", ""),
    ("beat_source", "hold_until_agree_in_nands", "agree,on_tempo"),
    ("gated_tempo", "latch_and_gate", ""),
    ("nand_flip_flop", "from_nands", ""),
    ("one_pulse", "sample_and_compare", ""),
    ("parity_checker", "cleared_at_once", ""),
    ("divide_by_three", "jk_pair", ""),
    ("lever_debouncer", "packaged_latch", ""),
]
SLOW_WITH_CMOS = {"from_nands", "hold_until_agree_in_nands", "hold_until_agree"}
"""What floats in them may go many ways."""
HIDDEN_AT_MOST = 0.05
"""Share of the faults above that no reading of any list shows; those without effect, such as a pull-up that a TTL input
does not need, are among them."""


def injected(made: Checklist, fault: Fault, random: Random) -> tuple[Board, Seen | None]:
    board = Board(without_starts(made.design.netlist), fault, random)
    return board, first_difference(made, board)


def names_it(made: Checklist, alike: FaultClass, saw: Seen) -> bool:
    """Classes are judged one by one, so the rest of them need not be looked at."""
    found = explanations(without_starts(made.design.netlist), [alike], experiences_of(made, [saw]))
    return bool(found.suspects or found.not_followed)


@pytest.mark.parametrize("technology", list(Technology), ids=lambda technology: technology.value)
def test_the_true_fault_is_named_at_the_first_reading_that_differs(technology: Technology) -> None:
    random = Random(7)
    shown, hidden = 0, 0
    circuits = [row for row in INJECTED if technology is Technology.TTL or row[1] not in SLOW_WITH_CMOS]
    for file, name, leds in circuits:
        made = checklist(shelf(file, name), leds=list(filter(None, leds.split(","))))
        for alike in single_faults(without_starts(made.design.netlist), technology):
            _, saw = injected(made, alike.representative, random)
            if saw is None:
                hidden += 1
            elif made.power_up is not PowerUp.AS_READ or saw.row > (made.known_from or 0):
                shown += 1
                assert names_it(made, alike, saw), f"{name}: {alike.representative.name} is not named for {saw}"
    assert shown > 100
    assert hidden / (hidden + shown) < HIDDEN_AT_MOST


@pytest.mark.parametrize("seed", range(12))
def test_the_true_fault_of_a_random_circuit_is_named(seed: int) -> None:
    random = Random(seed)
    drawn = random_design(random)
    design = Design(netlist=drawn.netlist, file=drawn.file, claims=drawn.claims)
    technology = random.choice(list(Technology))
    try:
        made = checklist(design, leds=[name for name in design.netlist.signals if random.random() < 0.3])
    except CallError:
        return
    if made.power_up is not PowerUp.ANY or len(made.rows) > 300:
        return
    classes = single_faults(without_starts(design.netlist), technology)
    for alike in random.sample(classes, min(6, len(classes))):
        try:
            _, saw = injected(made, alike.representative, random)
        except (SimulationLimit, IndexError):
            continue  # with this fault nothing can be played
        if saw is not None:
            assert names_it(made, alike, saw), f"{alike.representative.name}, {saw}\n{as_test(design)}"


def diagnosed(made: Checklist, saw: Seen, then: list[Further]) -> Diagnosis:
    return diagnosis(made, [saw], then, technology=Technology.TTL)


@pytest.mark.parametrize("place", range(5, 40, 11))
def test_following_the_advice_keeps_the_true_fault_and_ends_with_what_nothing_tells_apart(place: int) -> None:
    design = shelf("beat_source", "hold_until_agree")
    made = checklist(design, leds=["agree"])
    netlist = without_starts(design.netlist)
    alike = single_faults(netlist, Technology.TTL)[place]
    random = Random(place)
    board, saw = injected(made, alike.representative, random)
    if saw is None:
        pytest.skip("this fault shows nowhere")
    pins = PinLevels(netlist)
    then: list[Further] = []
    left = [len(netlist.nets) * 100]
    while True:
        found = diagnosed(made, saw, then)
        assert alike.representative in [suspect.fault for suspect in found.suspects]
        assert len(found.suspects) < left[-1]
        left.append(len(found.suspects))
        if found.probe is not None:
            pin = pins.names[found.probe.probed]
            level = random.choice(list(pins.at(pin, alike.representative, board.state)))
            then.append(Further(None, {}, (pin, level)))
        elif found.flips is not None:
            then += flipped(board, found.flips.flips, found.flips.nets)
        else:
            break
    assert left[-1] <= 6


def flipped(board: Board, flips: tuple[Flip, ...], nets: tuple[int, ...]) -> list[Further]:
    made = []
    for flip in flips:
        board.flip(flip)
        made.append(Further(flip, {net: board.state[net] for net in nets}))
    return made


def test_each_reading_of_a_probe_leaves_the_suspects_that_it_says() -> None:
    design = shelf("beat_source", "hold_until_agree")
    made = checklist(design)
    saw = seen("step 12: beat low", design.netlist)
    found = diagnosed(made, saw, [])
    assert found.probe is not None
    pin = PinLevels(design.netlist).names[found.probe.probed]
    names = [suspect.fault.name for suspect in found.suspects]
    classes = single_faults(design.netlist, Technology.TTL)
    for (level,), left in found.probe.left.items():
        made_then = experiences_of(made, [saw], [Further(None, {}, (pin, level))])
        after = explanations(design.netlist, classes, made_then)
        assert {suspect.fault.name for suspect in after.suspects} == {names[position] for position in left}


def test_a_sound_reading_is_said_to_be_sound() -> None:
    design = shelf("beat_source", "plain_mux")
    made = checklist(design)
    row = made.rows[3]
    found = diagnosed(made, Seen(3, {made.read[0].nets[0]: row.reading(made.read[0])[0] is True}), [])
    assert found.sound


def test_readings_that_no_single_fault_gives_name_none() -> None:
    design = shelf("beat_source", "plain_mux")
    made = checklist(design)
    readings = " ".join(str(int(row.reading(made.read[0])[0] is True)) for row in made.rows)
    assert {"0", "1"} <= set(readings)
    upside_down = [Seen(row.number, {made.read[0].nets[0]: row.reading(made.read[0])[0] is False}) for row in made.rows]
    found = diagnosis(made, upside_down, technology=Technology.TTL)
    assert not found.sound
    assert found.suspects == ()
    assert (found.probe, found.flips) == (None, None)


def test_a_missing_wire_is_told_from_a_stuck_pin_by_a_meter_at_the_pin() -> None:
    design = shelf("beat_source", "hold_until_agree_in_nands")
    netlist = design.netlist
    pins = PinLevels(netlist)
    pin = pins.names["reset_n: input 1 (set_n)"]
    faults = {fault.name: fault for alike in single_faults(netlist, Technology.TTL) for fault in alike.faults}
    state = tuple(False for _ in netlist.nets)
    missing = faults["reset_n: input 1 (set_n) has no wire"]
    stuck = faults["reset_n: input 1 (set_n) stuck high"]
    assert pins.at(pin, missing, state) == {NO_FIRM_LEVEL}
    assert pins.at(pin, stuck, state) == {False, True}
    assert pins.at(pins.names["reset_n: input 2 (agree)"], missing, state) == {False}
    assert further("probe reset_n: input 1 (set_n): no level", netlist).pin == (pin, NO_FIRM_LEVEL)


def test_what_was_not_looked_at_rules_nothing_out() -> None:
    design = shelf("beat_source", "hold_until_agree")
    made = checklist(design)
    saw = seen("step 30: beat high", design.netlist)
    few = diagnosis(made, [saw])
    many = diagnosis(made, [saw], only_seen=True)
    assert {one.fault for one in few.suspects} < {one.fault for one in many.suspects}


def test_a_reading_that_only_tells_which_board_it_is_is_refused() -> None:
    design = shelf("bell_counter", "chained_carry")
    with pytest.raises(CallError, match="is no fault"):
        diagnosis(checklist(design), [seen("step 0: count 0101", design.netlist)])


def test_steps_and_flips_that_cannot_be_are_refused() -> None:
    design = shelf("beat_source", "plain_mux")
    made = checklist(design)
    with pytest.raises(CallError, match="there is no step 999"):
        diagnosis(made, [seen("step 999: beat high", design.netlist)])
    up: Row = made.rows[1]
    assert up.flip is not None
    name = design.netlist.nets[up.flip.net].name
    with pytest.raises(CallError, match="is up already"):
        diagnosis(made, [Seen(1, {})], [further(f"flip {name} up: beat low", design.netlist)])
