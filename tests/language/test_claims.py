"""Claims as they come out of a file: names, kinds, views, texts, formulas, and the `breaks` list."""

from __future__ import annotations

import pytest

from verifier.claims import formula as f
from verifier.claims.claim import ClaimKind, Design, View
from verifier.claims.formula import Bound, Tightest, Unit
from verifier.errors import SourceError
from verifier.language import loads

PINS = "    input tempo free running\n    input lever, n[4]\n    output beat\n"


def design_of(claims: str, header: str = "circuit mux") -> Design:
    text = f"{header}\n{PINS}    beat = tempo\n" + "".join(f"    {line}\n" for line in claims.split("\n"))
    return loads(text, "bells.wiring").designs[0]


def formula_of(claim: str) -> f.Formula:
    return design_of(f"must it: {claim}").claims[0].formula


TEMPO = f.Signal(name="tempo", nets=(0,))
LEVER = f.Signal(name="lever", nets=(1,))
N = f.Signal(name="n", nets=(2, 3, 4, 5), width=4)
BEAT = f.Signal(name="beat", nets=(6,))


@pytest.mark.parametrize(
    ("claim", "formula"),
    [
        ("lever leads to beat", f.LeadsTo(left=LEVER, right=BEAT)),
        ("lever leads to beat within 3 steps", f.LeadsTo(left=LEVER, right=BEAT, bound=Bound(3, Unit.STEPS))),
        (
            "lever leads to beat within 2 falls of tempo",
            f.LeadsTo(left=LEVER, right=BEAT, bound=Bound(2, Unit.FALLS, TEMPO)),
        ),
        (
            "lever leads to beat within ? rises of tempo",
            f.LeadsTo(left=LEVER, right=BEAT, bound=Bound(Tightest.ASKED, Unit.RISES, TEMPO)),
        ),
        (
            "lever leads to beat within 30 ns",
            f.LeadsTo(left=LEVER, right=BEAT, bound=Bound(30, Unit.NANOSECONDS)),
        ),
        ("beat never glitches", f.NeverGlitches(signal=BEAT)),
        ("(n) never glitches", f.NeverGlitches(signal=N)),
        ("n[2..1] never glitches", f.NeverGlitches(signal=f.Signal(name="n[2..1]", nets=(3, 4), width=2))),
        (
            "pulses of beat last at least 10 ns",
            f.PulsesLast(signal=BEAT, pulses=f.Pulses.BOTH, at_least=Bound(10, Unit.NANOSECONDS)),
        ),
        (
            "low pulses of n[3] last at least ? ns",
            f.PulsesLast(
                signal=f.Signal(name="n[3]", nets=(5,)),
                pulses=f.Pulses.LOW,
                at_least=Bound(Tightest.ASKED, Unit.NANOSECONDS),
            ),
        ),
        ("lever again and again", f.AgainAndAgain(operand=LEVER)),
        ("lever until beat", f.Until(left=LEVER, right=BEAT)),
        ("lever implies beat", f.Apply(operator=f.Operator.IMPLIES, operands=(LEVER, BEAT))),
        ("nand(lever, beat)", f.Apply(operator=f.Operator.NAND, operands=(LEVER, BEAT))),
        (
            "(n at the last lever) == n",
            f.Compare(
                comparison=f.Comparison.EQUAL, left=f.AtTheLast(operand=N, trigger=LEVER, width=4), right=N
            ),
        ),
        (
            "n < 12",
            f.Compare(comparison=f.Comparison.LESS, left=N, right=f.Literal(value=12, width=4)),
        ),
        ("n[3]", f.Slice(operand=N, high=3, low=3)),
        (
            "join(lever, 0b01, n[0]) == n",
            f.Compare(
                comparison=f.Comparison.EQUAL,
                left=f.Join(parts=(LEVER, f.Literal(value=1, width=2), f.Slice(operand=N, high=0, low=0)), width=4),
                right=N,
            ),
        ),
        (
            "beat within the last 4 ns",
            f.WithinTheLast(operand=BEAT, bound=Bound(4, Unit.NANOSECONDS)),
        ),
    ],
)  # fmt: skip
def test_phrases_become_formulas(claim: str, formula: f.Formula) -> None:
    assert formula_of(claim) == formula


