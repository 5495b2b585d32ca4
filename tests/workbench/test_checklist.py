"""Checklists: what they visit, how they begin, and that every reading in them is right. The oracle walks them."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest
from oracle.random_designs import as_test, random_design
from oracle.targets import TooBigError
from workbench.walked_by_the_oracle import reachable, walked

import verifier
from verifier.claims.claim import Design
from verifier.errors import CallError
from verifier.evidence.checklist import Checklist, PowerUp
from verifier.report.checklist_files import as_csv
from verifier.workbench.checklist import checklist
from verifier.workbench.readings import levels

SPECS = Path(__file__).resolve().parents[2] / "specs"
COVERED = [
    ("beat_source", "plain_mux"),
    ("beat_source", "two_registers"),
    ("beat_source", "hold_until_agree_in_nands"),
    ("hammer_arbiter", "taking_turns"),
    ("nand_flip_flop", "from_nands"),
    ("one_pulse", "sample_and_compare"),
    ("parity_checker", "cleared_at_once"),
    ("gray_counter", "registered_code"),
    ("shift_register", "maximal_length"),
    ("divide_by_three", "twisted_pair"),
    ("self_clearing", "waits_for_the_tempo"),
    ("lever_debouncer", "make_before_break"),
]


def shelf(file: str, name: str) -> Design:
    designs = verifier.load(str(SPECS / f"{file}.wiring")).designs
    return next(design for design in designs if design.name == name)


def written(tmp_path: Path, text: str) -> Design:
    path = tmp_path / "drawn.wiring"
    path.write_text(text)
    (design,) = verifier.load(str(path)).designs
    return design


def readings_until(made: Checklist) -> int:
    return (made.known_from or 0) if made.power_up is PowerUp.AS_READ else -1


@pytest.mark.parametrize(("file", "name"), COVERED)
def test_a_list_visits_every_state_and_makes_every_flip_and_all_its_readings_are_right(file: str, name: str) -> None:
    design = shelf(file, name)
    made = checklist(design)
    done = walked(design.netlist, as_csv(made), readings_until(made))
    states, flips = reachable(design.netlist)
    assert done.wrong == []
    assert states <= done.visited
    assert flips <= done.made
    assert (made.coverage.states, made.coverage.states_visited) == (len(states), len(states))
    assert (made.coverage.changes, made.coverage.changes_made) == (len(flips), len(flips))
    assert made.at_least == len(made.rows) - 1


@pytest.mark.parametrize("seed", range(25))
def test_the_readings_of_a_list_for_a_random_circuit_are_what_the_oracle_finds(seed: int) -> None:
    design = random_design(Random(seed))
    bare = Design(netlist=design.netlist, file=design.file, claims=design.claims)
    try:
        made = checklist(bare, leds=[name for name in design.netlist.signals if "~" not in name])
        if made.power_up is PowerUp.AS_WRITTEN or len(made.rows) > 400:
            pytest.skip("the walker knows boards that wake as they like, and has little patience")
        done = walked(design.netlist, as_csv(made), readings_until(made))
    except TooBigError:
        pytest.skip("too much for the oracle")
    except CallError:
        assert reachable(design.netlist)[0] == set(), as_test(design)
        return
    assert done.wrong == [], as_test(design)


def test_the_first_known_state_is_reached_whatever_the_board_woke_in() -> None:
    made = checklist(shelf("one_pulse", "sample_and_compare"))
    assert made.power_up is PowerUp.ANY
    assert [len(row.possible) for row in made.rows[:4]] == [4, 2, 2, 1]


def test_without_such_flips_the_list_is_for_the_boards_that_read_so() -> None:
    made = checklist(shelf("bell_counter", "chained_carry"))
    assert (made.power_up, made.known_from) == (PowerUp.AS_READ, 0)


def test_a_list_begins_with_what_was_read() -> None:
    design = shelf("bell_counter", "chained_carry")
    made = checklist(design, power_up=PowerUp.AS_READ, woke=levels("count 0101, enable high", design.netlist))
    (state,) = made.rows[0].possible
    (count,) = (pin for pin in design.netlist.outputs if pin.name == "count")
    assert [state[net] for net in count.nets] == [True, False, True, False]
    assert made.coverage.states_visited == 64


def test_readings_that_no_sound_board_gives_are_refused() -> None:
    design = shelf("bell_counter", "chained_carry")
    with pytest.raises(CallError, match="cannot wake like this"):
        checklist(design, power_up=PowerUp.AS_READ, woke=levels("count 0101, carry high", design.netlist))


def test_no_flip_breaks_a_given() -> None:
    made = checklist(shelf("lever_debouncer", "nand_pair"))
    up, down = (column for column in made.columns if column.is_input)
    assert all(row.reading(up) == (True,) or row.reading(down) == (True,) for row in made.rows)
    assert any("break_before_make" in note for note in made.notes)


def test_a_given_that_looks_further_back_is_named_as_not_heeded(tmp_path: Path) -> None:
    text = "circuit lamp\n    input rope by hand\n    output lit\n    given calm: not once rope\n    lit = not rope\n"
    made = checklist(written(tmp_path, text))
    assert any("calm looks further than one step" in note for note in made.notes)


def test_a_dead_end_is_left_by_another_power_up(tmp_path: Path) -> None:
    text = """\
