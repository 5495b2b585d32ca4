"""The page of a campaign, laid out from hand-made outcomes."""

from __future__ import annotations

from dataclasses import replace

from report.sample_runs import NO_FALSE_EDGE, RUN_FROM_TEMPO, plain_multiplexer, run_of

from verifier.circuit.fault import FaultClass, Technology
from verifier.circuit.single_faults import single_faults
from verifier.claims.claim import Design
from verifier.evidence.fault_outcome import (
    CampaignResult,
    CircuitCampaign,
    FaultOutcome,
    JudgedFault,
    Noticed,
    Standing,
)
from verifier.evidence.telling import Telling
from verifier.evidence.verdict import Verdict
from verifier.report.faults_page import FaultsPage, progress_told
from verifier.report.pieces import plain_text

DESIGN = Design(netlist=plain_multiplexer(), file="beat.wiring", claims=(NO_FALSE_EDGE, RUN_FROM_TEMPO))
FAULTS = single_faults(DESIGN.netlist, Technology.TTL)


def outcome(standing: Standing, **more: object) -> FaultOutcome:
    return FaultOutcome(standing=standing, seconds=0.1, **more)  # type: ignore[arg-type]


def named(name: str) -> FaultClass:
    return next(one for one in FAULTS if any(fault.name == name for fault in one.faults))


STUCK_LOW = JudgedFault(
    named("beat: output stuck low"),
    outcome(
        Standing.UNNOTICED,
        telling=Telling(run=run_of("0000", "0100"), good=run_of("0000", "0101").instants, good_ways=1),
        suggestion="lever and not choose only when beat",
    ),
)
IMPOSSIBLE = JudgedFault(
    named("tempo: input pin stuck low"),
    outcome(Standing.NOTICED, noticed=Noticed(claim="run_from_tempo", verdict=Verdict.IMPOSSIBLE, run=None)),
)
OPEN = JudgedFault(named("tempo touches lever (at beat)"), outcome(Standing.UNDECIDED, reason="no answer within 10 s"))


def page_of(
    *judged: JudgedFault, interrupted: bool = False, resume: str | None = None, everything: bool = False
) -> str:
    campaign = CircuitCampaign(
        design=DESIGN,
        left_out=(("clean", "of the timed view"),),
        faults=tuple(one.fault for one in judged) or FAULTS,
        judged=judged,
    )
    result = CampaignResult(
        path="beat.wiring", technology=Technology.TTL, circuits=(campaign,), interrupted=interrupted
    )
    return plain_text(FaultsPage(width=80, every_table=everything).lines(result, resume=resume))


def test_the_share_and_the_unnoticed_stand_in_the_first_lines() -> None:
    page = page_of(STUCK_LOW, IMPOSSIBLE)
    noticed, unnoticed = len(IMPOSSIBLE.fault.faults), len(STUCK_LOW.fault.faults)
    share = 100 * noticed // (noticed + unnoticed)
    assert page.splitlines()[1] == (
        f"  {noticed} of {noticed + unnoticed} faults noticed ({share} %), {unnoticed} unnoticed"
    )
    assert "  not asked, as of the timed view: clean" in page


def test_the_good_circuit_stands_beside_the_faulty_one_in_the_steps_that_tell() -> None:
    page = page_of(STUCK_LOW)
    assert "       1  flip lever up               0     [1]     0      0       [1]" in page
    assert "no claim notices it, yet at step 1 beat is low and on the good circuit high" in page
    assert "must say_it: lever and not choose only when beat" in page


def test_several_ways_of_the_good_circuit_are_told() -> None:
    telling = STUCK_LOW.outcome.telling
    assert telling is not None
    several = replace(STUCK_LOW.outcome, telling=replace(telling, good_ways=2), suggestion="")
    page = " ".join(page_of(replace(STUCK_LOW, outcome=several)).split())
    assert "it may show other things there too, but never this" in page
    assert "none of the claims that were tried notices it" in page
    assert "power" not in page.partition("none of the claims")[2].partition("These outcomes")[0]


def test_every_table_faults_are_there_when_asked_for() -> None:
    told = "run_from_tempo, shown on the good circuit, is impossible"
    assert told not in page_of(IMPOSSIBLE)
    assert told in page_of(IMPOSSIBLE, everything=True)


def test_an_undecided_fault_says_why() -> None:
    assert "    no answer within 10 s" in page_of(OPEN)


def test_an_interrupted_campaign_says_how_much_is_left_and_how_to_go_on() -> None:
    page = page_of(interrupted=True, resume="outcomes")
    assert "not judged" in page
    assert "goes on" in page
    assert "with --resume PATH it could go on" in " ".join(page_of(interrupted=True).split())


def test_everything_fits_in_eighty_columns_and_a_strange_name_cannot_steer_a_terminal() -> None:
    (fault,) = STUCK_LOW.fault.faults[:1]
    strange = FaultClass((replace(fault, name="beat \x1b[31m" + "x" * 100),))
    page = page_of(replace(STUCK_LOW, fault=strange), OPEN, IMPOSSIBLE, everything=True)
    assert max(map(len, page.splitlines())) <= 80
    assert "\x1b" not in page


def test_the_progress_bar_fills_up() -> None:
    assert progress_told(0, 40, 0) == "[....................] 0 of 40 distinct faults judged, 0 noticed"
    assert progress_told(20, 40, 15) == "[##########..........] 20 of 40 distinct faults judged, 15 noticed"
    assert progress_told(0, 0, 0).startswith("[....................]")
