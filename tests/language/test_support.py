"""Which claims a view can judge, and which phrase is named when it cannot."""

from __future__ import annotations

import pytest

from verifier.claims.support import unsupported
from verifier.language import loads


def phrase(statement: str) -> str | None:
    text = (
        "circuit mux\n    input tempo, lever, n[4]\n    output beat\n    beat = tempo and lever and n[0]\n"
        f"    {statement}\n"
    )
    design = loads(text, "bells.wiring").designs[0]
    found = unsupported(design.givens[0] if design.givens else design.claims[0])
    if found is None:
        return None
    assert found[1] is not None
    assert found[1].line == 5
    return found[0]


@pytest.mark.parametrize(
    "statement",
    [
        "must it: beat",
        "must it: beat implies lever since before tempo",
        "must it: once beat or (n at the last lever rises) == 3",
        "must it: beat within the last 3 steps",
        "must it: beat changes only when tempo changes or lever steady",
        "must it: never (beat falls and n changes)",
        "must it: n never glitches",
        "must it: lever leads to beat within 3 steps",
        "must it: lever leads to beat within 3 rises of tempo",
        "must it: lever leads to beat within 1 falls of n[0]",
        "must it: always (beat implies lever)",
        "must it: beat for good",
        "can it: beat rises",
        "can it: eventually beat",
        "given it: lever since tempo",
        "given it: never lever",
        "given it: lever only when tempo",
        "given it: lever leads to tempo within 2 steps",
        "given it: lever leads to tempo within 2 rises of tempo",
        "must it: lever leads to beat within 3 rises of (next tempo)",
        "must it: lever leads to beat",
        "must it: lever for good leads to beat within 2 steps",
        "must it: lever leads to beat for good within 2 steps",
        "must it: beat until lever",
        "must it: next beat",
        "must it: lever implies eventually beat",
        "must it: eventually beat",
        "must it: always eventually beat",
        "must it: always beat and lever",
        "must it: never next beat",
        "must it: beat again and again",
        "can it: always beat",
        "can it: eventually next beat",
        "given it: tempo again and again",
        "given it: always tempo",
        "given it: lever leads to tempo",
        "must it: lever leads to beat within ? steps",
        "must it: beat within the last ? steps",
        "must it: lever leads to beat within 30 ns",
        "must it: pulses of beat last at least 3 ns",
        "must it: pulses of beat last at least ? ns",
        "must it in any delay view: beat never glitches",
        "must it in any delay view: lever leads to beat within 3 steps",
        "must it in timed view: beat",
        "can it in timed view: beat rises",
        "given it: lever within the last 20 ns",
        "given it: lever leads to tempo within 20 ns",
    ],
)
def test_its_view_judges_it(statement: str) -> None:
    assert phrase(statement) is None


@pytest.mark.parametrize(
    ("statement", "named"),
    [
        ("can it: beat within the last ? steps", "?"),
        ("must it in any delay view: next beat", "next in a delay view"),
        ("must it in any delay view: lever leads to beat", "leads to, without a bound, in a delay view"),
        ("must it in timed view: beat within the last 3 steps", "steps"),
        ("must it in timed view: always beat", "always in a delay view"),
        ("given it: beat never glitches", "never glitches"),
        ("given it: pulses of lever last at least 20 ns", "pulses of ... last at least ... ns"),
    ],
)
def test_the_phrase_in_the_way_is_named(statement: str, named: str) -> None:
    assert phrase(statement) == named


def test_a_bare_formula_is_taken_as_a_must_claim() -> None:
    body = "    must it: always b\n    must other: b within the last 2 ns\n"
    text = f"circuit m\n    input a\n    output b\n    b = a\n{body}"
    claims = loads(text, "bells.wiring").designs[0].claims
    assert unsupported(claims[0].formula) is None
    assert unsupported(claims[1].formula) == ("ns", claims[1].formula.span)
    assert unsupported(claims[2]) is None