circuit one_way
    input  rope, handle by hand
    output rung, turned
    rung   = set_reset(rope and not turned, 0) start 0
    turned = set_reset(handle and not rung, 0) start 0
"""
    design = written(tmp_path, text)
    made = checklist(design, power_up=PowerUp.AS_WRITTEN)
    assert sum(row.flip is None for row in made.rows) > 1
    assert made.coverage.states == made.coverage.states_visited
    assert made.coverage.changes == made.coverage.changes_made


def test_a_race_is_read_as_either_value() -> None:
    made = checklist(shelf("self_clearing", "clears_itself"))
    either = [row for row in made.rows if any(None in row.reading(column) for column in made.read)]
    assert either
    assert any(row.may_race for row in made.rows)


def test_a_bus_is_flipped_bit_by_bit_and_says_so(tmp_path: Path) -> None:
    text = "circuit wide\n    input key[2]\n    output both\n    both = key[1] and key[0]\n"
    made = checklist(written(tmp_path, text))
    assert (len(made.rows), made.coverage.states, made.coverage.changes) == (9, 4, 8)
    assert any("several bits of key" in note for note in made.notes)


def test_strapped_inputs_stay_as_they_are_told(tmp_path: Path) -> None:
    text = "circuit strap\n    input board strapped\n    input rope by hand\n    output lit\n    lit = board xor rope\n"
    design = written(tmp_path, text)
    for value in ("low", "high"):
        made = checklist(design, straps=levels(f"board {value}", design.netlist))
        column = made.columns[0]
        assert {row.reading(column) for row in made.rows} == {(value == "high",)}
        assert made.coverage.states == 2


def test_a_circuit_with_more_states_than_the_ceiling_is_covered_in_part() -> None:
    made = checklist(shelf("bell_counter", "chained_carry"), ceiling=40)
    assert not made.coverage.complete
    assert 10 < made.coverage.states_visited < 64


def test_the_clock_of_a_circuit_that_runs_free_becomes_a_switch() -> None:
    made = checklist(shelf("beat_source", "plain_mux"))
    assert any("tempo runs free" in note and "switch" in note for note in made.notes)


def test_a_net_with_an_led_has_a_column() -> None:
    made = checklist(shelf("beat_source", "hold_until_agree"), leds=["agree"])
    assert [column.name for column in made.columns] == ["tempo", "lever", "choose", "beat", "agree"]
    with pytest.raises(CallError, match="no net named agre"):
        checklist(shelf("beat_source", "hold_until_agree"), leds=["agre"])
