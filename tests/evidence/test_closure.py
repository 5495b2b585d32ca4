"""The second opinion on all reachable states, against states found one at a time in plain Python."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from random import Random

import numpy as np
import pytest

from evidence.plain_delays import NO, YES, PlainElement, PlainSystem, PlainTimer, State, both, negated, random_system
from verifier.errors import InternalDisagreement
from verifier.evidence import closure, closure_start, closure_steps
from verifier.evidence.closure import recheck_states
from verifier.evidence.closure_keys import SortedKeys, places_for
from verifier.evidence.replay import Unconfirmed
from verifier.logic.delay_system import DelaySystem
from verifier.logic.reached_states import NOT_EXCITED, ReachedStates, StateColumns, layout_of

MOST_STATES = 400


def packed_states(system: DelaySystem, states: Iterable[State]) -> ReachedStates:
    rows = list(states)
    layout = layout_of(system)
    nothing = ReachedStates(layout, tuple(np.zeros(0, np.uint64) for _ in range(layout.word_count)))
    columns = StateColumns(
        values=tuple(np.array([row.values[i] for row in rows], np.bool_) for i in range(len(layout.values))),
        ages=tuple(
            np.array([NOT_EXCITED if row.ages[i] is None else row.ages[i] for row in rows], np.int64)
            for i in range(len(layout.ages))
        ),
        counts=tuple(np.array([row.timers[i] for row in rows], np.int64) for i in range(len(layout.counts))),
    )
    return ReachedStates(layout, nothing.packed(columns))


def judged(system: DelaySystem, states: Iterable[State]) -> str:
    """ "" when the states are accepted, else what was found."""
    try:
        recheck_states(system, packed_states(system, states), limit_seconds=60)
    except InternalDisagreement as found:
        return str(found)
    return ""


def systems_with_states(seed: int, count: int) -> Iterable[tuple[PlainSystem, set[State], bool]]:
    """Random systems that reach something, and not too much."""
    random = Random(seed)
    while count:
        plain = random_system(random)
        reached = plain.reachable(MOST_STATES)
        if reached is not None and reached[0]:
            count -= 1
            yield plain, *reached


def first_order(states: Iterable[State]) -> list[State]:
    return sorted(states, key=repr)


@pytest.mark.parametrize("seed", range(20))
def test_all_reachable_states_are_accepted_unless_something_bad_is_among_them(seed: int) -> None:
    for plain, reached, is_bad in systems_with_states(seed, 20):
        found = judged(plain.built(), reached)
        assert ("is bad" in found) if is_bad else found == ""


def test_the_random_systems_have_a_little_of_everything() -> None:
    systems = [system for seed in range(5) for system in systems_with_states(seed, 20)]
    sizes = sorted(len(reached) for _, reached, _ in systems)
    words = {layout_of(plain.built()).word_count for plain, _, _ in systems}
    assert sum(is_bad for *_, is_bad in systems) in range(15, 75)
    assert sizes[len(sizes) // 2] > 20
    assert words >= {1, 2, 3}
    for has_it in (
        lambda plain: plain.timed,
        lambda plain: not plain.timed,
        lambda plain: plain.choices == 2,
        lambda plain: len(plain.followers) == 2,
        lambda plain: len(plain.timers) == 2,
        lambda plain: len(plain.sources) == 3,
        lambda plain: any(len(bits) > 1 for bits, _ in plain.moves),
        lambda plain: any(element.optional != ("const", False) for element in plain.elements),
    ):
        assert sum(bool(has_it(plain)) for plain, *_ in systems) >= 10


@pytest.mark.parametrize("seed", range(100, 112))
def test_without_any_one_of_the_reachable_states_the_proof_is_refused(seed: int) -> None:
    for plain, reached, is_bad in systems_with_states(seed, 8):
        if is_bad or len(reached) > 60:
            continue
        system, ordered = plain.built(), first_order(reached)
        firsts = {state for state, _ in plain.first_states()}
        for i, state in enumerate(ordered):
            found = judged(system, ordered[:i] + ordered[i + 1 :])
            assert "first state is not among" in found if state in firsts else "leads out of" in found


@pytest.mark.parametrize("seed", range(200, 210))
def test_a_state_more_is_accepted_if_and_only_if_its_steps_stay_inside_and_are_not_bad(seed: int) -> None:
    random = Random(seed)
    verdicts = set()
    for plain, reached, is_bad in systems_with_states(seed, 12):
        if is_bad:
            continue
        system = plain.built()
        for _ in range(8):
            more = plain.random_state(random)
            enlarged = reached | {more}
            steps = list(plain.steps(more))
            found = judged(system, first_order(enlarged))
            stays = all(after in enlarged for _, after, _ in steps)
            assert (found == "") == (stays and not any(bad for *_, bad in steps))
            verdicts.add(stays)
    assert verdicts == {True, False}


@pytest.mark.parametrize("seed", range(300, 306))
def test_it_does_not_matter_how_many_are_taken_at_once(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(closure, "STATES_AT_ONCE", 5)
    monkeypatch.setattr(closure_steps, "STEPS_AT_ONCE", 3)
    monkeypatch.setattr(closure_start, "ROWS_AT_ONCE", 2)
    for plain, reached, is_bad in systems_with_states(seed, 4):
        system, ordered = plain.built(), first_order(reached)
        found = judged(system, ordered)
        assert ("is bad" in found) if is_bad else found == ""
        if not is_bad:
            assert judged(system, ordered[1:]) != ""
            assert judged(system, ordered[:-1]) != ""


def one_bell(**changes: object) -> PlainSystem:
    """A bell that follows a rope within 2 to 3 ns, and a timer that counts the ns since it rang."""
    plain = PlainSystem(
        timed=True,
        sources=["rope"],
        elements=[PlainElement("bell", ("var", "now rope"), (2, 3), (2, 3))],
        timers=[PlainTimer("silence", 4, ("var", "now bell"), 4, (4,))],
        moves=[(("rope",), negated(("xor", ("var", "now rope"), ("var", "now bell"))))],
        first=both(negated(("var", "now rope")), negated(("var", "now bell"))),
    )
    return replace(plain, **changes)


def all_states(plain: PlainSystem) -> list[State]:
    reached = plain.reachable(MOST_STATES)
    assert reached is not None
    return first_order(reached[0])


def test_what_is_missing_is_named_with_the_state_and_the_step_before_it() -> None:
    plain = one_bell()
    states = all_states(plain)
    missing = State((True, True), (None,), (0,))
    assert judged(plain.built(), states) == ""
    found = judged(plain.built(), [state for state in states if state != missing])
    assert found.startswith(
        f"a step leads out of the {len(states) - 1} states of the proof: firing bell, from the state "
    )
    assert found.endswith("to (rope 1, bell 1, silence at 0 ns)")


def test_a_missing_first_state_is_named() -> None:
    plain = one_bell(moves=[])
    found = judged(plain.built(), [])
    assert found == "a first state is not among the 0 states of the proof: (rope 0, bell 0, silence at 4 ns)"


def test_no_states_prove_what_cannot_start() -> None:
    plain = one_bell(first=both(("var", "now rope"), negated(("var", "now rope"))), bad=YES)
    assert judged(plain.built(), []) == ""


def test_a_bad_step_is_named() -> None:
    plain = one_bell(bad=both(both(("var", "before bell"), ("var", "now rope")), ("var", "tick")))
    found = judged(plain.built(), all_states(plain))
    assert found.startswith("a step is bad: a tick of one ns, from the state (rope 1, bell 1, silence at 0 ns")


def test_a_bad_first_state_is_named() -> None:
    plain = one_bell(bad_at_first=negated(("var", "now bell")))
    found = judged(plain.built(), all_states(plain))
    assert found == "a first state is bad: (rope 0, bell 0, silence at 4 ns)"


def test_a_bad_step_that_is_not_permitted_is_no_step() -> None:
    plain = one_bell(bad=("var", "now bell"), permitted=negated(("var", "now bell")))
    assert judged(plain.built(), all_states(plain)) == ""


def test_two_choices_that_must_agree_are_found() -> None:
    """Neither choice alone is bad; three-valued logic alone would not tell."""
    agree = negated(("xor", ("var", "choice 0"), ("var", "choice 1")))
    plain = one_bell(choices=2, bad=both(agree, negated(agree)))
    assert judged(plain.built(), all_states(plain)) == ""
    plain = one_bell(choices=2, bad=both(both(("var", "choice 0"), ("var", "choice 1")), ("var", "now bell")))
    assert "a step is bad: firing bell" in judged(plain.built(), all_states(plain))


def test_a_formula_that_reads_a_follower_too_early_is_an_error() -> None:
    plain = one_bell(followers=[("memory", ("var", "now echo")), ("echo", ("var", "now bell"))], first=NO)
    with pytest.raises(ValueError, match="now echo is read before it has its value"):
        judged(plain.built(), [])


def test_too_little_time_is_no_answer() -> None:
    plain = one_bell()
    system = plain.built()
    with pytest.raises(Unconfirmed, match="within 0 s"):
        recheck_states(system, packed_states(system, all_states(plain)), limit_seconds=0)


def test_sixty_bits_that_are_free_at_first_are_not_waited_for() -> None:
    plain = one_bell(sources=["rope", *(f"lever{i}" for i in range(60))], first=YES)
    with pytest.raises((Unconfirmed, InternalDisagreement)):
        recheck_states(plain.built(), packed_states(plain.built(), []), limit_seconds=0.2)


@pytest.mark.parametrize("words", [1, 2, 3])
def test_a_set_of_keys_lacks_exactly_what_is_not_in_it(words: int) -> None:
    random = np.random.default_rng(words)
    letters = random.integers(0, 2**64, 7, dtype=np.uint64)
    keys = [letters[random.integers(0, 7, 60)] for _ in range(words)]
    members = set(zip(*(key.tolist() for key in keys), strict=True))
    found = SortedKeys(keys)
    assert list(zip(*(word.tolist() for word in found.words), strict=True)) == sorted(members)
    for _ in range(300):
        asked = [random.choice(np.append(letters, letters[0] ^ np.uint64(1)), 3) for _ in range(words)]
        rows = list(zip(*(word.tolist() for word in asked), strict=True))
        assert found.first_absent(asked) == next((i for i, row in enumerate(rows) if row not in members), None)


def test_no_field_lies_across_two_words() -> None:
    places = places_for([40, 20, 10, 64, 1])
    assert [(place.word, place.shift, place.width) for place in places] == [
        (0, 24, 40),
        (0, 4, 20),
        (1, 54, 10),
        (2, 0, 64),
        (3, 63, 1),
    ]
