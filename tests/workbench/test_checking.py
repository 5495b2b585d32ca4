"""Verdicts of whole designs: right ones with evidence, and none without a second opinion."""

from __future__ import annotations

from dataclasses import replace

import pytest
from report.sample_runs import (
    BEAT,
    CHOOSE,
    FALSE_EDGE,
    LEVER,
    NO_FALSE_EDGE,
    RUN_FROM_TEMPO,
    SETTLES,
    TEMPO,
    both,
    either,
    multiplexer_design,
    negated,
    step,
)

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind
from verifier.claims import formula as tree
from verifier.claims.claim import Claim, ClaimKind, Design, Given, View, WiringFile
from verifier.claims.formula import Formula, StepWord
from verifier.errors import CallError, InternalDisagreement, SourceError, Span
from verifier.evidence.replay import Unconfirmed
from verifier.evidence.simulator import STATES_OF_ONE_STEP, SimulationLimit
from verifier.evidence.verdict import ClaimResult, DesignResult, Verdict
from verifier.logic.transition_system import Invariant
from verifier.workbench import judge as judging
from verifier.workbench.checking import check, check_design
from verifier.workbench.selection import selected

HERE = Span("bells.wiring", 7, 5, 7, 9)
TOO_LATE = replace(
    SETTLES, name="too_late", kind=ClaimKind.MUST, formula=tree.Eventually(operand=BEAT), view=View.TIMED, span=HERE
)


def must(name: str, formula: Formula) -> Claim:
    return Claim(name=name, kind=ClaimKind.MUST, formula=formula, text=name)


def can(name: str, formula: Formula) -> Claim:
    return Claim(name=name, kind=ClaimKind.CAN, formula=formula, text=name)


def given(name: str, formula: Formula, line: int) -> Given:
    return Given(name=name, formula=formula, text=name, span=Span("bells.wiring", line, 5, line, 9))


def by_name(result: DesignResult) -> dict[str, ClaimResult]:
    return {claim.claim.name: claim for claim in result.claims}


FOLLOWS_TEMPO = must("follows_tempo", tree.OnlyWhen(left=both(CHOOSE, BEAT), right=TEMPO))
CONJURED = can("conjured", both(BEAT, negated(TEMPO), negated(LEVER)))


def test_every_kind_of_verdict_comes_with_its_evidence() -> None:
    result = check_design(multiplexer_design(NO_FALSE_EDGE, FOLLOWS_TEMPO, RUN_FROM_TEMPO, CONJURED, SETTLES))
    verdicts = {name: claim.verdict for name, claim in by_name(result).items()}
    assert verdicts == {
        "no_false_edge": Verdict.BROKEN,
        "follows_tempo": Verdict.PROVED,
        "run_from_tempo": Verdict.SHOWN,
        "conjured": Verdict.IMPOSSIBLE,
        "settles": Verdict.PROVED,
    }
    for claim in result.claims:
        has_run = claim.verdict in (Verdict.BROKEN, Verdict.SHOWN)
        assert (claim.run is not None) == has_run
        assert (claim.invariant is not None) == (not has_run)
    broken = by_name(result)["no_false_edge"]
    assert broken.run is not None
    assert len(broken.run) == len(FALSE_EDGE)
    assert broken.as_expected


def test_a_proof_whose_trigger_can_never_happen_is_empty() -> None:
    never_triggered = must("never_triggered", tree.OnlyWhen(left=both(CONJURED.formula, CHOOSE), right=LEVER))
    result = check_design(multiplexer_design(never_triggered, FOLLOWS_TEMPO))
    assert {name: (claim.verdict, claim.empty) for name, claim in by_name(result).items()} == {
        "never_triggered": (Verdict.PROVED, True),
        "follows_tempo": (Verdict.PROVED, False),
    }


def test_givens_restrict_what_is_judged() -> None:
    calm = given("calm", step(CHOOSE, StepWord.STEADY), 3)
    design = replace(multiplexer_design(NO_FALSE_EDGE), givens=(calm,))
    assert [claim.verdict for claim in check_design(design).claims] == [Verdict.PROVED]


