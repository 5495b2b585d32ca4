"""Two circuits with the same pins: equal for ever, or the shortest sequence that tells them apart."""

from __future__ import annotations

from contextlib import chdir
from itertools import pairwise
from pathlib import Path

import pytest

import verifier
from verifier.cli import main
from verifier.errors import CallError
from verifier.evidence.verdict import ClaimResult, Verdict

PINS = "    input  tempo\n    output striking, last\n"
BINARY = f"""\
circuit binary_counter
{PINS}\
    low  = flipflop(not low) on rise of tempo start 0
    high = flipflop(xor(high, low)) on rise of tempo start 0
    striking = not low and not high
    last     = low and high
"""
RING = f"""\
circuit ring_counter
{PINS}\
    net stage[4]
    stage[0] = flipflop(stage[3]) on rise of tempo start 1
    stage[1] = flipflop(stage[0]) on rise of tempo start 0
    stage[2] = flipflop(stage[1]) on rise of tempo start 0
    stage[3] = flipflop(stage[2]) on rise of tempo start 0
    striking = stage[0]
    last     = stage[3]
"""
ADDERS = """\
circuit adder_from_gates
    inputs may change together
    input  a[3], b[3]
    output sum[4]
    c0 = a[0] and b[0]
    c1 = majority(a[1], b[1], c0)
    c2 = majority(a[2], b[2], c1)
    sum[0] = xor(a[0], b[0])
    sum[1] = xor(a[1], b[1], c0)
    sum[2] = xor(a[2], b[2], c1)
    sum[3] = c2
circuit adder_as_written
    inputs may change together
    input  a[3], b[3]
    output sum[4]
    sum = join(0b0, a) + join(0b0, b)
"""
UNKNOWN = """\
circuit one_way
    input  tempo
    output beat
    beat = flipflop(not beat) on rise of tempo
circuit other_way
    input  tempo
    output beat
    silent = flipflop(beat) on rise of tempo
    beat   = not silent
"""


def verdict_on(folder: Path, text: str, power_up: str = "all", **options: float) -> ClaimResult:
    path = folder / "pair.wiring"
    path.write_text(text)
    left, right = verifier.load(path).designs[:2]
    (claim,) = verifier.equal(left, right, power_up, **options).claims  # type: ignore[arg-type]
    return claim


def test_registers_need_not_correspond(tmp_path: Path) -> None:
    assert verdict_on(tmp_path, BINARY + RING).verdict is Verdict.PROVED


def test_circuits_that_part_late_are_told_apart_by_the_shortest_sequence(tmp_path: Path) -> None:
    # The ring goes wrong once its token comes to the last stage: after three rises, that is six changes of tempo.
    wrong = RING.replace("last     = stage[3]", "last     = stage[3] and stage[0]")
    result = verdict_on(tmp_path, BINARY + wrong)
    assert result.verdict is Verdict.BROKEN
    assert result.run is not None
    tempo = [instant[0] for instant in result.run.instants]
    assert sum(not old and new for old, new in pairwise(tempo)) == 3
    assert len(result.run) == 6  # the first of them may rise at once


def test_two_ways_to_write_an_adder_are_equal_and_a_slip_in_one_carry_is_found(tmp_path: Path) -> None:
    assert verdict_on(tmp_path, ADDERS).verdict is Verdict.PROVED
    slip = verdict_on(tmp_path, ADDERS.replace("c1 = majority(a[1], b[1], c0)", "c1 = a[1] and b[1]"))
    assert slip.verdict is Verdict.BROKEN
    assert slip.run is not None
    assert len(slip.run) == 1


def test_unknown_starts_differ_from_all_states_and_agree_from_matching_ones(tmp_path: Path) -> None:
    assert verdict_on(tmp_path, UNKNOWN).verdict is Verdict.BROKEN
    assert verdict_on(tmp_path, UNKNOWN, "matching").verdict is Verdict.PROVED


def test_matching_states_that_do_not_exist_are_an_error_and_no_proof(tmp_path: Path) -> None:
    starts = "    input tempo\n    output beat\n    beat = flipflop(beat) on rise of tempo start "
    with pytest.raises(CallError, match="no matching power-up states"):
        verdict_on(tmp_path, f"circuit low\n{starts}0\ncircuit high\n{starts}1\n", "matching")


def test_different_pins_and_a_wrong_power_up_are_refused(tmp_path: Path) -> None:
    with pytest.raises(CallError, match="cannot be compared"):
        verdict_on(tmp_path, BINARY + ADDERS)
    with pytest.raises(CallError, match="no way to power up called some"):
        verdict_on(tmp_path, UNKNOWN, "some")


