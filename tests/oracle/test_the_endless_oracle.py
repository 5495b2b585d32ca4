"""The oracle for endless runs: examples worked out by hand, textbook laws, and all short lassos of small circuits."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oracle.endless import EndlessOracle
from oracle.hand_worked import bits
from oracle.lasso_truth import Truth
from oracle.laws import (
    LAWS,
    NO_LAWS,
    again,
    always,
    before,
    both,
    changes,
    either,
    eventually,
    following,
    implies,
    no,
    once,
    since,
    until,
)
from oracle.random_formulas import text_of
from oracle.random_temporal import TemporalMaker, random_temporal_design
from oracle.search import Behaviour, ContradictoryGivensError, NoPowerUpStateError
from oracle.targets import TooBigError, Work
from oracle.wiring import Wiring, can, design_of, must, signal
from verifier.circuit.netlist import Edge, FlipFlopKind, GateKind, InputClass, Netlist
from verifier.claims.claim import ClaimKind, Given
from verifier.claims.formula import (
    AtTheLast,
    Bound,
    Formula,
    LeadsTo,
    Never,
    NeverGlitches,
    OnlyWhen,
    Signal,
    Unit,
    WithinTheLast,
)
from verifier.claims.run import Instant

A = Signal(name="a", nets=(0,))
B = Signal(name="b", nets=(1,))
C = Signal(name="c", nets=(2,))


# The meaning of words on a lasso


def truth(words: str) -> Truth:
    """One word with a letter a net for each instant; `|` stands where the loop begins."""
    way, loop = words.split("|")
    instants = tuple(bits(word) for word in (*way.split(), *loop.split()))
    return Truth(instants, len(way.split()))


def told(formula: Formula, words: str, count: int) -> str:
    read = truth(words)
    return "".join(str(read.at(formula, position)) for position in range(count))


@pytest.mark.parametrize(
    ("formula", "words", "expected"),
    [
        (A, "1 0 | 1 1 0", "1011011011"),
        (following(A), "1 | 0 0", "0000"),
        (following(A), "0 | 1 0", "101010"),
        (always(A), "1 0 1 | 1", "001111"),
        (always(A), "| 1 0", "0000"),
        (eventually(A), "0 1 0 | 0", "110000"),
        (eventually(A), "| 0 0 1", "111111"),
        (until(A, B), "10 10 01 10 | 00", "111000"),
        # `until` promises its end: it never comes.
        (until(A, B), "10 | 10", "0000"),
        (until(A, B), "| 10 01", "1111"),
        (again(A), "1 1 | 0", "0000"),
        (again(A), "0 | 0 1", "1111"),
        (eventually(always(A)), "0 0 | 1", "1111"),
        (once(A), "0 | 0 1", "001111"),
        (before(A), "1 | 0 1", "11010101"),
        (changes(A), "0 | 1 1", "0100000"),
        (changes(A), "| 1 0", "0111111"),
        (since(A, B), "10 01 10 | 10 00", "0111000000"),
        (since(A, B), "01 | 10 10", "1111111"),
        (AtTheLast(operand=A, trigger=B), "11 | 00 01", "1100000"),
        (AtTheLast(operand=A, trigger=B), "00 | 10 11 00", "0011111"),
        (WithinTheLast(operand=A, bound=Bound(2, Unit.STEPS)), "1 0 | 0", "111000"),
        # A word of the past in one of the future and the other way round.
        (eventually(before(both(A, B))), "11 | 00", "11000"),
        (once(following(A)), "0 0 1 | 0", "011111"),
        (before(eventually(A)), "1 | 0", "1100"),
        (always(once(A)), "0 1 | 0", "01111"),
    ],
)
def test_a_word_has_the_value_at_each_instant_that_the_reference_says(
    formula: Formula, words: str, expected: str
) -> None:
    assert told(formula, words, len(expected)) == expected


@pytest.mark.parametrize(
    ("formula", "words", "holds"),
    [
        (LeadsTo(left=A, right=B), "10 00 | 01 00", True),
        (LeadsTo(left=A, right=B), "01 | 10 00", False),
        (LeadsTo(left=A, right=B), "10 01 10 | 00", False),
        (LeadsTo(left=A, right=B, bound=Bound(2, Unit.STEPS)), "| 10 00 01", True),
        (LeadsTo(left=A, right=B, bound=Bound(1, Unit.STEPS)), "| 10 00 01", False),
        (LeadsTo(left=A, right=B, bound=Bound(1, Unit.STEPS)), "| 01 10", True),
        # The second rise never comes, so there is no deadline to miss.
        (LeadsTo(left=A, right=B, bound=Bound(2, Unit.RISES, C)), "100 001 | 001", True),
        (LeadsTo(left=A, right=B, bound=Bound(2, Unit.RISES, C)), "100 001 | 000 001", False),
        (LeadsTo(left=A, right=B, bound=Bound(2, Unit.RISES, C)), "100 001 000 011 | 000 001", True),
        (OnlyWhen(left=A, right=once(B)), "01 | 10", True),
        (Never(operand=both(A, B)), "01 10 | 10 01 11", False),
        # Meant at instant 0, and at every instant.
        (eventually(A), "1 | 0", True),
        (no(no(eventually(A))), "1 | 0", False),
    ],
)
def test_a_claim_is_meant_at_every_instant_unless_a_word_of_the_future_stands_outermost(
    formula: Formula, words: str, holds: bool
) -> None:
    assert truth(words).holds(formula) is holds


# Laws


@st.composite
def lassos(draw: st.DrawFn) -> Truth:
    instant = st.tuples(st.booleans(), st.booleans())
    way, loop = draw(st.lists(instant, max_size=4)), draw(st.lists(instant, min_size=1, max_size=4))
    return Truth((*way, *loop), len(way))


PIECES = (A, B, no(A), changes(B), once(A), since(A, B), until(A, B), eventually(both(A, before(B))), following(A))


@pytest.mark.parametrize("name", LAWS)
@settings(max_examples=40, deadline=None, database=None)
@given(read=lassos(), f=st.sampled_from(PIECES), g=st.sampled_from(PIECES))
def test_a_textbook_law_holds_at_every_instant_of_every_run(name: str, read: Truth, f: Formula, g: Formula) -> None:
    assert read.breaches(LAWS[name](f, g)) == []


def two_free_inputs() -> Netlist:
    together = Wiring("keys", inputs_may_change_together=True)
    return together.input("lever").input("choose").gate("any", GateKind.OR, "lever", "choose").netlist()


@pytest.mark.parametrize("name", LAWS)
def test_the_oracle_proves_a_textbook_law_of_inputs_that_may_do_anything(name: str) -> None:
    netlist = two_free_inputs()
    law = LAWS[name](signal(netlist, "lever"), signal(netlist, "choose"))
    assert verdicts(netlist, {}, law) == ["proved", "proved"]


@pytest.mark.parametrize("name", NO_LAWS)
def test_the_oracle_breaks_what_is_no_law_and_can_show_why(name: str) -> None:
    netlist = two_free_inputs()
    formula = NO_LAWS[name](signal(netlist, "lever"), signal(netlist, "choose"))
    oracle = EndlessOracle(design_of(netlist, [must(name, formula)]))
    assert oracle.answers()[0].verdict == "broken"
    assert not Truth(*oracle.moments(formula, is_can=False).lasso()).holds(formula)


# Circuits worked out by hand


def halved_tempo() -> Netlist:
    """A toggle that follows the tempo while `choose` is high."""
    return (
        Wiring("halved")
        .input("tempo", InputClass.FREE_RUNNING)
        .input("choose", InputClass.BY_HAND)
        .flip_flop("beat", FlipFlopKind.TOGGLE, "choose", clock="tempo", edge=Edge.RISE, start=False)
        .netlist()
    )


def test_a_toggle_that_is_kept_enabled_changes_again_and_again_and_one_that_is_not_may_stop() -> None:
    netlist = halved_tempo()
    tempo, choose, beat = (signal(netlist, name) for name in ("tempo", "choose", "beat"))
    claims = [
        must("tempo_goes_on", again(tempo)),
        must("beat_goes_on", again(beat)),
        must("chosen_beat_goes_on", LeadsTo(left=always(choose), right=beat)),
        must("short_choice", LeadsTo(left=choose, right=beat)),
        must("chosen_again_and_again", implies(again(choose), again(changes(beat)))),
        must("every_beat_was_chosen", implies(changes(beat), once(choose))),
        can("silent", always(no(beat))),
        can("frozen", eventually(always(both(choose, no(beat))))),
        can("tempo_stops", eventually(always(tempo))),
        must("stays", implies(always(no(choose)), either(always(beat), always(no(following(beat)))))),
    ]
    answers = EndlessOracle(design_of(netlist, claims)).answers()
    assert {answer.name: answer.verdict for answer in answers} == {
        "tempo_goes_on": "proved",
        "beat_goes_on": "broken",
        "chosen_beat_goes_on": "proved",
        "short_choice": "broken",
        # The lever may be let go again before each rise of the tempo.
        "chosen_again_and_again": "broken",
        "every_beat_was_chosen": "proved",
        "silent": "shown",
        "frozen": "impossible",
        "tempo_stops": "impossible",
        "stays": "proved",
        "settles": "proved",
    }


def verdicts(netlist: Netlist, givens: dict[str, Formula], *claims: Formula) -> list[str]:
    stated = [must(f"claim_{number}", formula) for number, formula in enumerate(claims)]
    design = design_of(netlist, stated, [Given(name=name, formula=given, text=name) for name, given in givens.items()])
    return [answer.verdict for answer in EndlessOracle(design).answers()]


def test_a_given_about_the_future_restricts_the_runs_of_every_claim() -> None:
    netlist = halved_tempo()
    tempo, choose, beat = (signal(netlist, name) for name in ("tempo", "choose", "beat"))
    fast = {"rises_while_chosen": again(both(choose, changes(tempo), tempo))}
    assert verdicts(netlist, {}, again(changes(beat))) == ["broken", "proved"]
    assert verdicts(netlist, fast, again(changes(beat))) == ["proved", "proved"]
    # A claim about the past, whose finite breach no permitted run can go on from.
    assert verdicts(netlist, {}, Never(operand=beat)) == ["broken", "proved"]
    assert verdicts(netlist, {"silent": always(no(beat))}, Never(operand=beat)) == ["proved", "proved"]
    assert verdicts(netlist, {"silent_at_last": LeadsTo(left=beat, right=always(no(choose)))}, Never(operand=beat)) == [
        "broken",
        "proved",
    ]


def test_givens_that_only_runs_with_a_stopped_free_running_input_obey_are_contradictory() -> None:
    netlist = halved_tempo()
    tempo, choose = signal(netlist, "tempo"), signal(netlist, "choose")
    with pytest.raises(ContradictoryGivensError):
        verdicts(netlist, {"stuck": eventually(always(tempo))}, choose)
    with pytest.raises(ContradictoryGivensError):
        verdicts(netlist, {"stuck": no(changes(tempo))}, eventually(choose))
    # No claim needs an endless run, so none asks whether the tempo goes on.
    assert verdicts(netlist, {"stuck": no(changes(tempo))}, choose) == ["broken", "proved"]


def test_a_piece_of_a_run_that_cannot_go_on_is_no_example_for_a_claim_about_the_future() -> None:
    netlist = Wiring("strap").input("lever").netlist()
    lever = signal(netlist, "lever")
    dead_end = {"dead_end": Never(operand=before(lever))}
    # The first two look at every instant by itself, and no further.
    plain = (Never(operand=lever), always(no(lever)))
    assert verdicts(netlist, dead_end, *plain, no(eventually(lever)), always(following(no(lever)))) == [
        "broken",
        "broken",
        "proved",
        "proved",
        "proved",
    ]


def test_a_proof_is_empty_when_no_permitted_endless_run_fires_the_trigger() -> None:
    netlist = halved_tempo()
    tempo, choose = signal(netlist, "tempo"), signal(netlist, "choose")
    claims = [
        must("empty", LeadsTo(left=always(tempo), right=no(choose))),
        must("full", LeadsTo(left=always(choose), right=tempo)),
        must("no_trigger", again(tempo)),
    ]
    answers = EndlessOracle(design_of(netlist, claims)).answers()
    assert [(answer.verdict, answer.empty) for answer in answers[:-1]] == [
        ("proved", True),
        ("proved", False),
        ("proved", False),
    ]


def test_a_race_counts_under_a_given_about_the_future_only_where_the_run_can_go_on() -> None:
    pair = (
        Wiring("pair", inputs_may_change_together=True)
        .input("set_n")
        .input("reset_n")
        .gate("ring", GateKind.NAND, "set_n", "ring_n")
        .gate("ring_n", GateKind.NAND, "reset_n", "ring")
        .netlist()
    )
    set_n, reset_n = signal(pair, "set_n"), signal(pair, "reset_n")
    quiet = {"never_both_again": always(either(set_n, reset_n))}
    assert verdicts(pair, {}, again(set_n))[-1] == "broken"
    assert verdicts(pair, quiet, again(set_n))[-1] == "proved"
    assert verdicts(pair, {"both_once": eventually(both(no(set_n), no(reset_n)))}, again(set_n))[-1] == "broken"


# Against all short lassos


def short_lassos(behaviour: Behaviour, most: int) -> Iterator[tuple[tuple[Instant, ...], int]]:
    """Every endless run of the circuit, fair or not, that can be written down with at most so many instants."""
    pending: list[tuple[Instant, ...]] = [(arrival.instant,) for arrival in behaviour.first()]
    pending = list(dict.fromkeys(pending))
    while pending:
        run = pending.pop()
        after = {arrival.instant for arrival in behaviour.after(run[-1])}
        yield from ((run, start) for start, instant in enumerate(run) if instant in after)
        if len(run) < most:
            pending.extend((*run, instant) for instant in after)


def is_fair(netlist: Netlist, instants: tuple[Instant, ...], loop_from: int) -> bool:
    """Every free-running input has two values on the loop."""
    return all(
        len({tuple(instant[net] for net in pin.nets) for instant in instants[loop_from:]}) > 1
        for pin in netlist.inputs
        if pin.input_class is InputClass.FREE_RUNNING
    )


def small_circuit(random: Random) -> Netlist:
    """Four to eight instants, so that there are not too many lassos."""
    wiring = Wiring("small").input("tempo", random.choice((InputClass.FREE_RUNNING, InputClass.FREE)))
    kind = random.choice((FlipFlopKind.D, FlipFlopKind.TOGGLE))
    edge = random.choice(list(Edge))
    wiring.flip_flop("beat", kind, "other", clock="tempo", edge=edge, start=random.choice((False, True, None)))
    return wiring.gate("other", random.choice((GateKind.NAND, GateKind.XOR, GateKind.OR)), "tempo", "beat").netlist()


@pytest.mark.parametrize("first_seed", range(0, 80, 20))
def test_no_short_lasso_contradicts_a_verdict_and_every_example_the_oracle_finds_is_one(first_seed: int) -> None:
    compared = examples = 0
    for seed in range(first_seed, first_seed + 20):
        random = Random(seed)
        netlist = small_circuit(random)
        maker = TemporalMaker(random, netlist)
        givens = [maker.given("given")] if random.random() < 0.3 else []
        claims = [maker.claim(f"claim_{number}") for number in range(4)]
        runs = [Truth(*lasso) for lasso in short_lassos(Behaviour(netlist), 4) if is_fair(netlist, *lasso)]
        permitted = [run for run in runs if all(run.holds(given.formula) for given in givens)]
        try:
            oracle = EndlessOracle(design_of(netlist, claims, givens))
        except ContradictoryGivensError:
            assert permitted == []
            continue
        for claim in claims:
            if not oracle.is_endless(claim) or isinstance(claim.formula, NeverGlitches):
                continue
            is_can = claim.kind is ClaimKind.CAN
            found = oracle.answer(claim).verdict in ("broken", "shown")
            short = any(is_example(run, claim.formula, is_can) for run in permitted)
            assert found or not short, text_of(claim.formula)
            compared += 1
            if found:
                instants, loop_from = oracle.moments(claim.formula, is_can).lasso()
                assert_example(oracle, claim.formula, is_can, instants, loop_from)
                examples += short
    assert compared > 30
    assert examples > 8


def is_example(run: Truth, formula: Formula, is_can: bool) -> bool:
    return run.shows(formula) if is_can else not run.holds(formula)


def assert_example(
    oracle: EndlessOracle, formula: Formula, is_can: bool, instants: tuple[Instant, ...], loop_from: int
) -> None:
    behaviour, run = oracle.behaviour, Truth(instants, loop_from)
    assert instants[0] in {arrival.instant for arrival in behaviour.first()}
    for old, new in zip(instants, (*instants[1:], instants[loop_from]), strict=True):
        assert new in {arrival.instant for arrival in behaviour.after(old)}
    assert is_fair(oracle.design.netlist, instants, loop_from)
    assert all(run.holds(formula) for formula in oracle.givens)
    assert is_example(run, formula, is_can), text_of(formula)


@pytest.mark.parametrize("first_seed", range(10_000, 10_080, 20))
def test_what_the_oracle_finds_in_random_designs_is_an_example_by_the_meaning_of_words(first_seed: int) -> None:
    examples = 0
    for seed in range(first_seed, first_seed + 20):
        try:
            design = random_temporal_design(Random(seed))
            oracle = EndlessOracle(design, Work(6_000))
            for claim in design.claims[:-1]:
                moments = oracle.moments(claim.formula, claim.kind is ClaimKind.CAN)
                judged_by_steps = isinstance(claim.formula, NeverGlitches) or not oracle.is_endless(claim)
                if not judged_by_steps and any(moment.hit for moment in moments.real):
                    assert_example(oracle, claim.formula, claim.kind is ClaimKind.CAN, *moments.lasso())
                    examples += 1
        except (ContradictoryGivensError, NoPowerUpStateError, TooBigError):
            continue
    assert examples > 3
