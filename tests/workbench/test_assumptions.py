"""What a verdict is said to rest on."""

from report.sample_runs import SETTLES, TEMPO, multiplexer_design

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import InputClass
from verifier.claims.claim import Design, Given
from verifier.workbench.assumptions import SETTLED, assumptions


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
