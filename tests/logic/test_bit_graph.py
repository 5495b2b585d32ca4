"""The bit graph against truth tables: every constructor, every rewrite rule, `evaluate` and `substitute`."""

from __future__ import annotations

import itertools
import operator
from collections.abc import Callable, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verifier.logic.bit_graph import FALSE, TRUE, VARIABLE, BitGraph, Literal

Table = tuple[bool, ...]
"""Value for each assignment of the variables, in the order of `ASSIGNMENTS`."""

VARIABLES = 3
ASSIGNMENTS = list(itertools.product((False, True), repeat=VARIABLES))

CONSTRUCTORS: dict[str, tuple[int, Callable[..., bool]]] = {
    "conjunction": (2, operator.and_),
    "disjunction": (2, operator.or_),
    "implication": (2, lambda left, right: not left or right),
    "exclusive_or": (2, operator.ne),
    "equivalence": (2, operator.eq),
    "select": (3, lambda condition, high, low: high if condition else low),
}


def tables_of_variables() -> list[Table]:
    return [tuple(values[index] for values in ASSIGNMENTS) for index in range(VARIABLES)]


def table_in(graph: BitGraph, variables: Sequence[Literal], literal: Literal) -> Table:
    """The literal's truth table, by a walk of its own over the graph's operands."""
    result = []
    for values in ASSIGNMENTS:
        known = {0: False} | {variable >> 1: value for variable, value in zip(variables, values, strict=True)}
        for node in range(len(graph)):
            if node not in known:
                left, right = graph.lefts[node], graph.rights[node]
                known[node] = known[left >> 1] != bool(left & 1) and known[right >> 1] != bool(right & 1)
        result.append(known[literal >> 1] != bool(literal & 1))
    return tuple(result)


def grown(graph: BitGraph, choose: Callable[[int], int], steps: int) -> tuple[list[Literal], dict[Literal, Table]]:
    """Random literals over three variables with the truth tables they ought to have."""
    variables = [graph.variable(f"lever {index}") for index in range(VARIABLES)]
    meant: dict[Literal, Table] = {FALSE: (False,) * 8, TRUE: (True,) * 8}
    pool = [FALSE, TRUE]
    for variable, table in zip(variables, tables_of_variables(), strict=True):
        meant[variable], meant[variable ^ 1] = table, tuple(not value for value in table)
        pool += [variable, variable ^ 1]
    for _ in range(steps):
        name = list(CONSTRUCTORS)[choose(len(CONSTRUCTORS))]
        arity, function = CONSTRUCTORS[name]
        operands = [pool[choose(len(pool))] for _ in range(arity)]
        literal = getattr(graph, name)(*operands)
        table = tuple(function(*row) for row in zip(*(meant[operand] for operand in operands), strict=True))
        assert meant.get(literal, table) == table, f"{name} of {operands} is {literal}, which means something else"
        meant[literal], meant[literal ^ 1] = table, tuple(not value for value in table)
        pool += [literal, literal ^ 1]
    return variables, meant


@settings(deadline=None, max_examples=200)
@given(st.data(), st.integers(0, 25))
def test_every_constructor_and_every_rewrite_gives_the_function_it_is_named_for(
    data: st.DataObject, steps: int
) -> None:
    graph = BitGraph()
    variables, meant = grown(graph, lambda size: data.draw(st.integers(0, size - 1)), steps)
    for literal, table in meant.items():
        assert table_in(graph, variables, literal) == table


@settings(deadline=None, max_examples=100)
@given(st.data(), st.integers(0, 25))
def test_evaluate_agrees_with_the_truth_table(data: st.DataObject, steps: int) -> None:
    graph = BitGraph()
    variables, meant = grown(graph, lambda size: data.draw(st.integers(0, size - 1)), steps)
    literals = list(meant)
    for row, values in enumerate(ASSIGNMENTS):
        found = graph.evaluate(literals, dict(zip(variables, values, strict=True)))
        assert found == [meant[literal][row] for literal in literals]


@settings(deadline=None, max_examples=100)
@given(st.data(), st.integers(0, 15))
def test_substituting_is_composing_functions(data: st.DataObject, steps: int) -> None:
    graph = BitGraph()
    variables, meant = grown(graph, lambda size: data.draw(st.integers(0, size - 1)), steps)
    literals = list(meant)
    images = {variable: data.draw(st.sampled_from(literals)) for variable in variables}
    replaced = graph.substitute(literals, images)
    for literal, image in zip(literals, replaced, strict=True):
        inner = zip(*(meant[images[variable]] for variable in variables), strict=True)
        composed = tuple(meant[literal][ASSIGNMENTS.index(values)] for values in inner)
        assert table_in(graph, variables, image) == composed


