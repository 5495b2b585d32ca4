"""Endless runs: what is so is confirmed, every kind of lie is found out."""

from __future__ import annotations

import pytest

from evidence.bench import wire
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import Edge, FlipFlopKind, InputClass, Netlist
from verifier.claims.claim import Claim, ClaimKind, Design, Given
from verifier.claims.formula import (
    AgainAndAgain,
    Always,
    Apply,
    Bound,
    Compare,
    Comparison,
    Eventually,
    Formula,
    LeadsTo,
    Never,
    NeverGlitches,
    Operator,
    Settles,
    Signal,
    Step,
    StepWord,
    Unit,
    Until,
)
from verifier.claims.run import Instant, Run
from verifier.errors import InternalDisagreement
from verifier.evidence.lasso_replay import replay_lasso
from verifier.evidence.replay import Unconfirmed
from verifier.evidence.simulator import Simulator


def signal(netlist: Netlist, name: str) -> Signal:
    return Signal(name=name, nets=(next(i for i, net in enumerate(netlist.nets) if net.name == name),))


def inverse(formula: Formula) -> Formula:
    return Apply(operator=Operator.NOT, operands=(formula,))


def same(left: Formula, right: Formula) -> Formula:
    return Compare(comparison=Comparison.EQUAL, left=left, right=right)


def for_good(formula: Formula) -> Formula:
    return Always(operand=formula)


def again(formula: Formula) -> Formula:
    return AgainAndAgain(operand=formula)


def claim(formula: Formula, kind: ClaimKind = ClaimKind.MUST) -> Claim:
    return Claim(name="sought", kind=kind, formula=formula, text="")


def design(netlist: Netlist, *givens: Formula) -> Design:
    found = tuple(Given(name=f"given_{i}", formula=formula, text="") for i, formula in enumerate(givens))
    return Design(netlist=netlist, file="bells.wiring", claims=(), givens=found)


def rows(netlist: Netlist, names: str, text: str) -> list[Instant]:
    """One instant a word of the text, its digits being the values of the names; these must be all the nets."""
    order = [names.split().index(net.name) for net in netlist.nets]
    return [tuple(row[position] == "1" for position in order) for row in text.split()]


def toggle() -> Netlist:
    """A bell that answers every other stroke of the tempo."""
    builder = NetlistBuilder("toggle")
    builder.input("tempo", InputClass.FREE_RUNNING)
    builder.input("lever", InputClass.BY_HAND)
    builder.input("strap", InputClass.STRAPPED)
    wire(builder, "high = high")
    builder.flip_flop("bell", "high", "tempo", kind=FlipFlopKind.TOGGLE, start=False)
    return builder.build()


TOGGLE = toggle()
TEMPO, LEVER, BELL = (signal(TOGGLE, name) for name in ("tempo", "lever", "bell"))
TOGGLE_NETS = "tempo lever strap high bell"
ROUND = rows(TOGGLE, TOGGLE_NETS, "00010 10011 00011 10010")
BELL_FOR_GOOD = claim(Eventually(operand=for_good(BELL)))


def ring_counter() -> Netlist:
    """Three hammers that take turns, each for one stroke of the tempo."""
    builder = NetlistBuilder("ring_counter")
    builder.input("tempo", InputClass.FREE_RUNNING)
    for own, earlier, start in (("h0", "h2", True), ("h1", "h0", False), ("h2", "h1", False)):
        builder.flip_flop(own, earlier, "tempo", start=start)
    return builder.build()


RING = ring_counter()
RING_ROUND = rows(RING, "tempo h0 h1 h2", "0100 1010 0010 1001 0001 1100")


def two_registers() -> Netlist:
    """Each source's register lets it through only after the other's has let go, and waits for an edge of its source."""
    builder = NetlistBuilder("two_registers")
    builder.input("tempo", InputClass.FREE_RUNNING)
    builder.input("lever", InputClass.BY_HAND)
    builder.input("choose", InputClass.BY_HAND)
    wire(builder, "lever_off = not on_lever; tempo_off = not on_tempo; choose_n = not choose")
    wire(builder, "ask_tempo = and choose lever_off; ask_lever = and choose_n tempo_off")
    builder.flip_flop("on_tempo", "ask_tempo", "tempo", edge=Edge.FALL, start=False)
    builder.flip_flop("on_lever", "ask_lever", "lever", edge=Edge.FALL, start=True)
    wire(builder, "by_tempo = and tempo on_tempo; by_lever = and lever on_lever; beat = or by_tempo by_lever")
    return builder.build()


