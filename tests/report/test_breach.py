"""What the last line below a table says."""

import pytest
from report.sample_runs import (
    BEAT,
    CHOOSE,
    FALSE_EDGE,
    LEVER,
    NO_FALSE_EDGE,
    QUIET,
    RUN_FROM_TEMPO,
    TEMPO,
    both,
    either,
    negated,
    plain_multiplexer,
    run_of,
    signal,
    step,
)

from verifier.claims import formula as tree
from verifier.claims.claim import Claim, ClaimKind
from verifier.claims.formula import Apply, Bound, Comparison, Formula, Operator, StepWord, Unit
from verifier.claims.run import Run, StepEvents
from verifier.report.breach import what_happened

RISES, CHANGES = StepWord.RISES, StepWord.CHANGES


def must(formula: Formula) -> Claim:
    return Claim(name="claim", kind=ClaimKind.MUST, formula=formula, text="as written")


def test_an_only_when_says_what_happened_and_what_did_not() -> None:
    assert (
        what_happened(NO_FALSE_EDGE, FALSE_EDGE, plain_multiplexer())
        == "beat changes, but neither tempo changes nor lever changes"
    )


def test_a_shown_can_says_what_was_shown() -> None:
    assert what_happened(RUN_FROM_TEMPO, run_of("0010", "1011"), plain_multiplexer()) == "beat rises and tempo rises"


@pytest.mark.parametrize(
    ("formula", "said"),
    [
        (tree.Never(operand=both(step(CHOOSE, CHANGES), BEAT)), "choose changes and beat is high, which must never be"),
        (negated(BEAT), "beat is high"),
        (LEVER, "lever is low"),
        (both(BEAT, LEVER, step(TEMPO, RISES)), "lever is low and tempo does not rise"),
        (either(LEVER, negated(CHOOSE)), "neither lever is high nor choose is low"),
        (
            either(LEVER, negated(CHOOSE), negated(BEAT)),
            "none of these is so: lever is high, choose is low, beat is low",
        ),
        (tree.Compare(comparison=Comparison.EQUAL, left=BEAT, right=LEVER), "beat == lever does not hold"),
        (Apply(operator=Operator.IMPLIES, operands=(BEAT, LEVER)), "beat is high, but lever is low"),
        (tree.Once(operand=LEVER), "lever has never been high"),
        (tree.Always(operand=tree.Once(operand=LEVER)), "lever has never been high"),
        (negated(tree.Before(operand=TEMPO)), "tempo was high before"),
        (tree.Before(operand=LEVER), "lever was low before"),
        (tree.Before(operand=negated(TEMPO)), "tempo was high before"),
        (tree.Before(operand=step(LEVER, RISES)), "(lever rises) did not hold before"),
        (either(step(BEAT, StepWord.STEADY), LEVER), "neither beat is steady nor lever is high"),
        (either(both(LEVER, BEAT), negated(CHOOSE)), "neither (lever and beat) holds nor choose is low"),
        (step(both(LEVER, BEAT), RISES), "(lever and beat) does not rise"),
        (negated(either(LEVER, BEAT)), "lever is high or beat is high"),
        (
            tree.Never(operand=negated(either(LEVER, step(BEAT, StepWord.FALLS)))),
            "neither lever is high nor beat falls, which must never be",
        ),
        (tree.Since(left=LEVER, right=BEAT), "(lever since beat) does not hold"),
        (tree.Slice(operand=signal("bells", 1, 2), high=0, low=0), "bells[0] is low"),
    ],
)
def test_each_shape_of_claim_says_which_part_of_it_fails(formula: Formula, said: str) -> None:
    assert what_happened(must(formula), FALSE_EDGE, plain_multiplexer()) == said


def test_an_overdue_answer_is_told_with_the_step_at_which_it_was_asked_for() -> None:
    claim = must(tree.LeadsTo(left=step(LEVER, RISES), right=step(BEAT, RISES), bound=Bound(2, Unit.STEPS)))
    run = run_of("0000", "0100", "0000", "0000")
    assert (
        what_happened(claim, run, plain_multiplexer())
        == "lever rises at step 1, but up to step 3 this has not come: beat rises"
    )


def test_an_answer_overdue_by_edges_is_told_with_the_latest_step_from_which_they_all_passed() -> None:
    answer = tree.LeadsTo(left=LEVER, right=BEAT, bound=Bound(2, Unit.RISES, TEMPO))
    run = run_of("0100", "1000", "0100", "1100", "0100", "1000", "0000", "1000")
    # lever is high at steps 0, 2, 3 and 4; from 3 on tempo rises twice more, from 4 on as well.
    assert (
        what_happened(must(answer), run, plain_multiplexer())
        == "lever is high at step 4, but up to step 7 this has not come: beat"
    )


@pytest.mark.parametrize(
    ("events", "said"),
    [
        (StepEvents(raced=True), "this step is a race: which state it ends in hangs on which part is faster"),
        (StepEvents(raced=True, oscillated=True), "after this step the circuit may never come to rest"),
    ],
)
def test_what_does_not_settle_says_whether_it_races_or_oscillates(events: StepEvents, said: str) -> None:
    run = run_of("0000", "0100", events=[QUIET, events])
    assert what_happened(must(tree.Settles()), run, plain_multiplexer()) == said


def test_a_race_at_power_up_is_told_as_such() -> None:
    run: Run = run_of("0000", events=[StepEvents(raced=True)])
    assert what_happened(must(tree.Settles()), run, plain_multiplexer()).startswith("power-up is a race")


def test_a_glitch_names_the_bits_of_a_bus_that_may_glitch() -> None:
    bus = tree.Signal(name="bells", nets=(1, 2, 3), width=3)
    run = run_of("0000", "1000", events=[QUIET, StepEvents(may_glitch=frozenset({1, 3}))])
    assert what_happened(must(tree.NeverGlitches(signal=bus)), run, plain_multiplexer()).startswith(
        "bells[0] and bells[2] may glitch here"
    )
