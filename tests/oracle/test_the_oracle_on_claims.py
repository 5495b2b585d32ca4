"""The oracle's reading of claims and its walk, on examples worked out by hand."""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce
from operator import and_, or_, xor
from random import Random

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oracle.formulas import Events, Memory, judge
from oracle.hand_worked import bits, named, nand_pair, ripple_counter
from oracle.random_formulas import FormulaMaker, text_of
from oracle.search import Behaviour, ContradictoryGivensError, Oracle
from oracle.wiring import Wiring, can, design_of, must, signal
from verifier.circuit.netlist import GateKind
from verifier.claims.claim import Given
from verifier.claims.formula import (
    Add,
    Apply,
    AtTheLast,
    Before,
    Bound,
    Compare,
    Formula,
    Join,
    LeadsTo,
    Literal,
    Never,
    Once,
    OnlyWhen,
    Operator,
    Select,
    Signal,
    Since,
    Slice,
    Step,
    StepWord,
    Subtract,
    Unit,
    WithinTheLast,
)
from verifier.claims.run import Instant

QUIET = Events(raced=False, oscillated=False, may_glitch=frozenset())


# Claims


def told(formula: Formula, *words: str) -> str:
    """Whether the formula holds at each instant of a run; one word with a letter a net for each instant."""
    memory: Memory | None = None
    said = ""
    for word in words:
        judged = judge(formula, bits(word), QUIET, memory)
        memory = judged.memory
        said += str(int(judged.holds))
    return said


A = Signal(name="a", nets=(0,))
B = Signal(name="b", nets=(1,))


@pytest.mark.parametrize(
    ("formula", "words", "expected"),
    [
        (Before(operand=A), "1 0 1 1", "1101"),
        (Step(word=StepWord.RISES, operand=A), "1 0 1 1", "0010"),
        (Step(word=StepWord.FALLS, operand=A), "1 0 1 1", "0100"),
        (Step(word=StepWord.STEADY, operand=A), "1 0 1 1", "1001"),
        (Step(word=StepWord.CHANGES, operand=Before(operand=A)), "0 1 1 0", "0010"),
        (Once(operand=A), "0 1 0 0", "0111"),
        (Since(left=A, right=B), "10 01 10 10 00 10", "011100"),
        (AtTheLast(operand=A, trigger=B), "10 11 00 01 10", "01100"),
        (WithinTheLast(operand=A, bound=Bound(1, Unit.STEPS)), "1 0 0 1", "1101"),
        (WithinTheLast(operand=A, bound=Bound(0, Unit.STEPS)), "1 0 0 1", "1001"),
        (OnlyWhen(left=A, right=B), "00 10 11 01", "1011"),
        (LeadsTo(left=A, right=B, bound=Bound(2, Unit.STEPS)), "10 00 01 00", "1111"),
        (LeadsTo(left=A, right=B, bound=Bound(1, Unit.STEPS)), "10 00 01 00", "1011"),
        (LeadsTo(left=A, right=B, bound=Bound(0, Unit.STEPS)), "11 10", "10"),
        # A new trigger does not put the deadline of an older one off.
        (LeadsTo(left=A, right=B, bound=Bound(2, Unit.STEPS)), "10 10 10", "110"),
    ],
)
def test_a_formula_says_of_a_run_what_its_word_means(formula: Formula, words: str, expected: str) -> None:
    assert told(formula, *words.split()) == expected


def test_a_deadline_in_rises_does_not_count_the_rise_that_comes_with_the_trigger() -> None:
    counted = Signal(name="c", nets=(2,))
    formula = LeadsTo(left=A, right=B, bound=Bound(1, Unit.RISES, counted))
    assert told(formula, "000", "101", "000", "011") == "1111"
    assert told(formula, "000", "101", "000", "000", "001") == "11110"


def test_the_trigger_that_never_comes_makes_a_proof_empty() -> None:
    netlist = Wiring("strap").input("lever").gate("low", GateKind.LOW).netlist()
    low, lever = signal(netlist, "low"), signal(netlist, "lever")
    claims = [
        must("empty", OnlyWhen(left=low, right=lever)),
        must("full", OnlyWhen(left=lever, right=lever)),
        must("no_trigger", Never(operand=low)),
        can("shown", Step(word=StepWord.FALLS, operand=lever)),
        can("impossible", low),
    ]
    answers = Oracle(design_of(netlist, claims)).answers()
    assert [answer.empty for answer in answers] == [True, False, False, False, False, False]
    assert [answer.length for answer in answers] == [None, None, None, 2, None, None]
    assert [answer.verdict for answer in answers] == ["proved", "proved", "proved", "shown", "impossible", "proved"]