def test_every_node_has_a_width_and_a_span() -> None:
    formula = formula_of("if lever then n + 1 == before n else n steady and not (beat since lever)")
    for node in f.walk(formula):
        assert node.span is not None
        assert node.span.line == 6
    widths = {type(node): node.width for node in f.walk(formula)}
    assert widths[f.Add] == widths[f.Before] == 4
    assert widths[f.Select] == widths[f.Compare] == widths[f.Step] == 1


def test_let_names_stand_for_their_formulas_and_may_be_buses() -> None:
    claims = design_of("let twice = n + n\nlet odd = twice[0]\nmust it: odd implies twice == 3").claims
    add = f.Add(left=N, right=N, width=4)
    assert f.Slice(operand=add, high=0, low=0) in f.walk(claims[0].formula)
    assert f.Compare(comparison=f.Comparison.EQUAL, left=add, right=f.Literal(value=3, width=4)) in f.walk(
        claims[0].formula
    )


def test_settles_is_the_last_claim_of_every_design() -> None:
    settles = design_of("can it: beat").claims[-1]
    assert (settles.name, settles.kind, settles.formula) == ("settles", ClaimKind.ALWAYS_THERE, f.Settles())


def test_the_breaks_list_marks_claims_even_those_without_an_engine() -> None:
    design = design_of("must a: beat until lever\ncan b: beat\nmust c: beat", "circuit mux breaks a, settles")
    assert [(claim.name, claim.expected_to_break) for claim in design.claims] == [
        ("a", True), ("b", False), ("c", False), ("settles", True),
    ]  # fmt: skip


def test_views_are_named_or_follow_from_ns() -> None:
    claims = design_of(
        "must a in any delay view: beat\nmust b in timed view: beat\nmust c in settled view: beat\n"
        "must d: lever leads to beat within 3 ns\nmust e: beat"
    ).claims
    assert [claim.view for claim in claims] == [
        View.ANY_DELAY, View.TIMED, View.SETTLED, View.TIMED, View.SETTLED, View.SETTLED,
    ]  # fmt: skip


def test_the_text_of_a_claim_is_folded_to_one_line_without_comments() -> None:
    design = design_of(
        "must it:\n    (lever   rises   # pulled\n     and beat)\n       only when tempo\ngiven g: never lever"
    )
    assert design.claims[0].text == "(lever rises and beat) only when tempo"
    assert design.givens[0].text == "never lever"


CONTRACT = (
    "contract beat_source\n"
    + PINS
    + "    inputs may change together\n    let fast = tempo changes\n    given calm: never fast\n"
    + "    must follows: beat == tempo\n"
)


def test_a_contract_gives_pins_claims_givens_and_lets_to_each_circuit() -> None:
    file = loads(
        CONTRACT
        + "circuit one fits beat_source, breaks own\n    inner = not tempo\n    beat = not inner\n"
        + "    must own: inner and fast\n    let slow = not fast\n    given quiet: slow\n"
        + "circuit two fits beat_source\n    beat = tempo\n",
        "bells.wiring",
    )
    one, two = file.designs
    assert [claim.name for claim in one.claims] == ["follows", "own", "settles"]
    assert [claim.name for claim in two.claims] == ["follows", "settles"]
    assert [given.name for given in one.givens] == ["calm", "quiet"]
    assert [given.name for given in two.givens] == ["calm"]
    assert one.claims[0].formula == two.claims[0].formula
    assert one.contract == two.contract == "beat_source"
    assert one.netlist.inputs_may_change_together
    assert [claim.expected_to_break for claim in one.claims] == [False, True, False]