def test_givens_that_contradict_each_other_are_an_error_at_the_last_of_them() -> None:
    low, high = given("low", negated(LEVER), 3), given("high", LEVER, 4)
    design = replace(multiplexer_design(), givens=(low, high))
    with pytest.raises(SourceError) as caught:
        check_design(design)
    (finding,) = caught.value.diagnostics
    assert finding.code == "contradictory-givens"
    assert finding.span == high.span
    assert "low and high" in finding.message


def test_a_given_that_no_run_obeys_is_named_alone() -> None:
    fine = given("fine", either(LEVER, negated(LEVER)), 3)
    absurd = given("absurd", both(LEVER, negated(LEVER)), 4)
    with pytest.raises(SourceError) as caught:
        check_design(replace(multiplexer_design(), givens=(absurd, fine)))
    (finding,) = caught.value.diagnostics
    assert finding.span == absurd.span
    assert "fine" not in finding.message


def test_a_circuit_that_cannot_power_up_is_an_error_at_the_circuit() -> None:
    builder = NetlistBuilder("stuck")
    builder.gate("first", GateKind.NOT, ["second"], start=True)
    builder.gate("second", GateKind.NOT, ["first"], start=True)
    builder.output("first")
    design = Design(netlist=builder.build(), file="stuck.wiring", claims=(SETTLES,), span=HERE)
    with pytest.raises(SourceError) as caught:
        check_design(design)
    (finding,) = caught.value.diagnostics
    assert (finding.code, finding.span) == ("no-power-up", HERE)


def test_a_claim_without_an_engine_refuses_the_whole_call_unless_others_are_selected() -> None:
    design = multiplexer_design(NO_FALSE_EDGE, TOO_LATE)
    with pytest.raises(SourceError, match=r"too_late uses `eventually in a delay view`.*NOT judged") as caught:
        check_design(design)
    assert [finding.span for finding in caught.value.diagnostics] == [HERE]
    assert [c.claim.name for c in check_design(design, claims=["no_false_edge"]).claims] == ["no_false_edge"]


def test_the_same_finding_about_a_shared_contract_is_told_once() -> None:
    one = multiplexer_design(TOO_LATE)
    other = replace(one, netlist=replace(one.netlist, name="other"))
    with pytest.raises(SourceError) as caught:
        check(WiringFile("bells.wiring", (one, other)))
    assert len(caught.value.diagnostics) == 1


def test_no_verdict_is_given_when_the_replay_disagrees(monkeypatch: pytest.MonkeyPatch) -> None:
    def disagrees(*_: object) -> None:
        raise InternalDisagreement("no step leads here")

    monkeypatch.setattr(judging, "replay", disagrees)
    with pytest.raises(InternalDisagreement, match="circuit plain_mux, claim no_false_edge: no step leads here"):
        check_design(multiplexer_design(NO_FALSE_EDGE))


def test_a_replay_that_could_not_be_finished_leaves_the_claim_undecided(monkeypatch: pytest.MonkeyPatch) -> None:
    def gives_up(*_: object) -> None:
        raise Unconfirmed("too much to look at")

    monkeypatch.setattr(judging, "replay", gives_up)
    (result,) = check_design(multiplexer_design(NO_FALSE_EDGE)).claims
    assert (result.verdict, result.run) == (Verdict.UNDECIDED, None)
    assert "too much to look at" in result.reason


def test_no_proof_is_given_when_the_fresh_solver_disagrees(monkeypatch: pytest.MonkeyPatch) -> None:
    real = judging.recheck

    def with_a_clause_too_many(system: judging.TransitionSystem, invariant: Invariant, limit: float) -> None:
        real(system, Invariant((*invariant.clauses, (system.registers[0].variable,))), limit)

    monkeypatch.setattr(judging, "recheck", with_a_clause_too_many)
    with pytest.raises(InternalDisagreement, match="check `start`"):
        check_design(multiplexer_design(FOLLOWS_TEMPO))


