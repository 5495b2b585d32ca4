"""Givens that let no run go on are an error in the timed view too; from them everything would follow."""

from __future__ import annotations

import pytest
from workbench.bell_tower import bell_tower

import verifier
from verifier import SourceError, Verdict
from verifier.engines.endless_time import TimePasses, TimeStops, time_can_pass
from verifier.language import loads
from verifier.views.delayed import DelayedModel

RINGS = "must rings: high pulses of bell last at least 4 ns"

STOP_THE_TIME = [
    "given eager: rope rises within the last 2 ns",
    "given held:  not tempo falls",
    "given quick: tempo falls within the last 6 ns or tempo rises within the last 4 ns",
]
LET_IT_PASS = [
    "given still:   rope steady",
    "given in_step: rope changes only when tempo falls within the last 3 ns",
    "given quick:   tempo falls within the last 6 ns or tempo rises within the last 6 ns or not once tempo changes",
]


def model(given: str) -> DelayedModel:
    return DelayedModel(bell_tower(RINGS, given), timed=True)


@pytest.mark.parametrize("given", STOP_THE_TIME)
def test_givens_under_which_time_cannot_go_on_are_told_with_their_place(given: str) -> None:
    assert time_can_pass(model(given).anything(), limit_seconds=60.0) == TimeStops()
    design = bell_tower(RINGS, given)
    with pytest.raises(SourceError) as caught:
        verifier.check_design(design, limit=60.0)
    (finding,) = caught.value.diagnostics
    assert finding.code == "contradictory-givens"
    assert finding.span.line == 8


@pytest.mark.parametrize("given", LET_IT_PASS)
def test_givens_that_some_endless_run_obeys_are_no_error(given: str) -> None:
    assert time_can_pass(model(given).anything(), limit_seconds=60.0) == TimePasses()
    design = bell_tower(RINGS, given)
    found = {claim.claim.name: claim.verdict for claim in verifier.check_design(design, limit=60.0).claims}
    assert found["rings"] is Verdict.PROVED


def test_a_circuit_that_starts_excited_is_judged_in_time_though_its_settled_view_has_no_start() -> None:
    (design,) = loads(
        """\
circuit started_excited
    input  rope
    output bell
    bell  = and(rope, chime) start 0 takes 1..2 ns
    chime = or(bell, rope_n) start 0 takes 1..2 ns
    rope_n = or(bell_2, rope) takes 1..2 ns
    bell_2 = or(bell_2, rope) start 1 takes 1..2 ns
    must kept in timed view: bell_2
""",
        "started.wiring",
    ).designs
    result = verifier.check_design(design, limit=60.0)
    assert {claim.claim.name: claim.verdict for claim in result.claims} == {"kept": Verdict.PROVED}
    assert any("settled view: nothing was judged" in sentence for sentence in result.assumes)