def test_formulas_of_a_contract_name_the_nets_of_each_circuit() -> None:
    file = loads(CONTRACT + "circuit one fits beat_source\n    beat = tempo\n", "bells.wiring")
    for node in f.walk(file.designs[0].claims[0].formula):
        if isinstance(node, f.Signal):
            assert file.designs[0].netlist.signals[node.name] == node.nets


def test_claims_of_a_circuit_reach_nets_inside_parts() -> None:
    text = (
        "part half_adder(a, b) gives (sum, carry)\n    sum = xor(a, b)\n    both = a and b\n    carry = both\n"
        "circuit mux\n    input a, b\n    output s[2]\n    net c[1]\n    s[0], s[1] = half_adder(a, b)\n    c = a\n"
        "    t, u = half_adder(a, c)\n    must it: s[0].both implies t.carry or u or t.sum\n"
    )
    design = loads(text, "bells.wiring").designs[0]
    names = {node.name for node in f.walk(design.claims[0].formula) if isinstance(node, f.Signal)}
    assert names == {"s[0].both", "t.carry", "u", "t.sum"}
    for node in f.walk(design.claims[0].formula):
        if isinstance(node, f.Signal):
            assert design.netlist.signals[node.name] == node.nets


def test_a_let_may_stand_after_its_use_and_use_later_ones() -> None:
    early = ["let wide = n", "let calm = not (wide changes)", "let busy = calm", "must it: busy only when wide == 3"]
    late = early[::-1]
    assert design_of("\n".join(late)).claims[0].formula == design_of("\n".join(early)).claims[0].formula


def test_the_claims_of_a_contract_may_use_its_later_lets_and_circuits_all_of_them() -> None:
    file = loads(
        "contract beat_source\n    input tempo\n    output beat\n    must a: up\n    let up = beat == tempo\n"
        "circuit one fits beat_source\n    beat = tempo\n    must b: down\n    let down = not not up\n",
        "bells.wiring",
    )
    assert [claim.name for claim in file.designs[0].claims] == ["a", "b", "settles"]


def test_a_second_let_of_a_name_is_an_error_at_the_second_and_both_formulas_are_read() -> None:
    with pytest.raises(SourceError) as caught:
        design_of("must it: a\nlet a = beat\nlet a = lever and tmpo")
    assert [(finding.code, finding.span.line) for finding in caught.value.diagnostics] == [
        ("name-taken", 8),
        ("unknown-name", 8),
    ]


def test_many_lets_in_circles_are_reported_and_end() -> None:
    lets = "\n".join(f"let l{n} = l{n + 1 if n % 2 == 0 else n - 1}" for n in range(2_000))
    with pytest.raises(SourceError) as caught:
        design_of(lets)
    assert {finding.code for finding in caught.value.diagnostics} == {"recursive-let"}


def test_a_long_chain_of_lets_needs_no_recursion() -> None:
    lets = "\n".join(f"let l{n} = l{n + 1}" for n in range(5_000))
    design = design_of(f"must it: l0\n{lets}\nlet l5000 = beat")
    assert design.claims[0].formula == BEAT


def test_a_formula_that_grows_without_bound_is_refused() -> None:
    lets = "\n".join(f"let l{number + 1} = l{number} xor l{number}" for number in range(40))
    with pytest.raises(SourceError) as caught:
        design_of(f"let l0 = beat\n{lets}\nmust it: l40")
    assert {finding.code for finding in caught.value.diagnostics} == {"too-large"}


def test_a_formula_that_grows_too_deep_is_refused() -> None:
    lets = "\n".join(f"let l{number + 1} = {'not ' * 50}l{number}" for number in range(10))
    with pytest.raises(SourceError) as caught:
        design_of(f"let l0 = beat\n{lets}\nmust it: l10")
    assert "too-deep" in {finding.code for finding in caught.value.diagnostics}