REGISTERS = two_registers()
TEMPO_TAKES_OVER = claim(
    LeadsTo(
        left=for_good(signal(REGISTERS, "choose")),
        right=for_good(same(signal(REGISTERS, "beat"), signal(REGISTERS, "tempo"))),
    )
)
REGISTER_NETS = (
    "tempo lever choose lever_off tempo_off choose_n ask_tempo ask_lever on_tempo on_lever by_tempo by_lever beat"
)
# Choose asks for tempo from the start, but the lever's register never lets go: the lever stays low and has no edge.
STUCK = rows(REGISTERS, REGISTER_NETS, "0010100001000 1010100001000")


def test_a_bell_that_toggles_is_never_up_for_good() -> None:
    run = replay_lasso(design(TOGGLE), ROUND, 0, BELL_FOR_GOOD)
    assert (run.instants, run.loop_from, len(run.events)) == (tuple(ROUND), 0, 4)


def test_a_loop_may_follow_a_prefix() -> None:
    instants = rows(TOGGLE, TOGGLE_NETS, "00010 01010 11011 01011 11010 01010 11011")
    run = replay_lasso(design(TOGGLE), instants, 3, claim(again(inverse(LEVER))))
    assert run.loop_from == 3
    assert run.instants == tuple(instants)


def test_a_hammer_that_takes_turns_is_not_the_only_one() -> None:
    never_second = claim(Never(operand=signal(RING, "h1")))
    assert replay_lasso(design(RING), RING_ROUND, 0, never_second).loop_from == 0
    waits = claim(LeadsTo(left=signal(RING, "h0"), right=signal(RING, "h2"), bound=Bound(2, Unit.STEPS)))
    assert replay_lasso(design(RING), RING_ROUND, 0, waits)
    with pytest.raises(InternalDisagreement, match="not broken"):
        replay_lasso(design(RING), RING_ROUND, 0, claim(LeadsTo(left=signal(RING, "h0"), right=signal(RING, "h2"))))
    with pytest.raises(InternalDisagreement, match="not broken"):
        replay_lasso(design(RING), RING_ROUND, 0, claim(again(signal(RING, "h1"))))


def test_two_registers_never_take_the_tempo_over_while_the_lever_rests() -> None:
    run = replay_lasso(design(REGISTERS), STUCK, 0, TEMPO_TAKES_OVER)
    assert run.instants == tuple(STUCK)


def test_two_registers_do_take_the_tempo_over_after_an_edge_of_the_lever() -> None:
    simulator = Simulator(REGISTERS)
    numbers = {net.name: i for i, net in enumerate(REGISTERS.nets)}
    instants = [STUCK[0]]
    for name, value in [("lever", True), ("lever", False), ("tempo", True), ("tempo", False), ("tempo", True)]:
        (outcome,) = simulator.step(instants[-1], {numbers[name]: value})
        instants.append(outcome.instant)
    with pytest.raises(InternalDisagreement, match="not broken"):
        replay_lasso(design(REGISTERS), instants, 4, TEMPO_TAKES_OVER)


def test_a_can_is_shown_at_some_instant_of_the_endless_run() -> None:
    in_time = Until(left=inverse(TEMPO), right=BELL)
    for formula in (Eventually(operand=for_good(inverse(LEVER))), again(BELL), in_time):
        assert replay_lasso(design(TOGGLE), ROUND, 0, claim(formula, ClaimKind.CAN)).loop_from == 0
    for formula in (Eventually(operand=for_good(BELL)), again(LEVER)):
        with pytest.raises(InternalDisagreement, match="not shown"):
            replay_lasso(design(TOGGLE), ROUND, 0, claim(formula, ClaimKind.CAN))