def test_givens_that_no_endless_run_obeys_are_contradictory() -> None:
    netlist = Wiring("strap").input("lever").netlist()
    lever = signal(netlist, "lever")
    early = WithinTheLast(operand=Step(word=StepWord.CHANGES, operand=lever), bound=Bound(0, Unit.STEPS))
    with pytest.raises(ContradictoryGivensError):
        Oracle(
            design_of(netlist, [], [Given(name="at_once", formula=early, text="lever changes within the last 0 steps")])
        )
    # Obeyed for two instants, then never more: nothing has changed at the first, so something must by the second.
    stuck = Apply(
        operator=Operator.AND,
        operands=(Before(operand=lever), Apply(operator=Operator.NOT, operands=(Once(operand=lever),))),
    )
    with pytest.raises(ContradictoryGivensError):
        Oracle(design_of(netlist, [], [Given(name="stuck", formula=stuck, text="before lever and not once lever")]))


def test_a_piece_of_a_run_that_cannot_go_on_breaks_shows_and_fires() -> None:
    # The given lets the lever go up, and then no further instant obeys it.
    netlist = Wiring("strap").input("lever").netlist()
    lever = signal(netlist, "lever")
    never_after = Never(operand=Before(operand=lever))
    given = Given(name="dead_end", formula=never_after, text="never before lever")
    claims = [must("down", Never(operand=lever)), can("up", lever), must("silent", OnlyWhen(left=lever, right=lever))]
    answers = Oracle(design_of(netlist, claims, [given])).answers()
    assert [(answer.verdict, answer.length, answer.empty) for answer in answers] == [
        ("broken", 2, False),
        ("shown", 2, False),
        ("proved", None, False),
        ("proved", None, False),
    ]


# The walk itself


def test_shortest_lengths_agree_with_shortest_paths_on_the_explicit_graph() -> None:
    netlist = ripple_counter(3)
    behaviour = Behaviour(netlist)
    graph = nx.DiGraph(
        (instant, arrival.instant) for instant in behaviour.reachable() for arrival in behaviour.after(instant)
    )
    graph.add_edges_from(("start", arrival.instant) for arrival in behaviour.first())
    distance = nx.single_source_shortest_path_length(graph, "start")
    count = [signal(netlist, f"count_{stage}") for stage in range(3)]
    for value in range(8):
        wanted = [
            bit if value >> place & 1 else Apply(operator=Operator.NOT, operands=(bit,))
            for place, bit in enumerate(count)
        ]
        claim = can("counted", Apply(operator=Operator.AND, operands=tuple(wanted)))
        answer = Oracle(design_of(netlist, [claim])).answers()[0]
        reached = [
            length
            for node, length in distance.items()
            if node != "start" and all(node[bit.nets[0]] == bool(value >> place & 1) for place, bit in enumerate(count))
        ]
        assert answer.length == min(reached) == max(1, 2 * value)


def test_every_step_of_a_walk_is_an_edge_and_no_reachable_instant_is_missed() -> None:
    netlist = nand_pair(True)
    behaviour = Behaviour(netlist)
    found = behaviour.reachable()
    graph = nx.DiGraph((instant, arrival.instant) for instant in found for arrival in behaviour.after(instant))
    firsts = {arrival.instant for arrival in behaviour.first()}
    assert found == firsts.union(*(nx.descendants(graph, instant) for instant in firsts))
    assert {named(netlist, instant, "ring", "ring_n") for instant in found} == {"00", "01", "10", "11"}


def test_a_number_is_compared_as_wide_as_it_is() -> None:
    notes = Signal(width=2, name="notes", nets=(0, 1))
    rising = Step(word=StepWord.CHANGES, operand=notes)
    assert told(rising, "00", "10", "10", "01") == "0101"
    at_most_two = OnlyWhen(left=Literal(value=1), right=Apply(operator=Operator.NAND, operands=(A, B)))
    assert told(at_most_two, "00", "10", "11") == "110"


# The memory of a formula against its definition over the whole run


