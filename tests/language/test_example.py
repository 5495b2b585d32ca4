"""The example that the language was made for: four ways of choosing between two pulse sources."""

from __future__ import annotations

from verifier.claims.claim import ClaimKind
from verifier.language import loads

EXAMPLE = """\
contract beat_source
    input  tempo  free running
    input  lever  by hand
    input  choose by hand
    output beat

    must no_false_edge:    beat changes only when tempo changes or lever changes
    must choice_is_silent: never (choose changes and beat changes)
    must tempo_takes_over: choose for good leads to beat == tempo for good
    must lever_takes_over: not choose for good leads to beat == lever for good
    must no_lost_press:    lever rises and (not choose since (tempo changes and not choose)) only when beat rises
    can  run_from_tempo:   beat rises and tempo rises
    can  run_from_lever:   beat rises and lever rises

circuit plain_mux fits beat_source, breaks no_false_edge, choice_is_silent
    beat = if choose then tempo else lever

circuit two_registers fits beat_source, breaks tempo_takes_over, lever_takes_over, no_lost_press
    on_tempo = flipflop(choose and not on_lever) on fall of tempo start 0
    on_lever = flipflop(not choose and not on_tempo) on fall of lever start 1
    beat     = (tempo and on_tempo) or (lever and on_lever)

circuit hold_until_agree fits beat_source
    agree    = xnor(tempo, lever)
    on_tempo = latch(choose) while agree high
    beat     = if on_tempo then tempo else lever

circuit hold_until_agree_in_nands fits beat_source
    agree    = xnor(tempo, lever)
    set_n    = nand(choose, agree)
    reset_n  = nand(set_n, agree)
    on_tempo = nand(set_n, on_lever)
    on_lever = nand(reset_n, on_tempo)
    beat     = nand(nand(tempo, on_tempo), nand(lever, on_lever))
"""


def test_the_whole_example_loads_without_a_finding() -> None:
    file = loads(EXAMPLE, "beat_source.wiring")
    assert file.warnings == ()
    assert [design.name for design in file.designs] == [
        "plain_mux", "two_registers", "hold_until_agree", "hold_until_agree_in_nands",
    ]  # fmt: skip
    counts = [
        (len(netlist.gates), len(netlist.flip_flops), len(netlist.latches))
        for netlist in (design.netlist for design in file.designs)
    ]
    assert counts == [(1, 0, 0), (8, 2, 0), (2, 0, 1), (8, 0, 0)]


def test_each_circuit_has_every_claim_and_its_own_expectations() -> None:
    broken = {}
    for design in loads(EXAMPLE, "beat_source.wiring").designs:
        assert [claim.name for claim in design.claims] == [
            "no_false_edge", "choice_is_silent", "tempo_takes_over", "lever_takes_over", "no_lost_press",
            "run_from_tempo", "run_from_lever", "settles",
        ]  # fmt: skip
        assert [claim.kind for claim in design.claims[4:]] == [
            ClaimKind.MUST, ClaimKind.CAN, ClaimKind.CAN, ClaimKind.ALWAYS_THERE,
        ]  # fmt: skip
        broken[design.name] = {claim.name for claim in design.claims if claim.expected_to_break}
    assert broken == {
        "plain_mux": {"no_false_edge", "choice_is_silent"},
        "two_registers": {"tempo_takes_over", "lever_takes_over", "no_lost_press"},
        "hold_until_agree": set(),
        "hold_until_agree_in_nands": set(),
    }