@pytest.mark.parametrize(
    ("instants", "loop_from", "reason"),
    [
        ("00011 10010 00010 10011", 0, r"instant 0 .* cannot start"),
        ("00010 10011 00010 10011", 0, r"instant 2 .* no step"),
        ("00010 10010 00010 10011", 0, r"instant 1 .* no step"),
        ("00010 11011 00011 10010", 0, r"instant 1 .* inputs"),
        ("00010 10011 00111 10010", 0, r"instant 2 .* inputs"),
        ("00010 10011 00011 10010", 1, r"instant 4 .* no step"),
        ("00010 10011 00011", 0, r"instant 3 .* no step"),
        ("00010 10011 01011 11010", 0, r"instant 2 .* inputs"),
        ("00010 01010 11011 01011 11010", 0, r"instant 5 .* inputs"),
        ("00010 01010", 0, r"instant 0 .* free-running tempo"),
        ("00010 10011 00011 10010", 3, r"instant 3 .* free-running tempo"),
        ("00010 10011 11011", 1, r"instant 1 .* free-running tempo"),
        ("00010 10011 00011 10010", 4, r"no loop"),
        ("00010 10011 00011 10010", -1, r"no loop"),
        ("", 0, r"no loop"),
    ],
)
def test_a_corrupted_run_is_refused_with_the_instant_and_the_reason(instants: str, loop_from: int, reason: str) -> None:
    with pytest.raises(InternalDisagreement, match=reason):
        replay_lasso(design(TOGGLE), rows(TOGGLE, TOGGLE_NETS, instants), loop_from, BELL_FOR_GOOD)


@pytest.mark.parametrize("net", range(len(REGISTERS.nets)))
@pytest.mark.parametrize("instant", range(2))
def test_any_single_wrong_value_is_found_out(net: int, instant: int) -> None:
    values = list(STUCK[instant])
    values[net] = not values[net]
    wrong = [*STUCK[:instant], tuple(values), *STUCK[instant + 1 :]]
    with pytest.raises(InternalDisagreement):
        replay_lasso(design(REGISTERS), wrong, 0, TEMPO_TAKES_OVER)


def test_an_instant_with_too_few_nets_is_refused() -> None:
    with pytest.raises(InternalDisagreement, match=r"instant 1 .* nets"):
        replay_lasso(design(TOGGLE), [ROUND[0], ROUND[1][:-1], *ROUND[2:]], 0, BELL_FOR_GOOD)


def test_a_claim_that_the_run_keeps_is_not_broken() -> None:
    for formula in (again(BELL), Eventually(operand=BELL), inverse(LEVER), LeadsTo(left=TEMPO, right=inverse(BELL))):
        with pytest.raises(InternalDisagreement, match="not broken"):
            replay_lasso(design(TOGGLE), ROUND, 0, claim(formula))


def test_givens_hold_at_the_instants_they_speak_of() -> None:
    rises = Step(word=StepWord.RISES, operand=LEVER)
    assert replay_lasso(design(TOGGLE, again(BELL), inverse(LEVER), Never(operand=rises)), ROUND, 0, BELL_FOR_GOOD)
    for given, reason in (
        (again(LEVER), "instant 0 .* given_0"),
        (for_good(inverse(BELL)), "instant 0 .* given_0"),
        (inverse(BELL), "instant 1 .* given_0"),
        (LeadsTo(left=BELL, right=LEVER), "instant 1 .* given_0"),
    ):
        with pytest.raises(InternalDisagreement, match=reason):
            replay_lasso(design(TOGGLE, given), ROUND, 0, BELL_FOR_GOOD)


def test_a_given_that_fails_in_a_later_round_alone_refuses_the_run() -> None:
    """At the first instant nothing falls; when it is reached again, the tempo does."""
    falls_alone = Never(operand=Apply(operator=Operator.AND, operands=(inverse(BELL), falling(TEMPO))))
    with pytest.raises(InternalDisagreement, match=r"instant 4 .* given_0"):
        replay_lasso(design(TOGGLE, falls_alone), ROUND, 0, BELL_FOR_GOOD)


def falling(formula: Formula) -> Formula:
    return Step(word=StepWord.FALLS, operand=formula)


def crossing() -> Netlist:
    """`both` is low at all three instants, but may glitch when one input falls as the other rises."""
    builder = NetlistBuilder("crossing", inputs_may_change_together=True)
    builder.input("a")
    builder.input("b")
    wire(builder, "both = and a b")
    return builder.build()


CROSSING = crossing()
CLOSING_GLITCH = rows(CROSSING, "a b both", "100 000 010")
CLEAN = NeverGlitches(signal=signal(CROSSING, "both"))


