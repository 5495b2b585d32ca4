"""The meaning of formulas on endless runs: laws of temporal logic with past, and a second reading written apart."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verifier.claims.formula import (
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
    Settles,
    Signal,
    Since,
    Step,
    StepWord,
    Tightest,
    Unit,
    Until,
    WithinTheLast,
    walk,
)
from verifier.claims.lasso_meaning import EndlessValues, evaluate_lasso, first_failure, holds_on, shown_on, unroll
from verifier.claims.meaning import first_breach
from verifier.claims.run import Run, StepEvents

A, B, C = (Signal(name=name, nets=(net,)) for net, name in enumerate("abc"))
COUNT = Signal(name="count", nets=(0, 1, 2), width=3)
QUIET = StepEvents()


def lasso(prefix: str, loop: str) -> Run:
    """Instants separated by blanks; each gives the values of a, b and c, as in `101`, or fewer of them."""
    rows = [*prefix.split(), *loop.split()]
    instants = tuple(tuple(digit == "1" for digit in row.ljust(3, "0")) for row in rows)
    return Run(instants, (QUIET,) * len(rows), loop_from=len(prefix.split()))


def inverse(formula: Formula) -> Formula:
    return Apply(operator=Operator.NOT, operands=(formula,))


def both(left: Formula, right: Formula) -> Formula:
    return Apply(operator=Operator.AND, operands=(left, right))


def either(left: Formula, right: Formula) -> Formula:
    return Apply(operator=Operator.OR, operands=(left, right))


def implies(left: Formula, right: Formula) -> Formula:
    return Apply(operator=Operator.IMPLIES, operands=(left, right))


def following(formula: Formula) -> Formula:
    return Next(operand=formula)


def always(formula: Formula) -> Formula:
    return Always(operand=formula)


def eventually(formula: Formula) -> Formula:
    return Eventually(operand=formula)


def until(left: Formula, right: Formula) -> Formula:
    return Until(left=left, right=right)


def again(formula: Formula) -> Formula:
    return AgainAndAgain(operand=formula)


def before(formula: Formula) -> Formula:
    return Before(operand=formula)


def once(formula: Formula) -> Formula:
    return Once(operand=formula)


def since(left: Formula, right: Formula) -> Formula:
    return Since(left=left, right=right)


LOW = Literal(value=0)


@st.composite
def lassos(draw: st.DrawFn) -> Run:
    instants = draw(st.lists(st.tuples(*[st.booleans()] * 3), min_size=1, max_size=6))
    loop_from = draw(st.integers(0, len(instants) - 1))
    return Run(tuple(instants), (QUIET,) * len(instants), loop_from=loop_from)


def bounds(most: int) -> st.SearchStrategy[Bound]:
    return st.integers(0, most).map(lambda amount: Bound(amount, Unit.STEPS))


def larger(formulas: st.SearchStrategy[Formula]) -> st.SearchStrategy[Formula]:
    return st.one_of(
        st.builds(inverse, formulas),
        *(st.builds(operator, formulas, formulas) for operator in (both, either, until, since)),
        *(st.builds(word, formulas) for word in (following, always, eventually, again, before, once)),
        st.builds(lambda f, g: AtTheLast(operand=f, trigger=g), formulas, formulas),
        st.builds(lambda f, b: WithinTheLast(operand=f, bound=b), formulas, bounds(7)),
        st.builds(lambda word, f: Step(word=word, operand=f), st.sampled_from(StepWord), formulas),
    )


FORMULAS = st.recursive(st.sampled_from([A, B, C]), larger, max_leaves=5)
SMALL = st.recursive(st.sampled_from([A, B, C]), larger, max_leaves=2)


# A second reading, written apart: the run as a function of the natural numbers, every word by its row of the table in
# grammar/README.md, section 20, with "at some j >= i" cut off at a horizon past which everything has come round again.


class SecondReading:
    def __init__(self, formula: Formula, run: Run) -> None:
        assert run.loop_from is not None
        self.run = run
        self.loop_from = run.loop_from
        self.round_length = len(run) - run.loop_from
        nodes = list(walk(formula))
        windows = sum(int(str(n.bound.amount)) for n in nodes if isinstance(n, WithinTheLast))
        # Every node can put off the repetition by one round at most, a window by its own length besides.
        self.repeating_from = self.loop_from + (len(nodes) + 1) * self.round_length + windows
        self.known: dict[tuple[int, int], int] = {}

    def instant(self, i: int) -> tuple[bool, ...]:
        late = i >= len(self.run)
        return self.run.instants[self.loop_from + (i - self.loop_from) % self.round_length if late else i]

    def later(self, i: int) -> range:
        """Every j >= i that can matter: up to the repetition, and once round."""
        return range(i, max(i, self.repeating_from) + self.round_length)

    def value(self, formula: Formula, i: int) -> int:
        key = (id(formula), i)
        if key not in self.known:
            self.known[key] = int(self.meaning(formula, i))
        return self.known[key]

    def meaning(self, formula: Formula, i: int) -> int:
        def at(part: Formula, j: int) -> int:
            return self.value(part, j)

        match formula:
            case Signal():
                return self.instant(i)[formula.nets[0]]
            case Apply(operator=Operator.NOT, operands=(f,)):
                return 1 - at(f, i)
            case Apply(operator=Operator.AND, operands=(f, g)):
                return at(f, i) * at(g, i)
            case Apply(operator=Operator.OR, operands=(f, g)):
                return max(at(f, i), at(g, i))
            case Before(operand=f):
                return at(f, i - 1 if i else 0)
            case Step(word=word, operand=f):
                pair = (at(f, i - 1 if i else 0), at(f, i))
                return (
                    pair
                    in {
                        StepWord.CHANGES: [(0, 1), (1, 0)],
                        StepWord.STEADY: [(0, 0), (1, 1)],
                        StepWord.RISES: [(0, 1)],
                        StepWord.FALLS: [(1, 0)],
                    }[word]
                )
            case Once(operand=f):
                return any(at(f, j) for j in range(i + 1))
            case Since(left=f, right=g):
                return any(at(g, j) and all(at(f, k) for k in range(j + 1, i + 1)) for j in range(i + 1))
            case AtTheLast(operand=f, trigger=g):
                return ([0] + [at(f, j) for j in range(i + 1) if at(g, j)])[-1]
            case WithinTheLast(operand=f, bound=Bound(amount=int() as amount)):
                return any(at(f, j) for j in range(i + 1) if j >= i - amount)
            case Next(operand=f):
                return at(f, i + 1)
            case Always(operand=f):
                return all(at(f, j) for j in self.later(i))
            case Eventually(operand=f):
                return any(at(f, j) for j in self.later(i))
            case Until(left=f, right=g):
                return any(at(g, j) and all(at(f, k) for k in range(i, j)) for j in self.later(i))
            case AgainAndAgain(operand=f):
                return all(any(at(f, k) for k in self.later(j)) for j in self.later(i))
            case _:
                raise AssertionError(f"no reading of {formula}")


@settings(max_examples=150, deadline=None)
@given(FORMULAS, lassos())
def test_every_word_at_every_instant_agrees_with_the_second_reading(formula: Formula, run: Run) -> None:
    values = evaluate_lasso(formula, run)
    reading = SecondReading(formula, run)
    late = len(values.values) + 2 * reading.round_length
    assert [values.at(i) for i in range(late)] == [reading.value(formula, i) for i in range(late)]


@settings(max_examples=60, deadline=None)
@given(SMALL, SMALL, lassos())
def test_patterns_without_a_bound_agree_with_the_second_reading(left: Formula, right: Formula, run: Run) -> None:
    reading = SecondReading(both(left, right), run)
    late = reading.repeating_from + reading.round_length
    triggers = [i for i in range(late) if reading.value(left, i)]
    assert holds_on(Never(operand=left), run) == (not triggers)
    assert holds_on(OnlyWhen(left=left, right=right), run) == all(reading.value(right, i) for i in triggers)
    answered = [any(reading.value(right, j) for j in reading.later(i)) for i in triggers]
    assert holds_on(LeadsTo(left=left, right=right), run) == all(answered)


@settings(max_examples=100, deadline=None)
@given(SMALL, SMALL, SMALL, st.integers(0, 5), st.sampled_from([Unit.STEPS, Unit.RISES, Unit.FALLS]), lassos())
def test_patterns_with_a_bound_agree_with_the_second_reading(
    left: Formula, right: Formula, counted: Formula, amount: int, unit: Unit, run: Run
) -> None:
    reading = SecondReading(both(both(left, right), counted), run)
    late = reading.repeating_from + reading.round_length

    def deadline(i: int) -> int | None:
        """The amount-th counted instant after i; None: there are no more so many."""
        if unit is Unit.STEPS or amount == 0:
            return i + amount
        wanted = (0, 1) if unit is Unit.RISES else (1, 0)
        # Each round of the repeating part has a counted instant or none has.
        reach = range(i + 1, max(i, late) + (amount + 1) * reading.round_length)
        counted_there = [j for j in reach if (reading.value(counted, j - 1), reading.value(counted, j)) == wanted]
        return counted_there[amount - 1] if len(counted_there) >= amount else None

    def answered(i: int) -> bool:
        last = deadline(i)
        return last is None or any(reading.value(right, j) for j in range(i, last + 1))

    bound = Bound(amount, unit, None if unit is Unit.STEPS else counted)
    expected = [not reading.value(left, i) or answered(i) for i in range(late)]
    values = evaluate_lasso(LeadsTo(left=left, right=right, bound=bound), run)
    assert [values.at(i) == 1 for i in range(late)] == expected


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 4), st.sampled_from([Unit.STEPS, Unit.RISES, Unit.FALLS]), lassos())
def test_a_bounded_leads_to_fails_just_where_a_long_finite_run_misses_a_deadline(
    amount: int, unit: Unit, run: Run
) -> None:
    formula = LeadsTo(left=A, right=B, bound=Bound(amount, unit, None if unit is Unit.STEPS else C))
    long = unroll(run, amount + 3)
    assert holds_on(formula, run) == (first_breach(formula, Run(long.instants, long.events)) is None)


# Laws. Textbook, from memory: Manna and Pnueli, "The Temporal Logic of Reactive and Concurrent Systems: Specification",
# 1992, chapter 3; Emerson, "Temporal and Modal Logic", Handbook of Theoretical Computer Science B, 1990. Where a book
# has a strict `before` that is false at the first instant, the law is restated for this language's `before`.

Law = Callable[[Formula, Formula, Formula], tuple[Formula, Formula]]

EQUAL_AT_EVERY_INSTANT: dict[str, Law] = {
    # Duality.
    "not eventually": lambda f, g, h: (inverse(eventually(f)), always(inverse(f))),
    "not always": lambda f, g, h: (inverse(always(f)), eventually(inverse(f))),
    "next is its own dual": lambda f, g, h: (inverse(following(f)), following(inverse(f))),
    "before is its own dual": lambda f, g, h: (inverse(before(f)), before(inverse(f))),
    "not until": lambda f, g, h: (
        inverse(until(f, g)),
        either(until(inverse(g), both(inverse(f), inverse(g))), always(inverse(g))),
    ),
    "not since": lambda f, g, h: (
        inverse(since(f, g)),
        either(since(inverse(g), both(inverse(f), inverse(g))), inverse(once(g))),
    ),
    "not again and again": lambda f, g, h: (inverse(again(f)), eventually(always(inverse(f)))),
    # Expansion.
    "until unfolds": lambda f, g, h: (until(f, g), either(g, both(f, following(until(f, g))))),
    "eventually unfolds": lambda f, g, h: (eventually(f), either(f, following(eventually(f)))),
    "always unfolds": lambda f, g, h: (always(f), both(f, following(always(f)))),
    "since unfolds from the next instant": lambda f, g, h: (
        following(since(f, g)),
        either(following(g), both(following(f), since(f, g))),
    ),
    "once unfolds from the next instant": lambda f, g, h: (following(once(f)), either(following(f), once(f))),
    # At instant 0 `before once f` is `once f` there, which is f: no harm.
    "once unfolds": lambda f, g, h: (once(f), either(f, before(once(f)))),
    "at the last unfolds from the next instant": lambda f, g, h: (
        following(AtTheLast(operand=f, trigger=g)),
        either(
            both(following(g), following(f)),
            both(inverse(following(g)), AtTheLast(operand=f, trigger=g)),
        ),
    ),
    "a window of two": lambda f, g, h: (
        WithinTheLast(operand=f, bound=Bound(2, Unit.STEPS)),
        either(f, either(before(f), before(before(f)))),
    ),
    # Some words by others.
    "eventually is until": lambda f, g, h: (eventually(f), until(either(f, inverse(f)), f)),
    "once is since": lambda f, g, h: (once(f), since(either(f, inverse(f)), f)),
    "again and again is always eventually": lambda f, g, h: (again(f), always(eventually(f))),
    "rises": lambda f, g, h: (Step(word=StepWord.RISES, operand=f), both(f, inverse(before(f)))),
    # Idempotence.
    "always always": lambda f, g, h: (always(always(f)), always(f)),
    "eventually eventually": lambda f, g, h: (eventually(eventually(f)), eventually(f)),
    "once once": lambda f, g, h: (once(once(f)), once(f)),
    "until of until": lambda f, g, h: (until(f, until(f, g)), until(f, g)),
    "until of until on the left": lambda f, g, h: (until(until(f, g), g), until(f, g)),
    "since of since": lambda f, g, h: (since(f, since(f, g)), since(f, g)),
    "again again": lambda f, g, h: (again(again(f)), again(f)),
    # Distribution.
    "always over and": lambda f, g, h: (always(both(f, g)), both(always(f), always(g))),
    "eventually over or": lambda f, g, h: (eventually(either(f, g)), either(eventually(f), eventually(g))),
    "once over or": lambda f, g, h: (once(either(f, g)), either(once(f), once(g))),
    "next over until": lambda f, g, h: (following(until(f, g)), until(following(f), following(g))),
    "next over and": lambda f, g, h: (following(both(f, g)), both(following(f), following(g))),
    "before over or": lambda f, g, h: (before(either(f, g)), either(before(f), before(g))),
    "until over and on the left": lambda f, g, h: (until(both(f, g), h), both(until(f, h), until(g, h))),
    "until over or on the right": lambda f, g, h: (until(f, either(g, h)), either(until(f, g), until(f, h))),
    "since over and on the left": lambda f, g, h: (since(both(f, g), h), both(since(f, h), since(g, h))),
    "since over or on the right": lambda f, g, h: (since(f, either(g, h)), either(since(f, g), since(f, h))),
    "again and again over or": lambda f, g, h: (again(either(f, g)), either(again(f), again(g))),
    "eventually always over and": lambda f, g, h: (
        eventually(always(both(f, g))),
        both(eventually(always(f)), eventually(always(g))),
    ),
    # Absorption.
    "eventually always eventually": lambda f, g, h: (
        eventually(always(eventually(f))),
        always(eventually(f)),
    ),
    "always eventually always": lambda f, g, h: (always(eventually(always(f))), eventually(always(f))),
    "eventually after until": lambda f, g, h: (eventually(until(f, g)), eventually(g)),
    "once after since": lambda f, g, h: (once(since(f, g)), once(g)),
    # Past and future together.
    "next before": lambda f, g, h: (following(before(f)), f),
    "eventually once": lambda f, g, h: (eventually(once(f)), either(once(f), eventually(f))),
    "once eventually, and it stays so": lambda f, g, h: (once(eventually(f)), always(once(eventually(f)))),
    "eventually once is eventually for good": lambda f, g, h: (eventually(once(f)), eventually(always(once(f)))),
    "once for good": lambda f, g, h: (always(once(f)), once(f)),
    "again and again does not hang on the instant": lambda f, g, h: (again(f), once(again(f))),
    "again and again one step late": lambda f, g, h: (again(before(f)), again(f)),
    "again and again within a window": lambda f, g, h: (
        again(WithinTheLast(operand=f, bound=Bound(3, Unit.STEPS))),
        again(f),
    ),
}

TRUE_AT_EVERY_INSTANT: dict[str, Callable[[Formula, Formula], Formula]] = {
    "what holds has always held once, ever after": lambda f, g: implies(f, always(once(f))),
    "what is now was to come": lambda f, g: implies(f, once(eventually(f))),
    "what holds is before, at the next instant": lambda f, g: implies(f, following(before(f))),
    "always implies again and again": lambda f, g: implies(always(f), again(f)),
    "until implies eventually": lambda f, g: implies(until(f, g), eventually(g)),
    "induction forwards": lambda f, g: implies(both(f, always(implies(f, following(f)))), always(f)),
    "induction from before": lambda f, g: implies(both(f, always(implies(before(f), f))), always(f)),
    "what must have been before never begins": lambda f, g: implies(
        both(inverse(f), always(implies(f, before(f)))), always(inverse(f))
    ),
    "always of an implication": lambda f, g: implies(always(implies(f, g)), implies(always(f), always(g))),
    "what rises was not before": lambda f, g: implies(
        Step(word=StepWord.RISES, operand=f), both(f, before(inverse(f)))
    ),
    "between a fall and the next a rise": lambda f, g: implies(
        both(again(f), again(inverse(f))), again(Step(word=StepWord.RISES, operand=f))
    ),
    "since implies once": lambda f, g: implies(since(f, g), once(g)),
    "what was since is now, or has just begun": lambda f, g: implies(since(f, g), either(f, g)),
}


def same_everywhere(left: EndlessValues, right: EndlessValues) -> bool:
    """Both repeat with the same length of round, so once round past both starts is enough."""
    late = max(len(left.values), len(right.values)) + len(left.values) - left.loop_from
    return all(left.at(i) == right.at(i) for i in range(late))


@pytest.mark.parametrize("law", EQUAL_AT_EVERY_INSTANT)
@settings(max_examples=15, deadline=None)
@given(SMALL, SMALL, SMALL, lassos())
def test_the_law_equates_two_formulas_at_every_instant(law: str, f: Formula, g: Formula, h: Formula, run: Run) -> None:
    left, right = EQUAL_AT_EVERY_INSTANT[law](f, g, h)
    assert same_everywhere(evaluate_lasso(left, run), evaluate_lasso(right, run))


@pytest.mark.parametrize("law", TRUE_AT_EVERY_INSTANT)
@settings(max_examples=15, deadline=None)
@given(SMALL, SMALL, lassos())
def test_the_law_holds_at_every_instant(law: str, f: Formula, g: Formula, run: Run) -> None:
    formula = TRUE_AT_EVERY_INSTANT[law](f, g)
    assert all(evaluate_lasso(formula, run).values)
    assert holds_on(formula, run)


@settings(max_examples=40, deadline=None)
@given(SMALL, lassos())
def test_before_next_is_the_formula_itself_except_at_the_first_instant(f: Formula, run: Run) -> None:
    there_and_back, plain = evaluate_lasso(before(following(f)), run), evaluate_lasso(f, run)
    assert there_and_back.at(0) == plain.at(1)
    assert all(there_and_back.at(i) == plain.at(i) for i in range(1, 30))


@settings(max_examples=40, deadline=None)
@given(SMALL, lassos())
def test_again_and_again_is_the_same_at_every_instant(f: Formula, run: Run) -> None:
    assert len(set(evaluate_lasso(again(f), run).values)) == 1


@settings(max_examples=60, deadline=None)
@given(FORMULAS, lassos(), st.integers(1, 4))
def test_writing_the_loop_down_more_often_changes_nothing(formula: Formula, run: Run, rounds: int) -> None:
    few, many = evaluate_lasso(formula, run), evaluate_lasso(formula, unroll(run, rounds))
    assert all(few.at(i) == many.at(i) for i in range(len(many.values) + len(few.values)))
    assert holds_on(formula, run) == holds_on(formula, unroll(run, rounds))


@settings(max_examples=60, deadline=None)
@given(FORMULAS, lassos())
def test_a_run_shows_what_it_does_not_keep_away_from(formula: Formula, run: Run) -> None:
    assert shown_on(formula, run) != holds_on(Never(operand=formula), run)
    assert shown_on(formula, run) == shown_on(eventually(formula), run)


# Examples with the answers worked out by hand.


def test_before_the_first_instant_of_the_loop_is_its_last_one_from_the_second_round_on() -> None:
    values = evaluate_lasso(before(A), lasso("0", "0 1"))
    assert [values.at(i) for i in range(6)] == [0, 0, 0, 1, 0, 1]
    whole = evaluate_lasso(Step(word=StepWord.CHANGES, operand=A), lasso("", "0 1"))
    assert [whole.at(i) for i in range(5)] == [0, 1, 1, 1, 1]


def test_a_long_window_outlasts_many_equal_rounds() -> None:
    values = evaluate_lasso(WithinTheLast(operand=A, bound=Bound(5, Unit.STEPS)), lasso("1", "0"))
    assert [values.at(i) for i in range(9)] == [1, 1, 1, 1, 1, 1, 0, 0, 0]
    assert holds_on(eventually(inverse(WithinTheLast(operand=A, bound=Bound(40, Unit.STEPS)))), lasso("1", "0"))


def test_what_is_meant_at_the_first_instant_is_not_asked_of_the_others() -> None:
    run = lasso("1", "0")
    assert first_failure(eventually(A), run) is None
    assert first_failure(either(eventually(A), LOW), run) == 1
    assert first_failure(following(A), run) == 0
    assert first_failure(until(A, inverse(A)), run) is None


def test_a_failure_may_lie_in_a_later_round() -> None:
    assert first_failure(inverse(both(once(B), A)), lasso("", "10 01")) == 2


def test_the_change_over_for_good_never_comes_when_the_beat_stays_with_the_lever() -> None:
    """a is `choose`, b `tempo`, c `beat`: choose is high for good and tempo goes on, but beat stays low."""
    formula = LeadsTo(left=always(A), right=always(Compare(comparison=Comparison.EQUAL, left=C, right=B)))
    assert first_failure(formula, lasso("000 000", "100 110")) == 2
    assert holds_on(formula, lasso("000 100", "100 111"))
    assert holds_on(formula, lasso("", "100 110 000"))


def test_a_deadline_that_never_comes_is_not_missed() -> None:
    formula = LeadsTo(left=A, right=B, bound=Bound(2, Unit.RISES, C))
    assert holds_on(formula, lasso("100 001", "000"))
    assert not holds_on(formula, lasso("100 001 000", "001"))
    assert first_failure(formula, lasso("000 100", "001 000")) == 1
    assert holds_on(formula, lasso("100 001 000 011", "001"))


@pytest.mark.parametrize("amount", [1, 9, 30])
def test_a_deadline_many_rounds_away_is_missed_all_the_same(amount: int) -> None:
    formula = LeadsTo(left=A, right=B, bound=Bound(amount, Unit.RISES, C))
    assert first_failure(formula, lasso("000 100", "001 000")) == 1
    assert holds_on(LeadsTo(left=A, right=B, bound=Bound(amount + 1, Unit.FALLS, A)), lasso("100 000", "001 000"))


def test_again_and_again_looks_at_the_loop_alone() -> None:
    assert not holds_on(again(A), lasso("1 1", "0 0"))
    assert holds_on(again(A), lasso("0 0", "0 1"))


def test_numbers_keep_their_width_through_past_and_future_words() -> None:
    run = lasso("110 000", "001 010")
    later = Next(operand=COUNT, width=3)
    assert evaluate_lasso(later, run).values[:4] == (0, 4, 2, 4)
    last = AtTheLast(operand=COUNT, trigger=A, width=3)
    assert set(evaluate_lasso(last, run).values) == {3}


def test_patterns_about_events_read_the_events_of_each_step() -> None:
    glitch = StepEvents(may_glitch=frozenset({1}))
    instants = ((False,) * 3,) * 2
    run = Run(instants, (QUIET, glitch), loop_from=0)
    assert first_failure(NeverGlitches(signal=B), run) == 1
    assert holds_on(NeverGlitches(signal=A), run)
    assert first_failure(Settles(), Run(instants, (QUIET, StepEvents(raced=True)), loop_from=1)) == 1


@pytest.mark.parametrize(
    "formula",
    [
        always(Never(operand=A)),
        LeadsTo(left=A, right=B, bound=Bound(3, Unit.NANOSECONDS)),
        LeadsTo(left=A, right=B, bound=Bound(Tightest.ASKED, Unit.STEPS)),
        WithinTheLast(operand=A, bound=Bound(Tightest.ASKED, Unit.STEPS)),
        WithinTheLast(operand=A, bound=Bound(2, Unit.NANOSECONDS)),
        PulsesLast(signal=A, pulses=Pulses.HIGH, at_least=Bound(10, Unit.NANOSECONDS)),
    ],
    ids=["nested", "ns", "asked", "window asked", "window ns", "pulses"],
)
def test_what_has_no_meaning_on_a_settled_endless_run_is_refused(formula: Formula) -> None:
    with pytest.raises(ValueError, match=r"."):
        evaluate_lasso(formula, lasso("1", "0"))


def test_a_finite_run_is_refused_and_a_loop_must_start_inside_the_run() -> None:
    instants = ((True, False, False),)
    with pytest.raises(ValueError, match="finite"):
        evaluate_lasso(A, Run(instants, (QUIET,)))
    for loop_from in (-1, 1):
        with pytest.raises(ValueError, match="loop"):
            Run(instants, (QUIET,), loop_from=loop_from)


def test_a_deep_formula_does_not_exhaust_the_stack() -> None:
    formula: Formula = A
    for _ in range(1500):
        formula = inverse(following(formula))
    assert evaluate_lasso(formula, lasso("", "1")).values[0] == 1
