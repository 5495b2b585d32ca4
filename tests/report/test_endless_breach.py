"""What the last line below the table of an endless run says."""

import pytest
from report.sample_runs import BEAT, CHOOSE, LEVER, TEMPO, both, either, negated, plain_multiplexer, run_of, step

from verifier.claims import formula as tree
from verifier.claims.claim import Claim, ClaimKind
from verifier.claims.formula import Apply, Bound, Compare, Comparison, Formula, Operator, StepWord, Unit
from verifier.claims.run import Run
from verifier.report.breach import what_happened

RISES = StepWord.RISES
SAME = Compare(comparison=Comparison.EQUAL, left=BEAT, right=TEMPO)
ROWS = ("0000", "0010", "1010", "0011")
"""tempo, lever, choose, beat: choose goes up at step 1, beat follows tempo one step late from then on."""
RUN = Run(run_of(*ROWS).instants, run_of(*ROWS).events, loop_from=2)


def must(formula: Formula) -> Claim:
    return Claim(name="claim", kind=ClaimKind.MUST, formula=formula, text="as written")


def for_good(formula: Formula) -> Formula:
    return tree.Always(operand=formula)


@pytest.mark.parametrize(
    ("formula", "said"),
    [
        (
            tree.LeadsTo(left=for_good(CHOOSE), right=for_good(SAME)),
            "choose stays high for ever from step 1 on, but beat == tempo does not hold for good: "
            "it fails at step 2, in the loop",
        ),
        (
            tree.LeadsTo(left=for_good(negated(LEVER)), right=for_good(SAME)),
            "lever stays low for ever from step 0 on, but beat == tempo does not hold for good: "
            "it fails at step 2, in the loop",
        ),
        (
            tree.LeadsTo(left=step(CHOOSE, RISES), right=LEVER),
            "choose rises at step 1, but from step 1 on this never comes: lever",
        ),
        (
            tree.LeadsTo(left=step(BEAT, RISES), right=LEVER, bound=Bound(2, Unit.STEPS)),
            "beat rises at step 3, but in time this has not come: lever",
        ),
        (tree.AgainAndAgain(operand=LEVER), "this does not come again and again: lever; it never comes in the loop"),
        (
            for_good(negated(step(CHOOSE, RISES))),
            "(not choose rises) does not hold for good: it fails at step 1",
        ),
        (
            tree.Until(left=negated(BEAT), right=LEVER),
            "(not beat) fails at step 3, in the loop, and this has not come by then: lever",
        ),
        (tree.Until(left=negated(LEVER), right=LEVER), "from step 0 on this never comes: lever"),
        (tree.Eventually(operand=LEVER), "from step 0 on this never comes: lever"),
        (tree.Next(operand=tree.Next(operand=LEVER)), "lever is low at step 2"),
        (for_good(either(negated(CHOOSE), tree.Next(operand=CHOOSE))), None),
        (
            Apply(operator=Operator.IMPLIES, operands=(CHOOSE, tree.Eventually(operand=LEVER))),
            "choose is high at step 1, but from step 1 on this never comes: lever",
        ),
        (
            both(CHOOSE, tree.Eventually(operand=LEVER)),
            "choose is low at step 0 and from step 0 on this never comes: lever",
        ),
        (negated(tree.AgainAndAgain(operand=BEAT)), "this comes again and again: beat"),
        (tree.OnlyWhen(left=BEAT, right=LEVER), "beat is high at step 3, but lever is low at step 3"),
        (tree.Never(operand=both(BEAT, CHOOSE)), "beat is high and choose is high at step 3, which must never be"),
        (
            Apply(operator=Operator.XOR, operands=(tree.Eventually(operand=BEAT), CHOOSE, CHOOSE, TEMPO)),
            "at step 2 this does not hold: eventually beat xor choose xor choose xor tempo",
        ),
    ],
)
def test_each_shape_of_claim_says_which_part_of_it_fails_and_where(formula: Formula, said: str | None) -> None:
    if said is None:
        with pytest.raises(ValueError, match="does not break"):
            what_happened(must(formula), RUN, plain_multiplexer())
    else:
        assert what_happened(must(formula), RUN, plain_multiplexer()) == said


@pytest.mark.parametrize(
    ("formula", "said"),
    [
        (for_good(CHOOSE), "choose stays high for ever from step 1 on"),
        (for_good(either(CHOOSE, LEVER)), "from step 1 on this holds for ever: choose or lever"),
        (tree.Eventually(operand=BEAT), "beat is high at step 3"),
        (tree.AgainAndAgain(operand=BEAT), "this comes again and again: beat"),
        (both(TEMPO, tree.Next(operand=BEAT)), "tempo is high at step 2 and beat is high at step 3"),
        (both(BEAT, tree.Next(operand=TEMPO)), "beat is high at step 3 and tempo is high at step 2 of a later round"),
    ],
)
def test_a_shown_can_says_where_it_is_so(formula: Formula, said: str) -> None:
    claim = Claim(name="claim", kind=ClaimKind.CAN, formula=formula, text="as written")
    assert what_happened(claim, RUN, plain_multiplexer()) == said