def test_equal_constructions_are_one_node() -> None:
    graph = BitGraph()
    tempo, lever = graph.variable("tempo"), graph.variable("lever")
    assert graph.conjunction(tempo, lever) == graph.conjunction(lever, tempo)
    assert graph.exclusive_or(tempo, lever) == graph.exclusive_or(lever ^ 1, tempo ^ 1)
    assert graph.exclusive_or(tempo ^ 1, lever) == graph.exclusive_or(tempo, lever) ^ 1


# Each rule of `conjunction`, with what it should find without making a node; a and b are different variables.
RULES: dict[str, Callable[[BitGraph, Literal, Literal], tuple[Literal, Literal]]] = {
    "0 and a": lambda graph, a, b: (graph.conjunction(FALSE, a), FALSE),
    "1 and a": lambda graph, a, b: (graph.conjunction(TRUE, a), a),
    "a and a": lambda graph, a, b: (graph.conjunction(a, a), a),
    "a and not a": lambda graph, a, b: (graph.conjunction(a, a ^ 1), FALSE),
    "a and (a and b)": lambda graph, a, b: (graph.conjunction(a, graph.conjunction(a, b)), graph.conjunction(a, b)),
    "a and (not a and b)": lambda graph, a, b: (graph.conjunction(a, graph.conjunction(a ^ 1, b)), FALSE),
    "a and not (not a and b)": lambda graph, a, b: (graph.conjunction(a, graph.conjunction(a ^ 1, b) ^ 1), a),
    "a and not (a and b)": lambda graph, a, b: (
        graph.conjunction(a, graph.conjunction(a, b) ^ 1),
        graph.conjunction(a, b ^ 1),
    ),
}


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("signs", [(0, 0), (0, 1), (1, 0), (1, 1)])
def test_each_rewrite_rule_is_applied(rule: str, signs: tuple[int, int]) -> None:
    graph = BitGraph()
    a, b = graph.variable("a") ^ signs[0], graph.variable("b") ^ signs[1]
    found, expected = RULES[rule](graph, a, b)
    assert found == expected


@pytest.mark.parametrize("count", range(10))
def test_balanced_trees_are_conjunction_and_disjunction_of_all(count: int) -> None:
    graph = BitGraph()
    literals = [graph.variable(f"bell {index}") for index in range(count)]
    for all_high_but in [None, *range(count)]:
        values = {literal: index != all_high_but for index, literal in enumerate(literals)}
        flipped = {literal: not value for literal, value in values.items()}
        assert graph.evaluate([graph.all_of(literals)], values) == [all_high_but is None]
        assert graph.evaluate([graph.any_of(literals)], flipped) == [all_high_but is not None]


def test_the_cone_holds_what_the_roots_depend_on_operands_first() -> None:
    graph = BitGraph()
    a, b, c = (graph.variable(name) for name in "abc")
    inner = graph.conjunction(a, b)
    outer = graph.conjunction(inner ^ 1, c)
    graph.conjunction(a, c)
    assert graph.cone([outer]) == [node >> 1 for node in (a, b, c, inner, outer)]
    seen = {inner >> 1}
    assert sorted(graph.cone_beyond([outer], seen)) == [c >> 1, outer >> 1]
    assert seen == {inner >> 1, c >> 1, outer >> 1}


def test_a_missing_value_counts_as_0_and_only_variables_are_variables() -> None:
    graph = BitGraph()
    a = graph.variable("a")
    both = graph.conjunction(a, graph.variable("b"))
    assert graph.evaluate([a, a ^ 1, TRUE], {}) == [False, True, True]
    assert [graph.is_variable(literal) for literal in (FALSE, TRUE, a, a ^ 1, both)] == [
        False,
        False,
        True,
        True,
        False,
    ]
    assert graph.lefts[0] == VARIABLE


def test_a_chain_of_a_hundred_thousand_nodes_does_not_overflow_anything() -> None:
    graph = BitGraph()
    literal = graph.variable("a")
    for _ in range(100_000):
        literal = graph.conjunction(literal, graph.variable("b")) ^ 1
    assert len(graph.cone([literal])) == 200_001
    assert graph.evaluate([literal], {}) == [True]
    assert graph.substitute([literal], {}) == [literal]