def test_a_limit_that_is_too_short_leaves_claims_undecided_with_a_reason() -> None:
    result = check_design(multiplexer_design(), limit=1e-9)
    for claim in result.claims:
        assert claim.verdict is Verdict.UNDECIDED or claim.run is not None or claim.invariant is not None
        if claim.verdict is Verdict.UNDECIDED:
            assert claim.reason


def test_each_claim_is_announced_and_its_verdict_told_in_order() -> None:
    heard: list[str] = []
    check_design(
        multiplexer_design(),
        on_start=lambda design, claim: heard.append(f"{design.name} starts {claim.name}"),
        on_result=lambda design, result: heard.append(f"{design.name} {result.claim.name} {result.verdict.value}"),
    )
    assert heard == [
        "plain_mux starts no_false_edge",
        "plain_mux no_false_edge broken",
        "plain_mux starts run_from_tempo",
        "plain_mux run_from_tempo shown",
        "plain_mux starts settles",
        "plain_mux settles proved",
    ]


def test_an_interrupt_keeps_what_was_decided_and_judges_no_further_circuit() -> None:
    def interrupt(_: Design, claim: Claim) -> None:
        if claim is RUN_FROM_TEMPO:
            raise KeyboardInterrupt

    one = multiplexer_design()
    other = replace(one, netlist=replace(one.netlist, name="other"))
    result = check(WiringFile("bells.wiring", (one, other)), on_start=interrupt)
    (only,) = result.designs
    assert only.interrupted
    assert [claim.claim.name for claim in only.claims] == ["no_false_edge"]


def test_circuits_and_claims_are_selected_by_name_and_a_circuit_without_the_claim_is_left_out() -> None:
    one = multiplexer_design(NO_FALSE_EDGE, SETTLES)
    other = replace(multiplexer_design(SETTLES), netlist=replace(one.netlist, name="other"))
    wiring_file = WiringFile("bells.wiring", (one, other))
    assert [d.design.name for d in check(wiring_file, claim="no_false_edge").designs] == ["plain_mux"]
    assert [d.design.name for d in check(wiring_file, "other").designs] == ["other"]
    assert [len(d.claims) for d in check(wiring_file, claim=["no_false_edge", "settles"]).designs] == [2, 1]


@pytest.mark.parametrize(
    ("selection", "message", "hint"),
    [
        ({"circuit": "plain_mix"}, "there is no circuit named plain_mix in bells.wiring", "did you mean plain_mux?"),
        ({"claim": "setles"}, "there is no claim named setles in bells.wiring", "did you mean settles?"),
        (
            {"view": View.TIMED},
            "nothing in bells.wiring can be judged in the timed view",
            "settles is not asked there, and no other claim is selected",
        ),
        (
            {"view": View.TIMED, "claim": "settles"},
            "nothing in bells.wiring can be judged in the timed view",
            "settles is not asked there, and no other claim is selected",
        ),
    ],
)
def test_a_selection_that_fits_nothing_is_refused(selection: dict[str, object], message: str, hint: str) -> None:
    with pytest.raises(CallError) as caught:
        check(WiringFile("bells.wiring", (multiplexer_design(SETTLES),)), **selection)  # type: ignore[arg-type]
    assert (str(caught.value), caught.value.hint) == (message, hint)


def test_a_claim_that_names_another_view_is_not_judged_in_the_one_asked_for() -> None:
    slow = replace(NO_FALSE_EDGE, name="slow", view=View.ANY_DELAY)
    wiring_file = WiringFile("bells.wiring", (multiplexer_design(NO_FALSE_EDGE, slow, SETTLES),))
    (judged,) = selected(wiring_file, view=View.ANY_DELAY)
    assert [(claim.name, claim.view) for claim in judged.claims] == [
        ("no_false_edge", View.ANY_DELAY),
        ("slow", View.ANY_DELAY),
        ("settles", View.ANY_DELAY),
    ]
    (judged,) = selected(wiring_file, view=View.SETTLED)
    assert [claim.name for claim in judged.claims] == ["no_false_edge", "settles"]
    with pytest.raises(CallError, match=r"can be judged in the timed view") as caught:
        selected(wiring_file, claim="slow", view=View.TIMED)
    assert caught.value.hint == "slow is about the any delay view"