def at(formula: Formula, run: list[Instant], i: int) -> int:
    """The value at instant `i` as the table in section 20 puts it, with no memory at all."""
    so_far = range(i + 1)
    match formula:
        case Before():
            return at(formula.operand, run, max(i - 1, 0))
        case Step():
            now, before = at(formula.operand, run, i), at(formula.operand, run, max(i - 1, 0))
            rises, falls = bool(now and not before), bool(not now and before)
            return {"changes": now != before, "steady": now == before, "rises": rises, "falls": falls}[
                formula.word.value
            ]
        case Once():
            return any(at(formula.operand, run, j) for j in so_far)
        case Since():
            return any(
                at(formula.right, run, j) and all(at(formula.left, run, k) for k in range(j + 1, i + 1)) for j in so_far
            )
        case AtTheLast():
            triggers = [j for j in so_far if at(formula.trigger, run, j)]
            return at(formula.operand, run, triggers[-1]) if triggers else 0
        case WithinTheLast():
            assert isinstance(formula.bound.amount, int)
            return any(at(formula.operand, run, j) for j in so_far if j >= i - formula.bound.amount)
        case _:
            return without_time(formula, run, i)


def without_time(formula: Formula, run: list[Instant], i: int) -> int:
    mask = (1 << formula.width) - 1
    values = [at(child, run, i) for child in formula.children]
    match formula:
        case Literal():
            return formula.value
        case Signal():
            return int("".join(str(int(run[i][net])) for net in reversed(formula.nets)), 2)
        case Select():
            return values[1] if values[0] else values[2]
        case Compare():
            left, right = values
            words = {"==": left == right, "!=": left != right, "<": left < right, ">": left > right}
            words |= {"<=": left <= right, ">=": left >= right}
            return words[formula.comparison.value]
        case Add():
            return (values[0] + values[1]) & mask
        case Subtract():
            return (values[0] - values[1]) & mask
        case Slice():
            return values[0] >> formula.low & mask
        case Join():
            return values[0] << 1 | values[1]
        case Apply():
            return combined(formula.operator, values, mask)
    raise TypeError(formula)


def combined(operator: Operator, values: list[int], mask: int) -> int:
    if operator is Operator.MAJORITY:
        first, second, third = values
        return first & second | first & third | second & third
    if operator is Operator.IMPLIES:
        return (values[0] ^ mask) | values[1]
    folds = {"and": and_, "or": or_, "xor": xor, "not": or_}
    plain = operator.value.removeprefix("n") if operator.value in ("nand", "nor") else operator.value
    folded = reduce(folds["xor" if plain == "xnor" else plain], values)
    return folded ^ mask if operator.value in ("not", "nand", "nor", "xnor") else folded


@given(random=st.randoms(use_true_random=False), length=st.integers(1, 7))
@settings(max_examples=300, deadline=None, database=None)
def test_the_memory_of_a_formula_says_what_the_whole_run_says(random: Random, length: int) -> None:
    netlist = Wiring("free").input("lever").input("notes", width=2).input("tempo").netlist()
    formula = FormulaMaker(random, netlist).formula(4)
    run = [tuple(random.random() < 0.5 for _ in netlist.nets) for _ in range(length)]
    memory: Memory | None = None
    for i, instant in enumerate(run):
        judged = judge(formula, instant, QUIET, memory)
        memory = judged.memory
        assert judged.holds == bool(at(formula, run, i)), text_of(formula)


@given(
    words=st.lists(st.tuples(st.booleans(), st.booleans(), st.booleans()), min_size=1, max_size=9),
    amount=st.integers(0, 3),
    unit=st.sampled_from([Unit.STEPS, Unit.RISES, Unit.FALLS]),
)
@settings(max_examples=300, deadline=None, database=None)
def test_open_obligations_say_what_the_deadlines_of_the_whole_run_say(
    words: list[tuple[bool, bool, bool]], amount: int, unit: Unit
) -> None:
    counted = Signal(name="c", nets=(2,))
    formula = LeadsTo(left=A, right=B, bound=Bound(amount, unit, None if unit is Unit.STEPS else counted))
    memory: Memory | None = None
    broken_at = None
    for i, instant in enumerate(words):
        judged = judge(formula, instant, QUIET, memory)
        memory = judged.memory
        if not judged.holds:
            broken_at = i
            break
    assert broken_at == min(deadlines_missed(words, amount, unit), default=None)


def deadlines_missed(words: list[tuple[bool, bool, bool]], amount: int, unit: Unit) -> list[int]:
    """The instants at which some trigger's deadline passes without a reply."""
    missed = []
    for i, (trigger, _, _) in enumerate(words):
        later: Sequence[int] = range(i + 1, len(words))
        if unit is not Unit.STEPS:
            wanted = (False, True) if unit is Unit.RISES else (True, False)
            later = [j for j in later if (words[j - 1][2], words[j][2]) == wanted]
        deadline = i if amount == 0 else later[amount - 1] if len(later) >= amount else None
        if trigger and deadline is not None and not any(words[j][1] for j in range(i, deadline + 1)):
            missed.append(deadline)
    return missed
