"""Scripts are played, with notes where the circuit could have gone another way."""

from __future__ import annotations

import pytest

from evidence.bench import gates_only, wire
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import InputClass, Netlist
from verifier.errors import CallError
from verifier.evidence.playing import play


def strokes() -> Netlist:
    """Takes the stroke number in on a rise of `lever`."""
    builder = NetlistBuilder("strokes")
    builder.input_bus("stroke", 2)
    builder.input("lever", InputClass.BY_HAND)
    builder.input("choose", InputClass.STRAPPED)
    builder.flip_flop("hammer[0]", "stroke[0]", "lever")
    builder.flip_flop("hammer[1]", "stroke[1]", "lever")
    builder.signal("hammer", ["hammer[0]", "hammer[1]"])
    return builder.build()


def values(netlist: Netlist, instant: tuple[bool, ...], name: str) -> int:
    return sum(instant[net] << bit for bit, net in enumerate(netlist.signals[name]))


def test_inputs_stay_until_they_are_set_and_a_bus_is_set_by_its_number() -> None:
    netlist = strokes()
    played = play(netlist, [{"stroke": 1}, {"stroke": 2}, {"lever": 1}, {"lever": 0}], {"hammer": 3})
    assert [values(netlist, instant, "stroke") for instant in played.run.instants] == [1, 2, 2, 2]
    assert [values(netlist, instant, "hammer") for instant in played.run.instants] == [3, 3, 2, 2]
    assert played.notes == ((), (), (), ())


def test_an_unknown_start_is_noted_at_the_first_instant() -> None:
    played = play(strokes(), [{}])
    assert played.notes == (("may start in other ways, for one with another hammer[1]",),)


def test_an_empty_script_shows_the_first_instant() -> None:
    assert len(play(strokes(), [], {"hammer": 0}).run) == 1


def test_a_step_against_the_input_rules_is_played_and_noted() -> None:
    netlist = strokes()
    played = play(netlist, [{}, {"stroke": 3, "lever": 1}, {"choose": 1}], {"hammer": 0})
    assert played.notes[1] == (
        "not permitted: stroke and lever change in one step",
        "either value at hammer[0], hammer[1]",
    )
    assert played.notes[2] == ("not permitted: choose never changes",)
    assert values(netlist, played.run.instants[1], "hammer") == 0


def test_a_race_is_noted_with_the_number_of_its_outcomes() -> None:
    netlist = gates_only("s_n r_n", "q = nand s_n qn; qn = nand r_n q")
    played = play(netlist, [{}, {"s_n": 1, "r_n": 1}])
    assert played.notes[1] == ("oscillates: shown is one state of many", "race: 4 outcomes, shown is one")


def test_an_oscillating_start_is_noted() -> None:
    netlist = gates_only("", "n = not n")
    assert "oscillates: shown is one state of many" in play(netlist, [{}]).notes[0]


def test_a_race_at_the_first_instant_is_noted() -> None:
    builder = NetlistBuilder("both")
    wire(builder, "s = high; r = high")
    builder.set_reset("q", "s", "r")
    assert "race: shown is one outcome" in play(builder.build(), [{}]).notes[0]


@pytest.mark.parametrize(
    ("script", "start", "message"),
    [
        ([{"leverr": 1}], {}, "no input 'leverr'"),
        ([{"lever": 2}], {}, "lever has 1 bit"),
        ([{"stroke": 4}], {}, "stroke has 2 bits"),
        ([{"stroke": -1}], {}, "does not fit"),
        ([{}], {"hamer": 1}, "no signal 'hamer'"),
        ([{"lever": 0}], {"lever": 1}, "cannot start"),
    ],
)
def test_a_wrong_call_is_told_what_is_wrong(script: list[dict[str, int]], start: dict[str, int], message: str) -> None:
    with pytest.raises(CallError, match=message):
        play(strokes(), script, start)


def test_a_wrong_name_is_answered_with_the_nearest_one() -> None:
    with pytest.raises(CallError) as caught:
        play(strokes(), [{"leverr": 1}])
    assert "lever" in caught.value.hint
