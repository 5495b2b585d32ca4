"""Replay accepts what is so and refuses what is not."""

from __future__ import annotations

import pytest

from evidence.bench import wire
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import InputClass, Netlist
from verifier.claims.claim import Claim, ClaimKind, Design, Given
from verifier.claims.formula import (
    Always,
    Apply,
    Bound,
    Compare,
    Comparison,
    Eventually,
    Formula,
    LeadsTo,
    Literal,
    Never,
    NeverGlitches,
    OnlyWhen,
    Operator,
    Settles,
    Signal,
    Step,
    StepWord,
    Unit,
)
from verifier.claims.run import Instant
from verifier.errors import InternalDisagreement
from verifier.evidence.replay import Unconfirmed, replay
from verifier.evidence.simulator import Simulator


def counter() -> Netlist:
    """Counts the rises of `tempo` in two bits, in step."""
    builder = NetlistBuilder("counter")
    builder.input("tempo")
    builder.input("lever", InputClass.BY_HAND)
    wire(builder, "d0 = not q0; d1 = xor q1 q0; full = and q1 q0")
    builder.flip_flop("q0", "d0", "tempo", start=False)
    builder.flip_flop("q1", "d1", "tempo", start=False)
    return builder.build()


COUNTER = counter()


def signal(netlist: Netlist, name: str) -> Signal:
    nets = tuple(number for number, net in enumerate(netlist.nets) if net.name == name)
    return Signal(name=name, nets=nets)


def claim(formula: Formula, kind: ClaimKind = ClaimKind.MUST) -> Claim:
    return Claim(name="sought", kind=kind, formula=formula, text="")


def design(netlist: Netlist, *givens: Formula) -> Design:
    found = tuple(Given(name=f"given_{i}", formula=given, text="") for i, given in enumerate(givens))
    return Design(netlist=netlist, file="bells.wiring", claims=(), givens=found)


def run_of(netlist: Netlist, *settings: dict[str, int]) -> list[Instant]:
    """First outcomes only; the first setting gives the inputs at the first instant."""
    simulator = Simulator(netlist)
    numbers = {net.name: number for number, net in enumerate(netlist.nets)}
    inputs = dict.fromkeys(netlist.input_nets, False)
    inputs.update({numbers[name]: bool(value) for name, value in settings[0].items()})
    instants = [next(simulator.first_instants(inputs))[0]]
    for setting in settings[1:]:
        values = {numbers[name]: bool(value) for name, value in setting.items()}
        instants.append(simulator.step(instants[-1], values)[0].instant)
    return instants


FULL = signal(COUNTER, "full")
TEMPO = signal(COUNTER, "tempo")
LEVER = signal(COUNTER, "lever")
BEAT, REST = {"tempo": 1}, {"tempo": 0}
TO_FULL = run_of(COUNTER, {}, BEAT, REST, BEAT, REST, BEAT)
RISES = Step(word=StepWord.RISES, operand=TEMPO)


def bound(amount: int, unit: Unit, of: Formula | None = None) -> Bound:
    return Bound(amount, unit, of)


@pytest.mark.parametrize(
    "formula",
    [
        Apply(operator=Operator.NOT, operands=(FULL,)),
        Never(operand=FULL),
        Always(operand=Apply(operator=Operator.NOT, operands=(FULL,))),
        OnlyWhen(left=FULL, right=LEVER),
        LeadsTo(left=FULL, right=LEVER, bound=bound(0, Unit.STEPS)),
        LeadsTo(left=RISES, right=LEVER, bound=bound(4, Unit.STEPS)),
        LeadsTo(left=RISES, right=LEVER, bound=bound(2, Unit.RISES, TEMPO)),
    ],
    ids=lambda formula: type(formula).__name__,
)
def test_a_breach_at_the_last_instant_is_confirmed(formula: Formula) -> None:
    run = replay(design(COUNTER), TO_FULL, claim(formula))
    assert run.instants == tuple(TO_FULL)
    assert len(run.events) == len(TO_FULL)


@pytest.mark.parametrize("formula", [FULL, Eventually(operand=FULL)], ids=["plain", "eventually"])
def test_a_can_is_shown_at_the_last_instant(formula: Formula) -> None:
    assert len(replay(design(COUNTER), TO_FULL, claim(formula, ClaimKind.CAN))) == 6
    with pytest.raises(InternalDisagreement, match=r"instant 4 .* not shown"):
        replay(design(COUNTER), TO_FULL[:-1], claim(formula, ClaimKind.CAN))


def test_a_run_that_does_not_break_the_claim_is_refused() -> None:
    with pytest.raises(InternalDisagreement, match="not broken"):
        replay(design(COUNTER), TO_FULL[:-1], claim(Never(operand=FULL)))


def test_a_breach_before_the_last_instant_is_refused() -> None:
    longer = run_of(COUNTER, {}, BEAT, REST, BEAT, REST, BEAT, REST)
    with pytest.raises(InternalDisagreement, match=r"instant 5 .* before the last"):
        replay(design(COUNTER), longer, claim(Never(operand=FULL)))


def test_an_impossible_first_instant_is_refused() -> None:
    with pytest.raises(InternalDisagreement, match=r"instant 0 .* cannot start"):
        replay(design(COUNTER), TO_FULL[1:], claim(Never(operand=FULL)))


