"""The table of a run, as lines of plain text at a stated width."""

from hypothesis import given, settings
from hypothesis import strategies as st
from report.sample_runs import FALSE_EDGE, NO_FALSE_EDGE, QUIET, plain_multiplexer, run_of, signal

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind, InputClass, Netlist
from verifier.claims.claim import Claim, ClaimKind
from verifier.claims.formula import Slice
from verifier.claims.run import Run, StepEvents
from verifier.report.pieces import Tone, plain
from verifier.report.signals import shown_signals
from verifier.report.table import run_table


def table(netlist: Netlist, run: Run, claim: Claim | None = None, width: int = 80) -> list[str]:
    return [plain(row) for row in run_table(netlist, run, shown_signals(netlist, claim), width=width)]


def all_kinds_of_inputs() -> Netlist:
    builder = NetlistBuilder("all_kinds", inputs_may_change_together=True)
    builder.input("tempo", InputClass.FREE_RUNNING)
    builder.input("lever", InputClass.BY_HAND)
    builder.input("jumper", InputClass.STRAPPED)
    builder.input("motor")
    builder.input_bus("bell", 3)
    builder.gate("strike", GateKind.AND, ["tempo", "lever"])
    builder.output("strike")
    return builder.build()


def test_a_changed_value_stands_in_brackets_and_the_steps_say_what_to_do() -> None:
    # 80 columns: the width of a pipe and of most terminals
    assert table(plain_multiplexer(), FALSE_EDGE, NO_FALSE_EDGE) == [
        "    step  what to do                 tempo  lever  choose  beat",
        "    ----  -------------------------  -----  -----  ------  ----",
        "       0  power up with tempo high,    1      0      0      0",
        "          lever low, choose low",
        "       1  flip choose up               1      0     [1]    [1]",
    ]


def test_each_class_of_input_has_its_own_words() -> None:
    run = run_of("00000000", "10000000", "10000000", "11000000", "10000000", "00011100", "00001100")
    rows = table(all_kinds_of_inputs(), run)
    deeds = [row[10 : rows[0].index("tempo")].rstrip() for row in rows]
    assert deeds[2 : rows.index("")] == [
        "power up with tempo low,",
        "lever low, jumper low, motor low,",
        "bell 0",
        "tempo rises",
        "wait",
        "flip lever up",
        "flip lever down",
        "tempo falls, set motor high and",
        "set bell to 3",
        "set motor low",
    ]


def test_a_step_that_races_or_oscillates_says_so() -> None:
    run = run_of("0000", "0100", "0000", events=[QUIET, StepEvents(raced=True), StepEvents(oscillated=True)])
    rows = table(plain_multiplexer(), run)
    assert any("flip lever up (a race)" in row for row in rows)
    assert any("flip lever down (may never settle)" in row for row in rows)


def test_a_bus_is_one_number_and_its_bits_have_no_columns_of_their_own() -> None:
    bell = signal("bell", 4, 5, 6)
    claim = Claim(name="c", kind=ClaimKind.CAN, formula=Slice(operand=bell, high=0, low=0), text="bell[0]")
    shown = shown_signals(all_kinds_of_inputs(), claim)
    assert [column.name for column in shown] == ["tempo", "lever", "jumper", "motor", "bell", "strike"]


def test_what_does_not_fit_goes_into_further_blocks_with_the_steps_numbered_again() -> None:
    rows = table(plain_multiplexer(), FALSE_EDGE, width=48)
    assert rows == [
        "    step  what to do      tempo  lever  choose",
        "    ----  --------------  -----  -----  ------",
        "       0  power up with     1      0      0",
        "          tempo high,",
        "          lever low,",
        "          choose low",
        "       1  flip choose up    1      0     [1]",
        "",
        "    step  beat",
        "    ----  ----",
        "       0   0",
        "       1  [1]",
    ]


