"""Input sequences as people write them."""

from pathlib import Path

import pytest
from report.sample_runs import SETTLES, multiplexer_design

from verifier.circuit.builder import NetlistBuilder
from verifier.claims.claim import Design
from verifier.errors import CallError
from verifier.language import load
from verifier.workbench.sequence import play_words, shown_names, steps_in


def values(design: Design, steps: list[str], start: list[str] | None = None) -> list[str]:
    """The instants of the played run, one digit a net in the order of the nets."""
    played = play_words(design, steps, start or [])
    return ["".join(str(int(value)) for value in instant) for instant in played.run.instants]


def bells() -> Design:
    builder = NetlistBuilder("bells", inputs_may_change_together=True)
    builder.input_bus("pattern", 3)
    builder.input("wait")
    builder.flip_flop("held", data="wait", clock="pattern[0]")
    builder.output("held")
    return Design(netlist=builder.build(), file="bells.wiring", claims=(SETTLES,))


def test_words_set_flip_and_wait_from_a_power_up_with_all_inputs_low() -> None:
    # nets: tempo, lever, choose, beat
    assert values(multiplexer_design(), ["lever=1", "wait", "choose", "tempo=high", "choose=0"]) == [
        "0000",
        "0101",
        "0101",
        "0110",
        "1111",
        "1101",
    ]


def test_start_words_give_the_inputs_and_the_memory_at_power_up() -> None:
    assert values(bells(), [], ["pattern=0b110", "held=1"]) == ["01101"]


def test_a_flip_starts_from_the_value_at_power_up() -> None:
    assert values(multiplexer_design(), ["lever"], ["lever=1"]) == ["0101", "0000"]


def test_several_words_in_one_step_happen_together() -> None:
    assert values(bells(), ["pattern=6, wait=1"]) == ["00000", "01110"]


def test_an_input_named_wait_is_an_input() -> None:
    assert values(bells(), ["wait"])[1][3] == "1"


def test_what_else_could_have_happened_is_noted() -> None:
    played = play_words(bells(), ["pattern=1 wait=1"])
    assert any("held" in note for notes in played.notes for note in notes)


@pytest.mark.parametrize(
    ("steps", "start", "message", "hint"),
    [
        (["leverr=1"], [], "there is no input named leverr", "did you mean lever?"),
        (
            ["beat=1"],
            [],
            "beat is an output, and a step sets inputs alone",
            "its value at power-up is set with --start beat=1",
        ),
        (["lever="], [], "`lever=` has no number behind the `=`", "write 1, 12, 0b0101 or 0x1F"),
        (["lever=-1"], [], "`lever=-1` has no number behind the `=`", "write 1, 12, 0b0101 or 0x1F"),
        (["lever=2"], [], "lever has 1 bit: 2 does not fit", "0..1"),
        (["lever=1 lever"], [], "step 1 sets lever twice", ""),
        ([], ["lever"], "`lever` is no start value", "write it as name=value"),
        ([], ["nothing=1"], "there is no signal named nothing", "there is tempo, lever, choose, beat"),
        ([], ["beat=1"], "beat cannot start at 1: with these inputs it is never so", ""),
    ],
)
def test_a_wrong_word_is_refused_with_a_hint(steps: list[str], start: list[str], message: str, hint: str) -> None:
    with pytest.raises(CallError) as caught:
        play_words(multiplexer_design(), steps, start)
    assert str(caught.value) == message
    assert caught.value.hint == hint


STARTED = """\
circuit walker
    input  tempo free running
    input  lever by hand
    output stroke[2]
    stroke = flipflop(join(stroke[0], stroke[1])) on rise of tempo, preset when lever high start 1
    held   = flipflop(held) on rise of tempo
    quiet  = not held
    net both[2]
    both[0] = flipflop(held) on rise of tempo
    both[1] = flipflop(held) on rise of tempo start 0
"""


@pytest.mark.parametrize(
    ("start", "told"),
    [
        (["stroke=2"], "stroke cannot start at 2: the file has it start at 1"),
        (["both=3"], "both cannot start at 3: the file has both[1] start at 0"),
        (["stroke=1", "lever=1"], "stroke cannot start at 1: with these inputs it is never so"),
        (["held=1", "quiet=1"], "the circuit cannot start like this"),
    ],
)
def test_a_start_that_cannot_be_had_is_told_with_what_stands_against_it(
    start: list[str], told: str, tmp_path: Path
) -> None:
    path = tmp_path / "walker.wiring"
    path.write_text(STARTED)
    with pytest.raises(CallError) as caught:
        play_words(load(path).designs[0], [], start)
    assert str(caught.value) == told


def test_a_circuit_without_a_first_state_says_so(tmp_path: Path) -> None:
    path = tmp_path / "pair.wiring"
    pair = "    input s, r\n    output q, n\n    q = nor(r, n) start 1\n    n = nor(s, q) start 1\n"
    path.write_text(f"circuit pair\n{pair}")
    with pytest.raises(CallError, match="the circuit has no first state with these inputs"):
        play_words(load(path).designs[0], [], ["q=1"])


def test_a_bus_cannot_be_flipped() -> None:
    with pytest.raises(CallError, match="pattern is a bus"):
        play_words(bells(), ["pattern"])


def test_more_steps_than_can_be_played_are_refused() -> None:
    with pytest.raises(CallError, match="10001 steps are more than"):
        play_words(multiplexer_design(), ["wait"] * 10_001)


def test_a_file_of_steps_has_one_a_line_and_may_have_comments() -> None:
    assert steps_in("# the first press\nlever=1\n\n  tempo  # then a beat\nwait\n") == ["lever=1", "tempo", "wait"]


def test_only_nets_that_exist_can_be_shown() -> None:
    assert shown_names(bells(), ["held", "pattern"]) == ["held", "pattern"]
    with pytest.raises(CallError) as caught:
        shown_names(bells(), ["hold"])
    assert caught.value.hint == "did you mean held?"