def test_the_step_that_closes_the_loop_may_be_the_only_one_that_glitches() -> None:
    run = replay_lasso(design(CROSSING), CLOSING_GLITCH, 0, claim(CLEAN))
    assert run.loop_from == 3
    assert run.instants == (*CLOSING_GLITCH, *CLOSING_GLITCH)
    assert [bool(events.may_glitch) for events in run.events] == [False, False, False, True, False, False]


def test_a_given_about_events_holds_for_the_closing_step_too() -> None:
    never_b = claim(Never(operand=signal(CROSSING, "b")))
    with pytest.raises(InternalDisagreement, match=r"instant 3 .* given_0"):
        replay_lasso(design(CROSSING, CLEAN), CLOSING_GLITCH, 0, never_b)
    slowly = [*CLOSING_GLITCH, CLOSING_GLITCH[1]]
    assert replay_lasso(design(CROSSING, CLEAN), slowly, 0, never_b).instants == tuple(slowly)


def test_the_loop_is_written_once_where_no_formula_speaks_of_events() -> None:
    run = replay_lasso(design(CROSSING), CLOSING_GLITCH, 0, claim(Never(operand=signal(CROSSING, "b"))))
    assert run == Run(tuple(CLOSING_GLITCH), run.events, loop_from=0)
    assert len(run) == 3


def test_the_loop_is_written_once_where_both_arrivals_have_the_same_events() -> None:
    instants = [CLOSING_GLITCH[0], CLOSING_GLITCH[2], CLOSING_GLITCH[0]]
    run = replay_lasso(design(CROSSING), instants, 1, claim(CLEAN))
    assert run.instants == tuple(instants)
    assert run.loop_from == 1


def test_the_events_are_chosen_among_all_ways_to_the_same_instant() -> None:
    """When `d` and `clk` rise together, `a` may read 0 or 1, and two rounds later it is cleared either way."""
    builder = NetlistBuilder("either_way", inputs_may_change_together=True)
    for name in ("d", "clk"):
        builder.input(name)
    wire(builder, "high = high")
    builder.flip_flop("a", "d", "clk", start=False, clear="done")
    builder.flip_flop("busy", "high", "clk", start=False)
    builder.flip_flop("done", "high", "busy", start=False)
    netlist = builder.build()
    instants = rows(netlist, "d clk high a busy done", "001000 111011")
    assert len(Simulator(netlist).outcomes_leading_to(*instants)) == 2
    a_is_clean = NeverGlitches(signal=signal(netlist, "a"))
    (a_net,) = a_is_clean.signal.nets
    assert a_net in replay_lasso(design(netlist), instants, 1, claim(a_is_clean)).events[1].may_glitch
    never_done = claim(Never(operand=signal(netlist, "done")))
    assert a_net not in replay_lasso(design(netlist, a_is_clean), instants, 1, never_done).events[1].may_glitch
    with pytest.raises(InternalDisagreement, match="not broken"):
        replay_lasso(design(netlist, a_is_clean), instants, 1, claim(a_is_clean))


def test_a_race_that_closes_the_loop_breaks_settles() -> None:
    """Releasing both sides of a cross-coupled pair at once races; with one side first it does not."""
    builder = NetlistBuilder("pair", inputs_may_change_together=True)
    for name in ("s_n", "r_n"):
        builder.input(name)
    wire(builder, "q = nand s_n qn; qn = nand r_n q")
    netlist = builder.build()
    instants = rows(netlist, "s_n r_n q qn", "1110 0110 0011")
    run = replay_lasso(design(netlist), instants, 0, claim(Settles(), ClaimKind.ALWAYS_THERE))
    assert [events.raced for events in run.events] == [False, False, False, True, False, False]
    with pytest.raises(InternalDisagreement, match="not broken"):
        replay_lasso(design(netlist), instants[:2], 0, claim(Settles(), ClaimKind.ALWAYS_THERE))


def test_a_step_with_too_many_ways_is_unconfirmed() -> None:
    builder = NetlistBuilder("ring")
    wire(builder, ";".join(f"n{i} = not n{(i - 1) % 23}" for i in range(23)))
    netlist = builder.build()
    # All members of the ring excited: every set of them may fire.
    with pytest.raises(Unconfirmed):
        replay_lasso(design(netlist), [(False,) * 23], 0, claim(Settles()), Simulator(netlist, limit=10_000))
