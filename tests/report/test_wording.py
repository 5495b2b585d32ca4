"""The text of a formula, piece by piece."""

import pytest
from report.sample_runs import BEAT, CHOOSE, LEVER, TEMPO, both, either, negated, signal, step

from verifier.claims import formula as tree
from verifier.claims.formula import Apply, Bound, Formula, Operator, StepWord, Unit
from verifier.report.wording import worded

DATA = signal("pattern", 0, 1, 2)
CHANGES = step(CHOOSE, StepWord.CHANGES)

CASES: list[tuple[Formula, str]] = [
    (both(TEMPO, either(LEVER, negated(CHOOSE))), "tempo and (lever or not choose)"),
    (either(both(TEMPO, LEVER), CHOOSE), "tempo and lever or choose"),
    (negated(CHANGES), "not choose changes"),
    (step(negated(CHOOSE), StepWord.RISES), "(not choose) rises"),
    (negated(either(TEMPO, LEVER)), "not (tempo or lever)"),
    (tree.Since(left=negated(CHOOSE), right=both(CHANGES, TEMPO)), "not choose since (choose changes and tempo)"),
    (tree.Compare(comparison=tree.Comparison.EQUAL, left=BEAT, right=TEMPO), "beat == tempo"),
    (
        tree.Compare(
            comparison=tree.Comparison.LESS,
            left=DATA,
            right=tree.Add(left=tree.Before(operand=DATA, width=3), right=tree.Literal(value=1, width=3), width=3),
        ),
        "pattern < (before pattern) + 1",
    ),
    (tree.Slice(operand=DATA, high=2, low=1, width=2), "pattern[2..1]"),
    (tree.Slice(operand=DATA, high=0, low=0), "pattern[0]"),
    (tree.Join(parts=(TEMPO, LEVER), width=2), "join(tempo, lever)"),
    (Apply(operator=Operator.NAND, operands=(TEMPO, LEVER)), "nand(tempo, lever)"),
    (Apply(operator=Operator.AND, operands=(TEMPO,)), "and(tempo)"),
    (Apply(operator=Operator.IMPLIES, operands=(TEMPO, LEVER)), "tempo implies lever"),
    (
        both(tree.Select(condition=CHOOSE, when_high=TEMPO, when_low=LEVER), BEAT),
        "(if choose then tempo else lever) and beat",
    ),
    (tree.Once(operand=CHANGES), "once choose changes"),
    (tree.AtTheLast(operand=BEAT, trigger=CHANGES), "beat at the last choose changes"),
    (tree.WithinTheLast(operand=BEAT, bound=Bound(3, Unit.STEPS)), "beat within the last 3 steps"),
    (tree.Always(operand=BEAT), "always beat"),
    (tree.Until(left=BEAT, right=LEVER), "beat until lever"),
    (tree.AgainAndAgain(operand=TEMPO), "tempo again and again"),
    (
        tree.OnlyWhen(left=step(BEAT, StepWord.CHANGES), right=either(TEMPO, LEVER)),
        "beat changes only when tempo or lever",
    ),
    (tree.Never(operand=both(TEMPO, LEVER)), "never (tempo and lever)"),
    (tree.LeadsTo(left=TEMPO, right=LEVER), "tempo leads to lever"),
    (
        tree.LeadsTo(left=TEMPO, right=LEVER, bound=Bound(2, Unit.RISES, BEAT)),
        "tempo leads to lever within 2 rises of beat",
    ),
    (tree.NeverGlitches(signal=BEAT), "beat never glitches"),
    (
        tree.PulsesLast(signal=BEAT, pulses=tree.Pulses.HIGH, at_least=Bound(tree.Tightest.ASKED, Unit.NANOSECONDS)),
        "high pulses of beat last at least ? ns",
    ),
    (tree.Settles(), "settles"),
]


@pytest.mark.parametrize(("formula", "text"), CASES, ids=[text for _, text in CASES])
def test_a_formula_is_worded_with_the_parentheses_that_binding_asks_for(formula: Formula, text: str) -> None:
    assert worded(formula) == text


def test_a_very_deep_formula_is_worded_without_recursion() -> None:
    formula: Formula = TEMPO
    for _ in range(5_000):
        formula = tree.Before(operand=formula)
    assert worded(formula).count("before") == 5_000


def test_a_node_without_words_is_refused() -> None:
    with pytest.raises(TypeError, match="no words for a Node"):
        worded(tree.Node())