def test_a_long_run_shows_every_row() -> None:
    run = run_of(*(["0000", "1000"] * 60))
    rows = table(plain_multiplexer(), run)
    assert [row.split()[0] for row in rows if "tempo rises" in row or "tempo falls" in row] == [
        str(i) for i in range(1, 120)
    ]


def test_brackets_reach_the_writer_as_text_with_the_tone_of_a_change() -> None:
    pieces = [
        piece for row in run_table(plain_multiplexer(), FALSE_EDGE, shown_signals(plain_multiplexer())) for piece in row
    ]
    assert [piece.text.strip() for piece in pieces if piece.tone is Tone.CHANGED] == ["[1]", "[1]"]


def test_a_name_longer_than_the_page_keeps_its_ends() -> None:
    builder = NetlistBuilder("long")
    builder.input("x" * 90 + "_first")
    name = builder.build().inputs[0].name
    rows = table(builder.build(), run_of("0", "1"))
    assert max(map(len, rows)) <= 80
    assert any("_first" in row and ".." in row for row in rows)
    assert any(name[:20] in row for row in rows)


@st.composite
def wide_runs(draw: st.DrawFn) -> tuple[Netlist, Run]:
    builder = NetlistBuilder("wide")
    widths = draw(st.lists(st.integers(1, 9), min_size=1, max_size=8))
    for index, width in enumerate(widths):
        name = f"bell_{index}_" + "x" * draw(st.integers(0, 20))
        if width == 1:
            builder.input(name)
        else:
            builder.input_bus(name, width)
    netlist = builder.build()
    instant = st.tuples(*[st.booleans() for _ in netlist.nets])
    instants = draw(st.lists(instant, min_size=1, max_size=8))
    return netlist, Run(tuple(instants), (QUIET,) * len(instants))


@settings(max_examples=60)
@given(wide_runs(), st.integers(60, 100))
def test_no_row_is_wider_than_the_page_and_every_value_is_there(case: tuple[Netlist, Run], width: int) -> None:
    netlist, run = case
    rows = table(netlist, run, width=width)
    assert max(map(len, rows)) <= width
    printed = sum(row.count("[") for row in rows)
    pins = shown_signals(netlist)
    changes = sum(
        pin.value(before) != pin.value(after)
        for pin in pins
        for before, after in zip(run.instants, run.instants[1:], strict=False)
    )
    assert printed == changes


def test_the_loop_of_an_endless_run_is_marked_in_plain_text() -> None:
    run = Run(run_of("0000", "1000", "0010", "1011", "0010").instants, (QUIET,) * 5, loop_from=3)
    rows = [" ".join(row.split()) for row in table(plain_multiplexer(), run)]
    assert rows[-5:] == [
        "1 tempo rises [1] 0 0 0",
        "2 tempo falls and flip choose up [0] 0 [1] 0",
        "| 3 tempo rises [1] 0 1 [1]",
        "| 4 tempo falls [0] 0 1 [0]",
        "'-> then steps 3 to 4 again, for ever",
    ]
    assert table(plain_multiplexer(), run)[-3].startswith("  |    3  tempo rises ")


def test_a_way_back_that_differs_from_the_way_in_is_told() -> None:
    run = Run(run_of("0000", "0010", "1011").instants, (QUIET,) * 3, loop_from=1)
    assert table(plain_multiplexer(), run)[-3:] == [
        "  |    1  flip choose up              0      0     [1]     0",
        "  |    2  tempo rises                [1]     0      1     [1]",
        "  '-> then tempo falls: that is step 1 again; so on for ever",
    ]


def test_every_block_of_columns_marks_the_loop() -> None:
    run = Run(run_of("0000", "0010", "1010", "0010").instants, (QUIET,) * 4, loop_from=2)
    rows = table(plain_multiplexer(), run, width=40)
    blocks = rows.count("") + 1
    assert blocks > 1
    assert rows.count("  '-> then steps 2 to 3 again, for ever") == blocks
    assert [row[:10] for row in rows if row.startswith("  |")] == ["  |    2  ", "  |    3  "] * blocks