def test_an_impossible_step_is_refused() -> None:
    with pytest.raises(InternalDisagreement, match=r"instant 2 .* no step"):
        replay(design(COUNTER), [*TO_FULL[:2], *TO_FULL[3:]], claim(Never(operand=FULL)))


@pytest.mark.parametrize("instant", range(6))
@pytest.mark.parametrize("net", range(len(COUNTER.nets)))
def test_a_run_with_any_value_of_a_driven_net_turned_round_is_refused(instant: int, net: int) -> None:
    values = list(TO_FULL[instant])
    values[net] = not values[net]
    wrong = [*TO_FULL[:instant], tuple(values), *TO_FULL[instant + 1 :]]
    if net == LEVER.nets[0] and instant == 0:
        # The lever falls in the step in which the tempo rises: by hand, so not together.
        with pytest.raises(InternalDisagreement, match=r"instant 1 .* inputs"):
            replay(design(COUNTER), wrong, claim(Never(operand=FULL)))
    else:
        with pytest.raises(InternalDisagreement):
            replay(design(COUNTER), wrong, claim(Never(operand=FULL)))


def test_a_run_with_too_few_nets_or_no_instants_is_refused() -> None:
    with pytest.raises(InternalDisagreement, match="nets"):
        replay(design(COUNTER), [TO_FULL[0][:-1]], claim(Never(operand=FULL)))
    with pytest.raises(InternalDisagreement, match="no instants"):
        replay(design(COUNTER), [], claim(Never(operand=FULL)))


def test_a_given_that_fails_anywhere_refuses_the_run_the_last_instant_included() -> None:
    never_full = Apply(operator=Operator.NOT, operands=(FULL,))
    with pytest.raises(InternalDisagreement, match=r"instant 5 .* given_0"):
        replay(design(COUNTER, never_full), TO_FULL, claim(Never(operand=FULL)))
    holds = Compare(comparison=Comparison.EQUAL, left=LEVER, right=Literal(value=0))
    assert replay(design(COUNTER, holds), TO_FULL, claim(Never(operand=FULL)))


def racing() -> Netlist:
    builder = NetlistBuilder("racing", inputs_may_change_together=True)
    for name in ("s_n", "r_n", "a"):
        builder.input(name)
    wire(builder, "q = nand s_n qn; qn = nand r_n q; n = not a; f = or a n")
    return builder.build()


RACING = racing()
RELEASED = run_of(RACING, {"r_n": 0}, {"a": 1}, {"s_n": 1, "r_n": 1})


def test_settles_is_broken_by_a_race_at_the_last_step_alone() -> None:
    run = replay(design(RACING), RELEASED, claim(Settles(), ClaimKind.ALWAYS_THERE))
    assert [events.raced for events in run.events] == [False, False, True]
    with pytest.raises(InternalDisagreement, match="not broken"):
        replay(design(RACING), RELEASED[:-1], claim(Settles(), ClaimKind.ALWAYS_THERE))


def test_never_glitches_is_broken_by_a_glitch_at_the_last_step() -> None:
    formula = NeverGlitches(signal=signal(RACING, "f"))
    run = replay(design(RACING), RELEASED[:2], claim(formula))
    assert formula.signal.nets[0] in run.events[1].may_glitch
    with pytest.raises(InternalDisagreement, match="before the last"):
        replay(design(RACING), RELEASED, claim(formula))


def test_a_given_about_events_holds_for_the_chosen_events() -> None:
    with pytest.raises(InternalDisagreement, match="given_0"):
        replay(design(RACING, Settles()), RELEASED, claim(Settles()))


def either_way() -> Netlist:
    """When `d` and `clk` rise together, `a` may read 0 or 1, and two rounds later it is cleared either way."""
    builder = NetlistBuilder("either_way", inputs_may_change_together=True)
    for name in ("d", "clk"):
        builder.input(name)
    wire(builder, "high = high")
    builder.flip_flop("a", "d", "clk", start=False, clear="done")
    builder.flip_flop("busy", "high", "clk", start=False)
    builder.flip_flop("done", "high", "busy", start=False)
    return builder.build()


EITHER_WAY = either_way()
A_GLITCHES = NeverGlitches(signal=signal(EITHER_WAY, "a"))


def test_the_events_of_a_breach_are_chosen_among_all_ways_to_the_same_instant() -> None:
    instants = run_of(EITHER_WAY, {}, {"d": 1, "clk": 1})
    assert len(Simulator(EITHER_WAY).outcomes_leading_to(*instants)) == 2
    run = replay(design(EITHER_WAY), instants, claim(A_GLITCHES))
    assert A_GLITCHES.signal.nets[0] in run.events[1].may_glitch
    done = Never(operand=signal(EITHER_WAY, "done"))
    run = replay(design(EITHER_WAY, A_GLITCHES), instants, claim(done))
    assert A_GLITCHES.signal.nets[0] not in run.events[1].may_glitch
    with pytest.raises(InternalDisagreement):
        replay(design(EITHER_WAY, A_GLITCHES), instants, claim(A_GLITCHES))


def test_a_step_with_too_many_ways_is_unconfirmed() -> None:
    gates = ";".join(f"n{i} = not n{(i - 1) % 23}" for i in range(23))
    builder = NetlistBuilder("ring")
    wire(builder, gates)
    netlist = builder.build()
    # All members of the ring excited: every set of them may fire.
    instants = [(False,) * 23]
    with pytest.raises(Unconfirmed):
        replay(design(netlist), instants, claim(Settles()), Simulator(netlist, limit=10_000))
