"""The meaning of formulas against a second formulation: one step at a time, from the values an instant earlier."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verifier.claims.formula import (
    Add,
    AgainAndAgain,
    Always,
    Apply,
    AtTheLast,
    Before,
    Bound,
    Compare,
    Comparison,
    Eventually,
    Formula,
    Join,
    LeadsTo,
    Literal,
    Never,
    NeverGlitches,
    Next,
    Once,
    OnlyWhen,
    Operator,
    Pulses,
    PulsesLast,
    Select,
    Settles,
    Signal,
    Since,
    Slice,
    Step,
    StepWord,
    Subtract,
    Tightest,
    Unit,
    Until,
    WithinTheLast,
)
from verifier.claims.meaning import evaluate, first_breach
from verifier.claims.run import Run, StepEvents

A, B, C = (Signal(name=name, nets=(net,)) for net, name in enumerate("abc"))
COUNT = Signal(name="count", nets=(0, 1, 2), width=3)


def run_of(*rows: str, events: tuple[StepEvents, ...] | None = None) -> Run:
    """Rows are the values of a, b and c at each instant, as in `101`."""
    instants = tuple(tuple(digit == "1" for digit in row) for row in rows)
    return Run(instants, events or tuple(StepEvents() for _ in rows))


def negation(formula: Formula) -> Formula:
    return Apply(operator=Operator.NOT, operands=(formula,), width=formula.width)


def both(left: Formula, right: Formula) -> Formula:
    return Apply(operator=Operator.AND, operands=(left, right))


def either(left: Formula, right: Formula) -> Formula:
    return Apply(operator=Operator.OR, operands=(left, right))


RUNS = st.lists(st.tuples(st.booleans(), st.booleans(), st.booleans()), min_size=1, max_size=12).map(
    lambda instants: Run(tuple(instants), tuple(StepEvents() for _ in instants))
)


def past(formulas: st.SearchStrategy[Formula]) -> st.SearchStrategy[Formula]:
    bound = st.integers(0, 4).map(lambda amount: Bound(amount, Unit.STEPS))
    return st.one_of(
        formulas.map(negation),
        st.builds(both, formulas, formulas),
        st.builds(either, formulas, formulas),
        st.builds(lambda f: Before(operand=f), formulas),
        st.builds(lambda f: Once(operand=f), formulas),
        st.builds(lambda f, g: Since(left=f, right=g), formulas, formulas),
        st.builds(lambda f, g: AtTheLast(operand=f, trigger=g), formulas, formulas),
        st.builds(lambda f, b: WithinTheLast(operand=f, bound=b), formulas, bound),
        st.builds(lambda word, f: Step(word=word, operand=f), st.sampled_from(StepWord), formulas),
    )


FORMULAS = st.recursive(st.sampled_from([A, B, C]), past, max_leaves=6)


def one_step_at_a_time(formula: Formula, run: Run, i: int) -> int:
    """The value at `i` from values at `i` and `i - 1`: the laws that unfold each past word by one instant."""

    def now(part: Formula) -> int:
        return one_step_at_a_time(part, run, i)

    def earlier(part: Formula) -> int:
        return one_step_at_a_time(part, run, i - 1)

    match formula:
        case Signal():
            return int(run.instants[i][formula.nets[0]])
        case Apply(operator=Operator.NOT):
            return 1 - now(formula.operands[0])
        case Apply(operator=Operator.AND):
            return min(now(operand) for operand in formula.operands)
        case Apply(operator=Operator.OR):
            return max(now(operand) for operand in formula.operands)
        case Before():
            return earlier(formula.operand) if i else now(formula.operand)
        case Once():
            return now(formula.operand) or (earlier(formula) if i else 0)
        case Since():
            return now(formula.right) or (min(now(formula.left), earlier(formula)) if i else 0)
        case AtTheLast():
            return now(formula.operand) if now(formula.trigger) else (earlier(formula) if i else 0)
        case WithinTheLast(bound=Bound(amount=int() as amount)):
            shorter = WithinTheLast(operand=formula.operand, bound=Bound(amount - 1, Unit.STEPS))
            return now(formula.operand) or (earlier(shorter) if i and amount else 0)
        case Step():
            new, old = now(formula.operand), earlier(formula.operand) if i else now(formula.operand)
            words = {StepWord.CHANGES: new ^ old, StepWord.STEADY: 1 - (new ^ old)}
            return words.get(formula.word, int((old, new) == ((0, 1) if formula.word is StepWord.RISES else (1, 0))))
        case _:
            raise AssertionError(f"no law for {formula}")


@settings(max_examples=150, deadline=None)
@given(FORMULAS, RUNS)
def test_past_words_unfold_one_instant_at_a_time(formula: Formula, run: Run) -> None:
    assert evaluate(formula, run) == tuple(one_step_at_a_time(formula, run, i) for i in range(len(run)))


@settings(max_examples=60, deadline=None)
@given(FORMULAS, FORMULAS, RUNS)
def test_laws_between_words(f: Formula, g: Formula, run: Run) -> None:
    true = either(A, negation(A))
    assert evaluate(Once(operand=f), run) == evaluate(Since(left=true, right=f), run)
    assert evaluate(Step(word=StepWord.CHANGES, operand=f), run) == evaluate(
        negation(Step(word=StepWord.STEADY, operand=f)), run
    )
    assert evaluate(Step(word=StepWord.FALLS, operand=f), run) == evaluate(
        Step(word=StepWord.RISES, operand=negation(f)), run
    )
    # Duality: that f has not held since g is that f was never, or not since g, without `not g`.
    weak = either(Since(left=negation(g), right=both(negation(f), negation(g))), negation(Once(operand=g)))
    assert evaluate(negation(Since(left=f, right=g)), run) == tuple(
        int(x) for x in evaluate(either(weak, Since(left=negation(g), right=both(negation(f), negation(g)))), run)
    )
    # What f was when g last held: f at that very instant and no g after it.
    assert evaluate(AtTheLast(operand=f, trigger=g), run) == evaluate(Since(left=negation(g), right=both(f, g)), run)


@settings(max_examples=60, deadline=None)
@given(FORMULAS, FORMULAS, RUNS)
def test_laws_of_patterns(f: Formula, g: Formula, run: Run) -> None:
    implied = Apply(operator=Operator.IMPLIES, operands=(f, g))
    assert evaluate(OnlyWhen(left=f, right=g), run) == evaluate(implied, run)
    assert evaluate(Never(operand=f), run) == evaluate(negation(f), run)
    assert evaluate(LeadsTo(left=f, right=g, bound=Bound(0, Unit.STEPS)), run) == evaluate(implied, run)
    # The deadline of a trigger two instants ago passes unmet: f then, and g at none of the last three.
    missed = both(Before(operand=Before(operand=f)), negation(WithinTheLast(operand=g, bound=Bound(2, Unit.STEPS))))
    found = evaluate(LeadsTo(left=f, right=g, bound=Bound(2, Unit.STEPS)), run)
    assert found[2:] == evaluate(negation(missed), run)[2:]
    assert found[:2] == (1, 1)[: len(run)]
    assert first_breach(Always(operand=f), run) == first_breach(f, run)
    zeros = [i for i, value in enumerate(evaluate(f, run)) if not value]
    assert first_breach(f, run) == (zeros[0] if zeros else None)


def every_pair(operator: Operator) -> list[int]:
    run = run_of("000", "010", "100", "110")
    return list(evaluate(Apply(operator=operator, operands=(A, B)), run))


@pytest.mark.parametrize(
    ("operator", "values"),
    [
        (Operator.AND, [0, 0, 0, 1]),
        (Operator.OR, [0, 1, 1, 1]),
        (Operator.XOR, [0, 1, 1, 0]),
        (Operator.NAND, [1, 1, 1, 0]),
        (Operator.NOR, [1, 0, 0, 0]),
        (Operator.XNOR, [1, 0, 0, 1]),
        (Operator.IMPLIES, [1, 1, 0, 1]),
    ],
)
def test_operators_of_two_have_their_truth_tables(operator: Operator, values: list[int]) -> None:
    assert every_pair(operator) == values


def test_operators_of_three_and_on_buses_work_bit_by_bit() -> None:
    run = run_of(*(f"{value:03b}" for value in range(8)))
    majority = Apply(operator=Operator.MAJORITY, operands=(A, B, C))
    assert evaluate(majority, run) == tuple(int(value.bit_count() >= 2) for value in range(8))
    parity = Apply(operator=Operator.XNOR, operands=(A, B, C))
    assert evaluate(parity, run) == tuple(int(value.bit_count() % 2 == 0) for value in range(8))
    inverted = Apply(operator=Operator.XOR, operands=(COUNT, Literal(value=0b101, width=3)), width=3)
    assert evaluate(inverted, run) == tuple(value ^ 0b101 for value in evaluate(COUNT, run))


NUMBERS = tuple(f"{value:03b}"[::-1] for value in range(8))


def test_arithmetic_wraps_and_comparisons_are_unsigned() -> None:
    run = run_of(*NUMBERS)
    three = Literal(value=3, width=3)
    assert evaluate(COUNT, run) == tuple(range(8))
    assert evaluate(Add(left=COUNT, right=three, width=3), run) == tuple((n + 3) % 8 for n in range(8))
    assert evaluate(Subtract(left=COUNT, right=three, width=3), run) == tuple((n - 3) % 8 for n in range(8))
    expected = {
        Comparison.EQUAL: lambda n: n == 3,
        Comparison.DIFFERENT: lambda n: n != 3,
        Comparison.LESS: lambda n: n < 3,
        Comparison.LESS_OR_EQUAL: lambda n: n <= 3,
        Comparison.GREATER: lambda n: n > 3,
        Comparison.GREATER_OR_EQUAL: lambda n: n >= 3,
    }
    for comparison, holds in expected.items():
        found = evaluate(Compare(comparison=comparison, left=COUNT, right=three), run)
        assert found == tuple(int(holds(n)) for n in range(8)), comparison


def test_buses_are_cut_joined_and_chosen() -> None:
    run = run_of(*NUMBERS)
    assert evaluate(Slice(operand=COUNT, high=2, low=1, width=2), run) == tuple(n >> 1 for n in range(8))
    joined = Join(parts=(A, Slice(operand=COUNT, high=2, low=1, width=2)), width=3)
    assert evaluate(joined, run) == tuple((n & 1) << 2 | n >> 1 for n in range(8))
    chosen = Select(condition=C, when_high=Literal(value=7, width=3), when_low=COUNT, width=3)
    assert evaluate(chosen, run) == tuple(7 if n >= 4 else n for n in range(8))
    assert evaluate(negation(COUNT), run) == tuple(7 - n for n in range(8))
    assert evaluate(Step(word=StepWord.CHANGES, operand=COUNT), run) == (0, 1, 1, 1, 1, 1, 1, 1)
    assert evaluate(Before(operand=COUNT, width=3), run) == (0, 0, 1, 2, 3, 4, 5, 6)
    remembered = AtTheLast(operand=COUNT, trigger=A, width=3)
    assert evaluate(remembered, run) == (0, 1, 1, 3, 3, 5, 5, 7)


def test_a_deadline_in_rises_is_the_nth_rise_after_the_trigger() -> None:
    # a triggers at 0 and 5, b is the goal, c is counted: it rises at 2, 4 and 6.
    run = run_of("100", "000", "001", "000", "001", "100", "001", "000")
    rises = LeadsTo(left=A, right=B, bound=Bound(2, Unit.RISES, C))
    assert evaluate(rises, run) == (1, 1, 1, 1, 0, 1, 1, 1)
    once = LeadsTo(left=A, right=B, bound=Bound(1, Unit.RISES, C))
    assert evaluate(once, run) == (1, 1, 0, 1, 1, 1, 0, 1)
    falls = LeadsTo(left=A, right=B, bound=Bound(1, Unit.FALLS, C))
    assert evaluate(falls, run) == (1, 1, 1, 0, 1, 1, 1, 0)


def test_a_goal_at_the_deadline_itself_counts_and_a_rise_at_the_trigger_does_not() -> None:
    run = run_of("000", "101", "000", "011", "000")
    claim = LeadsTo(left=A, right=B, bound=Bound(1, Unit.RISES, C))
    assert evaluate(claim, run) == (1, 1, 1, 1, 1)
    assert first_breach(claim, run) is None
    assert evaluate(LeadsTo(left=A, right=B, bound=Bound(1, Unit.STEPS)), run) == (1, 1, 0, 1, 1)
    assert first_breach(LeadsTo(left=A, right=B, bound=Bound(1, Unit.STEPS)), run) == 2


def test_patterns_about_events_read_the_events() -> None:
    events = (StepEvents(), StepEvents(raced=True), StepEvents(oscillated=True), StepEvents(may_glitch=frozenset({1})))
    run = run_of("000", "000", "000", "000", events=events)
    assert evaluate(Settles(), run) == (1, 0, 0, 1)
    assert evaluate(NeverGlitches(signal=COUNT), run) == (1, 1, 1, 0)
    assert evaluate(NeverGlitches(signal=A), run) == (1, 1, 1, 1)


UNDECIDED = [
    Next(operand=A),
    Eventually(operand=A),
    Until(left=A, right=B),
    AgainAndAgain(operand=A),
    negation(Always(operand=A)),
    LeadsTo(left=A, right=B),
    LeadsTo(left=A, right=B, bound=Bound(10, Unit.NANOSECONDS)),
    LeadsTo(left=A, right=B, bound=Bound(Tightest.ASKED, Unit.STEPS)),
    WithinTheLast(operand=A, bound=Bound(10, Unit.NANOSECONDS)),
    PulsesLast(signal=A, pulses=Pulses.BOTH, at_least=Bound(10, Unit.NANOSECONDS)),
    OnlyWhen(left=A, right=Eventually(operand=B)),
]


@pytest.mark.parametrize("formula", UNDECIDED, ids=lambda formula: type(formula).__name__)
def test_what_a_finite_run_does_not_decide_is_refused(formula: Formula) -> None:
    with pytest.raises(ValueError, match=r"finite run|number asked for"):
        first_breach(formula, run_of("111", "111"))


def test_a_pattern_inside_a_formula_is_refused() -> None:
    for formula in (negation(Never(operand=A)), Always(operand=Settles())):
        with pytest.raises(ValueError, match="outermost"):
            first_breach(formula, run_of("111"))


def test_shared_subformulas_are_worked_out_once_and_deep_ones_need_no_recursion() -> None:
    doubled: Formula = A
    for _ in range(200):
        doubled = both(doubled, doubled)
    assert evaluate(doubled, run_of("100", "000")) == (1, 0)
    deep: Formula = A
    for _ in range(20_001):
        deep = negation(deep)
    assert evaluate(deep, run_of("100", "000")) == (0, 1)
