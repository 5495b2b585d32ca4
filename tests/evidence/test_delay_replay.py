"""Replay in the delay views accepts what is so and refuses what is not."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from evidence.delay_bench import circuit, numbers, run_of, start, takes, wire
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import Netlist, Timing
from verifier.claims.claim import Claim, ClaimKind, Design, Given, View
from verifier.claims.formula import (
    Apply,
    Bound,
    Formula,
    KeepsTiming,
    LeadsTo,
    Never,
    NeverGlitches,
    Operator,
    Pulses,
    PulsesLast,
    Settles,
    Signal,
    Step,
    StepWord,
    TimingRule,
    Unit,
)
from verifier.claims.run import Run
from verifier.errors import InternalDisagreement
from verifier.evidence.delay_replay import replay_delayed
from verifier.evidence.delay_simulator import DelaySimulator
from verifier.evidence.replay import Unconfirmed

BELL = circuit("rope mute", "bell = buffer rope 3 5")
IDLE = {"rope": 0, "mute": 0, "bell": 0}


def signal(netlist: Netlist, name: str) -> Signal:
    return Signal(name=name, nets=(numbers(netlist)[name],))


def design(netlist: Netlist, *givens: Formula) -> Design:
    named = tuple(Given(name=f"given_{i}", formula=formula, text="") for i, formula in enumerate(givens))
    return Design(netlist=netlist, file="bell.wiring", claims=(), givens=named)


def replayed(
    netlist: Netlist,
    run: Run,
    formula: Formula,
    *givens: Formula,
    kind: ClaimKind = ClaimKind.MUST,
    timed: bool = True,
    simulator: DelaySimulator | None = None,
) -> Run:
    view = View.TIMED if timed else View.ANY_DELAY
    claim = Claim(name="sought", kind=kind, formula=formula, text="", view=view)
    times: Sequence[int] = run.times or (0,) * len(run)
    return replay_delayed(design(netlist, *givens), run.instants, times, claim, timed, simulator)


def rises(netlist: Netlist, name: str) -> Step:
    return Step(word=StepWord.RISES, operand=signal(netlist, name))


def ns(amount: int) -> Bound:
    return Bound(amount, Unit.NANOSECONDS)


IN_TIME = LeadsTo(left=rises(BELL, "rope"), right=signal(BELL, "bell"), bound=ns(4))


def test_a_missed_deadline_is_confirmed_at_its_tick() -> None:
    run = run_of(BELL, IDLE, (2, "rope"), until=7)
    confirmed = replayed(BELL, run, IN_TIME)
    assert confirmed.times == (0, 2, 7)
    assert confirmed.instants == run.instants


def test_a_run_that_ends_before_or_after_its_breach_is_refused() -> None:
    with pytest.raises(InternalDisagreement, match="not broken"):
        replayed(BELL, run_of(BELL, IDLE, (2, "rope"), until=6), IN_TIME)
    with pytest.raises(InternalDisagreement, match=r"7 ns: the claim is broken before"):
        replayed(BELL, run_of(BELL, IDLE, (2, "rope"), (7, "bell")), IN_TIME)


def test_a_run_that_the_circuit_cannot_take_is_refused() -> None:
    for moves in ([(2, "rope"), (4, "bell")], [(2, "rope mute")], [(2, "bell")]):
        with pytest.raises(InternalDisagreement, match="no move leads here"):
            replayed(BELL, run_of(BELL, IDLE, *moves), Never(operand=signal(BELL, "bell")))
    with pytest.raises(InternalDisagreement, match="time may not pass"):
        replayed(BELL, run_of(BELL, IDLE, (2, "rope"), until=8), IN_TIME)


def test_a_run_of_the_wrong_shape_is_refused() -> None:
    claim = Claim(name="sought", kind=ClaimKind.MUST, formula=IN_TIME, text="", view=View.TIMED)
    low = (False, False, False)
    for instants, times in (([], []), ([low], [0, 1]), ([low[:2]], [0]), ([low, low], [0, -1]), ([low], [3])):
        with pytest.raises(InternalDisagreement):
            replay_delayed(design(BELL), instants, times, claim, True)


def test_a_can_is_confirmed_where_it_is_first_shown() -> None:
    rings = rises(BELL, "bell")
    run = run_of(BELL, IDLE, (2, "rope"), (5, "bell"))
    assert replayed(BELL, run, rings, kind=ClaimKind.CAN).times == (0, 2, 5)
    with pytest.raises(InternalDisagreement, match="not shown"):
        replayed(BELL, run_of(BELL, IDLE, (2, "rope")), rings, kind=ClaimKind.CAN)


def test_a_run_must_obey_the_givens_of_its_view() -> None:
    run = run_of(BELL, IDLE, (2, "rope"), (5, "bell"))
    never_rings = Never(operand=signal(BELL, "bell"))
    muted = Apply(operator=Operator.NOT, operands=(signal(BELL, "mute"),))
    assert replayed(BELL, run, never_rings, muted)
    with pytest.raises(InternalDisagreement, match="given_0"):
        replayed(BELL, run, never_rings, signal(BELL, "mute"))
    quick = LeadsTo(left=rises(BELL, "rope"), right=signal(BELL, "bell"), bound=ns(2))
    with pytest.raises(InternalDisagreement, match="given_1"):
        replayed(BELL, run, never_rings, muted, quick)
    # A given that counts ns does not restrict the any-delay view.
    assert replayed(BELL, run, never_rings, quick, timed=False).times is None


def test_a_narrow_pulse_is_confirmed() -> None:
    run = run_of(BELL, IDLE, (0, "rope"), (3, "bell"), (3, "rope"), (6, "bell"))
    in_order = PulsesLast(signal=signal(BELL, "bell"), pulses=Pulses.HIGH, at_least=ns(3))
    with pytest.raises(InternalDisagreement, match="not broken"):
        replayed(BELL, run, in_order)
    wider = PulsesLast(signal=signal(BELL, "bell"), pulses=Pulses.HIGH, at_least=ns(4))
    assert replayed(BELL, run, wider).times == (0, 0, 3, 3, 6)


def test_a_glitch_is_confirmed_in_both_views_and_noted() -> None:
    netlist = circuit("s", "low = not s 1 3; beat = or s low 1 1")
    first = {"s": 1, "low": 0, "beat": 1}
    run = run_of(netlist, first, (0, "s"), (1, "beat"), (2, "low"), (3, "beat"))
    for timed in (False, True):
        confirmed = replayed(netlist, run, NeverGlitches(signal=signal(netlist, "beat")), timed=timed)
        noted = [events.may_glitch for events in confirmed.events]
        assert noted == [frozenset()] * 4 + [frozenset({numbers(netlist)["beat"]})]


def test_a_breach_of_set_up_is_confirmed() -> None:
    builder = NetlistBuilder("register")
    builder.input("d")
    builder.input("clk")
    builder.flip_flop("q", "d", "clk", start=False, takes=takes((1, 1)), timing=Timing(set_up=3))
    netlist = builder.build()
    rule = KeepsTiming(rule=TimingRule.SET_UP, storage=numbers(netlist)["q"])
    idle = {"d": 0, "clk": 0, "q": 0}
    late = run_of(netlist, idle, (4, "d"), (6, "clk"))
    assert replayed(netlist, late, rule, kind=ClaimKind.ALWAYS_THERE).times == (0, 4, 6)
    in_order = run_of(netlist, idle, (4, "d"), (7, "clk"))
    with pytest.raises(InternalDisagreement, match="not broken"):
        replayed(netlist, in_order, rule, kind=ClaimKind.ALWAYS_THERE)


def pair() -> Netlist:
    builder = NetlistBuilder("pair", inputs_may_change_together=True)
    builder.input("s_n")
    builder.input("r_n")
    wire(builder, "q = nand s_n qn; qn = nand r_n q")
    return builder.build()


def test_what_breaks_settles_is_confirmed_and_noted() -> None:
    netlist = pair()
    driven = {"s_n": 0, "r_n": 0, "q": 1, "qn": 1}
    released = run_of(netlist, driven, (0, "s_n r_n"))
    events = replayed(netlist, released, Settles(), kind=ClaimKind.ALWAYS_THERE, timed=False).events[-1]
    assert events.raced
    assert events.oscillated
    one_side = run_of(netlist, driven, (0, "s_n"))
    with pytest.raises(InternalDisagreement, match="settles from here"):
        replayed(netlist, one_side, Settles(), kind=ClaimKind.ALWAYS_THERE, timed=False)


def test_what_is_too_much_to_look_at_stays_unconfirmed() -> None:
    netlist = pair()
    released = run_of(netlist, {"s_n": 0, "r_n": 0, "q": 1, "qn": 1}, (0, "s_n r_n"))
    small = DelaySimulator(netlist, False, limit=3)
    with pytest.raises(Unconfirmed):
        replayed(netlist, released, Settles(), kind=ClaimKind.ALWAYS_THERE, timed=False, simulator=small)


def test_a_simulator_of_the_other_view_is_refused() -> None:
    simulator = DelaySimulator(BELL, False)
    assert start(simulator)
    with pytest.raises(ValueError, match="other view"):
        replayed(BELL, run_of(BELL, IDLE), IN_TIME, simulator=simulator)
