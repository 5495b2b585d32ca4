"""What a verdict is said to rest on."""

from dataclasses import replace

import pytest
from report.sample_runs import SETTLES, TEMPO, multiplexer_design

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind, InputClass
from verifier.claims.claim import Design, Given, View
from verifier.language import loads
from verifier.workbench.assumptions import ANY_DELAY, LONG_AGO, NO_VOLTAGES, NOT_BETWEEN, SETTLED, TIMED, assumptions


def design_with(builder: NetlistBuilder) -> Design:
    return Design(netlist=builder.build(), file="bells.wiring", claims=(SETTLES,))


def test_inputs_are_told_by_class_and_the_rule_for_changing_them_follows() -> None:
    assert assumptions(multiplexer_design()) == (
        "tempo: free running (may change at any step, and keeps changing for ever)",
        "lever and choose: by hand (changes alone, and only when the circuit is quiet)",
        "at most one input changes in a step",
        SETTLED,
    )


def test_inputs_that_may_change_together_are_told_so() -> None:
    builder = NetlistBuilder("bells", inputs_may_change_together=True)
    builder.input("jumper", InputClass.STRAPPED)
    builder.input("key")
    told = assumptions(design_with(builder))
    assert told[:3] == (
        "jumper: strapped (either level, but never changes)",
        "key: free (may change at any step)",
        "inputs may change together, at the same instant (those by hand never do)",
    )


def test_a_bus_is_told_to_be_one_input() -> None:
    builder = NetlistBuilder("bells")
    builder.input_bus("pattern", 4)
    assert "at most one input changes in a step; the bits of a bus are one input" in assumptions(design_with(builder))


def test_each_given_is_told_as_it_is_written() -> None:
    design = multiplexer_design()
    given = Given(name="always_on", formula=TEMPO, text="tempo")
    with_given = Design(netlist=design.netlist, file=design.file, claims=design.claims, givens=(given,))
    assert "given always_on: tempo" in assumptions(with_given)


def test_what_may_power_up_either_way_is_named_and_a_long_list_is_cut_with_its_count() -> None:
    builder = NetlistBuilder("bells")
    builder.input("key")
    for index in range(10):
        builder.flip_flop(f"held_{index}", data="key", clock="key", start=None if index else False)
    told = assumptions(design_with(builder))[-1]
    assert told.startswith("power-up: every stable state is possible, whatever the first values of held_1, held_2")
    assert "held_0" not in told
    assert told.endswith("held_7 and 2 more")


def test_a_circuit_without_inputs_or_memory_rests_on_the_view_alone() -> None:
    assert assumptions(design_with(NetlistBuilder("nothing"))) == (SETTLED,)


SOURCES = """
circuit nand_mux
    input  tempo  free running high 40..60 ns, low 50 ns
    input  pulse  free running high 40..60 ns, low 50 ns
    input  lever  by hand
    input  choose by hand apart 200 ns
    input  muted  strapped
    input  crank
    output beat
    given slow:   choose changes only when not (lever changes within the last 20 ns)
    given few:    never (crank changes within the last 2 steps)
    given plain:  never (crank and lever)
    given turns:  crank again and again
    beat = majority(tempo, pulse, lever, choose, muted, crank, crank) takes 2..5 ns
    must one:                   never (beat and muted)
    must two in any delay view: never (beat and muted)
    must three in timed view:   never (beat and muted)
"""


def judged_in(*views: View) -> tuple[str, ...]:
    (design,) = loads(SOURCES, "bells.wiring").designs
    return assumptions(replace(design, claims=tuple(claim for claim in design.claims if claim.view in views)))


def test_the_timed_view_is_told_with_the_ranges_and_pauses_of_its_inputs() -> None:
    assert judged_in(View.TIMED) == (
        "tempo and pulse: free running (high 40..60 ns, low 50 ns; how far into that at first is open)",
        "lever: by hand (changes alone, and only when the circuit is quiet)",
        "choose: by hand (changes 200 ns or more after the last change by hand, quiet or not)",
        "muted: strapped (either level, but never changes)",
        "crank: free (may change at any time)",
        "at most one input changes in a move",
        "given slow: choose changes only when not (lever changes within the last 20 ns)",
        "given few: never (crank changes within the last 2 steps); does not restrict the timed verdicts",
        "given plain: never (crank and lever)",
        "given turns: crank again and again; does not restrict the timed verdicts",
        TIMED,
        NO_VOLTAGES,
        LONG_AGO,
        f"timed view: three: {NOT_BETWEEN}",
    )


def test_where_views_are_mixed_what_is_different_in_time_is_told_besides() -> None:
    told = judged_in(*View)
    assert told[:9] == (
        "tempo and pulse: free running (may change at any step, and keeps changing for ever)",
        "lever and choose: by hand (changes alone, and only when the circuit is quiet)",
        "muted: strapped (either level, but never changes)",
        "crank: free (may change at any step)",
        "at most one input changes in a step",
        "timed view: tempo and pulse: free running (high 40..60 ns, low 50 ns; how far into that at first is open)",
        "timed view: choose: by hand (changes 200 ns or more after the last change by hand, quiet or not)",
        "timed view: crank: free (may change at any time)",
        "given slow: choose changes only when not (lever changes within the last 20 ns); "
        "does not restrict the settled and any delay verdicts",
    )
    assert told[-6:-1] == (SETTLED, ANY_DELAY, TIMED, NO_VOLTAGES, LONG_AGO)
    assert told[-1].endswith(NOT_BETWEEN)


@pytest.mark.parametrize(
    ("views", "told"),
    [
        ((View.SETTLED,), {SETTLED}),
        ((View.ANY_DELAY,), {ANY_DELAY}),
        ((View.SETTLED, View.ANY_DELAY), {SETTLED, ANY_DELAY}),
        ((View.ANY_DELAY, View.TIMED), {ANY_DELAY, TIMED, NO_VOLTAGES, LONG_AGO}),
    ],
)
def test_only_views_in_which_something_is_judged_are_spoken_of(views: tuple[View, ...], told: set[str]) -> None:
    assert {SETTLED, ANY_DELAY, TIMED, NO_VOLTAGES, LONG_AGO}.intersection(judged_in(*views)) == told


def test_a_loop_whose_starts_are_all_given_starts_there_in_the_delay_views_alone() -> None:
    builder = NetlistBuilder("bells")
    builder.input("key")
    builder.gate("struck", GateKind.NAND, ["key", "echo"], start=True)
    builder.gate("echo", GateKind.NAND, ["key", "struck"], start=True)
    design = design_with(builder)
    sentence = "power-up in the delay views: from the given start of echo and struck, at rest or not"
    delayed = replace(design, claims=(replace(SETTLES, view=View.ANY_DELAY),))
    assert assumptions(delayed)[-1] == sentence
    assert sentence not in assumptions(design)