def test_a_file_without_a_circuit_is_refused() -> None:
    with pytest.raises(CallError, match="describes no circuit"):
        check(WiringFile("empty.wiring", ()))


def test_a_design_with_nothing_permitted_refuses_the_call_before_any_verdict() -> None:
    absurd = given("absurd", both(LEVER, negated(LEVER)), 4)
    fine, refused = multiplexer_design(), replace(multiplexer_design(), givens=(absurd,))
    heard: list[str] = []
    with pytest.raises(SourceError):
        check(
            WiringFile("bells.wiring", (fine, refused)),
            on_result=lambda design, result: heard.append(result.claim.name),
        )
    assert heard == []


def test_where_somebody_wants_to_be_told_a_refused_circuit_does_not_stop_the_others() -> None:
    absurd = given("absurd", both(LEVER, negated(LEVER)), 4)
    fine = multiplexer_design()
    refused = replace(fine, netlist=replace(fine.netlist, name="refused"), givens=(absurd,))
    last = replace(fine, netlist=replace(fine.netlist, name="last"))
    told: list[tuple[str, str]] = []
    result = check(
        WiringFile("bells.wiring", (fine, refused, last)),
        on_refused=lambda design, error: told.append((design.name, error.diagnostics[0].code)),
    )
    assert told == [("refused", "contradictory-givens")]
    assert [design.design.name for design in result.designs] == ["plain_mux", "last"]
    verdicts = [[claim.verdict for claim in design.claims] for design in result.designs]
    assert verdicts == [[Verdict.BROKEN, Verdict.SHOWN, Verdict.PROVED]] * 2


def test_a_run_with_too_many_ways_is_undecided_and_names_loop_and_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    def gives_up(*_: object) -> None:
        raise Unconfirmed("internal words") from SimulationLimit("more internal words")

    monkeypatch.setattr(judging, "replay", gives_up)
    builder = NetlistBuilder("ring_of_five")
    builder.input("enable")
    builder.gate("a1", GateKind.NAND, ["enable", "a5"])
    for number in range(2, 6):
        builder.gate(f"a{number}", GateKind.NOT, [f"a{number - 1}"])
    builder.output("a5")
    design = Design(netlist=builder.build(), file="ring.wiring", claims=(SETTLES,))
    (result,) = check_design(design).claims
    assert result.verdict is Verdict.UNDECIDED
    assert result.reason == (
        "a run was found, but could not be confirmed: one step can go in more ways than are tried"
        f" ({STATES_OF_ONE_STEP} states); the largest loop has 5 members: a5, a1, a2 and 2 more"
    )


def test_a_transition_system_that_cannot_power_up_where_the_simulator_can_is_a_disagreement(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(judging, "permitted_forever", lambda *_: judging.Contradictory(0))
    with pytest.raises(InternalDisagreement, match="the simulator powers up, the transition system does not"):
        check_design(multiplexer_design())


def test_what_could_not_be_established_beforehand_is_among_the_assumptions(monkeypatch: pytest.MonkeyPatch) -> None:
    def open_question(*_: object) -> judging.Undecided:
        return judging.Undecided(reason="the time ran out", searched_to=3, engine="none")

    monkeypatch.setattr(judging, "permitted_forever", open_question)
    assumes = check_design(multiplexer_design(SETTLES)).assumes
    assert "not established: that any endless run is permitted (the time ran out)" in assumes


def test_a_claim_name_that_the_design_does_not_have_is_refused() -> None:
    with pytest.raises(CallError, match="there is no claim named nothing"):
        check_design(multiplexer_design(), claims=["nothing"])