def test_circuits_without_outputs_cannot_be_compared(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "dark.wiring"
    path.write_text("circuit dark\n    input tempo\n    held = flipflop(not held) on rise of tempo\n")
    assert main(["equal", str(path), "dark", "dark"]) == 2
    told = capsys.readouterr().err
    assert told.startswith("edgewright: dark has no output, so there is nothing to compare it by\n")


def test_a_comparison_cut_short_is_undecided(tmp_path: Path) -> None:
    assert verdict_on(tmp_path, BINARY + RING, limit=1e-9).verdict is Verdict.UNDECIDED


@pytest.mark.parametrize(
    ("text", "names", "options", "code", "said"),
    [
        (BINARY + RING, ["binary_counter", "ring_counter"], [], 0, "binary_counter and ring_counter behave the same"),
        (UNKNOWN, ["one_way", "other_way"], [], 1, "one_way.beat is"),
        (UNKNOWN, ["one_way", "other_way"], ["--power-up", "matching"], 0, "one_way and other_way behave the same"),
        (BINARY + RING, ["binary_counter", "ring_counter"], ["--limit", "1e-9"], 3, "may or may not behave the same"),
        (UNKNOWN, ["one_way", "one_way"], ["--power-up", "matching"], 0, "one_way@1 and one_way@2 behave the same"),
    ],
)
def test_the_command_says_it_and_ends_accordingly(
    text: str,
    names: list[str],
    options: list[str],
    code: int,
    said: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "pair.wiring").write_text(text)
    assert main(["equal", str(tmp_path / "pair.wiring"), *names, *options]) == code
    out = " ".join(capsys.readouterr().out.split())
    assert said in out
    assert "givens" not in out
    assert out.count("power-up:") == 1


@pytest.mark.parametrize("power_up", ["all", "matching"])
def test_the_rule_about_power_up_is_said_once_and_givens_are_mentioned_only_where_there_are_some(
    power_up: str, tmp_path: Path
) -> None:
    path = tmp_path / "pair.wiring"
    path.write_text(UNKNOWN.replace("    beat = flip", "    given slow: tempo steady\n    beat = flip"))
    left, right = verifier.load(path).designs
    assumes = verifier.equal(left, right, power_up).assumes
    (starts,) = [sentence for sentence in assumes if "power-up" in sentence]
    assert starts.endswith("whatever the first values of one_way.beat and other_way.silent")
    assert ("agree" in starts) == (power_up == "matching")
    (givens,) = [sentence for sentence in assumes if "given" in sentence]
    assert givens.startswith("the givens of the two circuits are not used")


def test_the_second_circuit_may_stand_in_another_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one, two = tmp_path / "one.wiring", tmp_path / "two.wiring"
    one.write_text(BINARY)
    two.write_text(RING)
    call = ["equal", str(one), "binary_counter", "ring_counter"]
    assert main(call) == 2
    assert "there is no circuit named ring_counter" in capsys.readouterr().err
    assert main([*call, "--other", str(two)]) == 0
    with pytest.raises(SystemExit) as ended:
        main([*call, "--power-up", "sideways"])
    assert ended.value.code == 2
    with pytest.raises(SystemExit) as ended:
        main([*call, "third_circuit"])
    assert ended.value.code == 2


PINS_OF_ONE = """\
circuit lantern
    input  tempo free running
    input  lever by hand
    output beat, lamp[2]
    beat = tempo and lever
    lamp = join(lever, tempo)
"""


def said_about(folder: Path, capsys: pytest.CaptureFixture[str], second: str, code: int) -> str:
    """What `equal` says of the lantern and of a circuit in another file, on one line."""
    (folder / "one.wiring").write_text(PINS_OF_ONE)
    (folder / "two.wiring").write_text(second)
    name = second.split()[1]
    with chdir(folder):
        assert main(["equal", "one.wiring", "lantern", name, "--other", "two.wiring"]) == code
    captured = capsys.readouterr()
    return " ".join((captured.out + captured.err).split())


def test_the_order_of_pins_is_none_of_their_business(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = """\
circuit other_lantern
    input  lever by hand
    input  tempo free running
    output lamp[2], beat
    lamp[0] = tempo
    lamp[1] = lever
    beat    = not nand(lever, tempo)
"""
    said = said_about(tmp_path, capsys, other, 0)
    assert "lantern and other_lantern behave the same for ever" in said
    assert "one.wiring) with other_lantern (" in said


def test_every_difference_of_pins_is_told_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = """\
circuit other_lantern
    input  Tempo free running
    input  lever
    input  choose
    output beat, lamp[3]
    beat = Tempo and lever
    lamp = join(lever, Tempo, choose)
"""
    said = said_about(tmp_path, capsys, other, 2)
    for difference in (
        "only lantern has an input `tempo`",
        "only other_lantern has an input `Tempo`",
        "only other_lantern has an input `choose`",
        "the output `lamp` has 2 bits in lantern and 3 bits in other_lantern",
        "the input `lever` is by hand in lantern, free in other_lantern",
        "is `tempo` meant to be `Tempo`?",
    ):
        assert difference in said


def test_two_circuits_of_one_name_are_told_apart_by_their_files(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = said_about(tmp_path, capsys, PINS_OF_ONE.replace("tempo and lever", "tempo or lever"), 1)
    assert "lantern@1 and lantern@2 do not behave the same" in said
    assert "one.wiring) with lantern@2 (" in said


def test_claims_that_only_one_of_the_two_has_are_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    claimed = PINS_OF_ONE.replace("    beat =", "    must dark: beat only when lever\n    beat =")
    said = said_about(tmp_path, capsys, claimed, 0)
    assert "the claims of the two play no part (only lantern@2 has dark)" in said
