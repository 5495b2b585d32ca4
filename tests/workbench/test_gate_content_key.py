"""Keys of content: equal for equal designs and for no others, wherever they stand and whatever they are called."""

from __future__ import annotations

import dataclasses
from enum import Enum
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracle.random_designs import random_design

from verifier.claims.claim import Design
from verifier.errors import Span
from verifier.language import loads
from verifier.workbench.content_key import ClaimKeys, design_key, digest

BELLS = """\
circuit two_bells
    input  low_key, high_key
    output low_bell, high_bell
    given  alone: never (low_key and high_key)
    let    both = low_bell and high_bell
    must   never_both: never both
    low_bell  = low_key
    high_bell = high_key
"""


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Ways to every part of plain data that takes part in comparing."""
    found = [path]
    if dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            if field.compare:
                found += places(getattr(value, field.name), (*path, field.name))
    elif isinstance(value, tuple):
        for index, part in enumerate(value):
            found += places(part, (*path, index))
    return found


def part_at(value: Any, path: tuple[Any, ...]) -> Any:
    for step in path:
        value = getattr(value, step) if isinstance(step, str) else value[step]
    return value


def with_part(value: Any, path: tuple[Any, ...], part: Any) -> Any:
    if not path:
        return part
    step, *rest = path
    if isinstance(step, str):
        return dataclasses.replace(value, **{step: with_part(getattr(value, step), tuple(rest), part)})
    return (*value[:step], with_part(value[step], tuple(rest), part), *value[step + 1 :])


def changed(part: Any, random: Random) -> Any:
    """Something else in its place, or now and then the same."""
    match part:
        case bool():
            return random.choice([part, not part, None])
        case Enum():
            return random.choice(list(type(part)))
        case int():
            return part + random.choice([0, 1, -1])
        case str():
            return random.choice([part, part + ":", "1:" + part, part[:-1], part + "\udcff", part + "\n#"])
        case tuple():
            shuffled = random.sample(part, len(part))
            return tuple(random.choice([shuffled, part[1:], (*part, *part[:1]), part]))
        case None:
            return random.choice([None, 0])
        case _:
            return part


def moved(value: Any) -> Any:
    """The same with every span elsewhere."""
    if isinstance(value, Span):
        return Span("elsewhere.wiring", 7, 7, 7, 8)
    if isinstance(value, tuple):
        return tuple(moved(part) for part in value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        spans = {field.name: moved(getattr(value, field.name)) for field in dataclasses.fields(value)}
        return dataclasses.replace(value, **spans)
    return value


def test_keys_are_equal_exactly_when_designs_are_equal_but_for_spans_and_files() -> None:
    random, equal, different = Random(2024), 0, 0
    for _ in range(25):
        design = random_design(random)
        key = design_key(design)
        for _ in range(20):
            path = random.choice(places(design))
            other = with_part(design, path, changed(part_at(design, path), random))
            same = dataclasses.replace(other, file="") == dataclasses.replace(design, file="")
            assert (design_key(other) == key) is same, path
            equal, different = equal + same, different + (not same)
    assert equal > 30
    assert different > 150


def test_spans_and_files_are_in_no_key() -> None:
    design = loads(BELLS, "bells.wiring").designs[0]
    elsewhere = dataclasses.replace(moved(design), file="elsewhere.wiring")
    assert elsewhere.claims[0].span != design.claims[0].span
    assert design_key(elsewhere) == design_key(design)
    assert claim_keys(elsewhere) == claim_keys(design)


def claim_keys(design: Design, version: str = "1") -> list[str]:
    keys = ClaimKeys(design, version)
    return [keys.key(claim) for claim in design.claims]


def keys_of(text: str) -> list[str]:
    return claim_keys(loads(text, "bells.wiring").designs[0])


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("circuit two_bells", "# one comment more\ncircuit two_bells"),
        ("circuit two_bells", "circuit other_bells"),
        ("never_both", "another_name"),
        ("let    both = low_bell and high_bell", "let    both =   (low_bell and high_bell)  # the same"),
        ("circuit two_bells", "circuit two_bells breaks never_both"),
    ],
)
def test_what_no_verdict_hangs_on_is_in_no_key(old: str, new: str) -> None:
    assert old in BELLS
    assert keys_of(BELLS.replace(old, new)) == keys_of(BELLS)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("high_bell = high_key", "high_bell = not high_key"),
        ("low_key, high_key", "low_key, high_key by hand"),
        ("never (low_key and high_key)", "never (low_key and not high_key)"),
        ("    output", "    inputs may change together\n    output"),
    ],
)
def test_what_every_verdict_hangs_on_is_in_every_key(old: str, new: str) -> None:
    assert old in BELLS
    assert set(keys_of(BELLS.replace(old, new))).isdisjoint(keys_of(BELLS))


def test_a_let_with_another_meaning_changes_the_key_of_its_claim_alone() -> None:
    before = keys_of(BELLS)
    after = keys_of(BELLS.replace("low_bell and high_bell", "low_bell or high_bell"))
    assert (before[0] == after[0], before[1] == after[1]) == (False, True)


def test_another_version_of_edgewright_recognises_nothing() -> None:
    design = loads(BELLS, "bells.wiring").designs[0]
    assert set(claim_keys(design, "1")).isdisjoint(claim_keys(design, "2"))


LEAVES = st.text(alphabet="0123456789:texnu", max_size=4) | st.integers(2, 12) | st.none()
DATA = st.recursive(LEAVES, lambda inner: st.lists(inner, max_size=3).map(tuple), max_leaves=8)


@given(DATA, DATA)
def test_no_choice_of_texts_makes_one_content_look_like_another(left: object, right: object) -> None:
    assert (digest(left) == digest(right)) is (left == right)


@given(
    st.lists(st.text(alphabet="a1:", max_size=3), max_size=4), st.lists(st.text(alphabet="a1:", max_size=3), max_size=4)
)
def test_moving_a_character_from_one_name_to_the_next_is_seen(left: list[str], right: list[str]) -> None:
    assert (digest(tuple(left)) == digest(tuple(right))) is (left == right)
    assert (digest(frozenset(left)) == digest(frozenset(right))) is (set(left) == set(right))
    assert (digest(dict.fromkeys(left)) == digest(dict.fromkeys(right))) is (set(left) == set(right))


def test_a_float_has_no_digest() -> None:
    with pytest.raises(TypeError):
        digest((1, 0.5))


def test_a_very_deep_formula_has_a_digest() -> None:
    nested: object = "low_bell"
    for _ in range(20_000):
        nested = (nested,)
    assert len(digest(nested)) == 32
