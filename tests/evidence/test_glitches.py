"""Three-valued functions, and which nets may glitch in a step."""

from __future__ import annotations

from itertools import product

import pytest

from evidence.bench import Bench, gates_only, wire
from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import Edge, FlipFlopKind, GateKind
from verifier.evidence.three_valued import Ternary, gate_value, join, latch_target, set_reset_target

TERNARY: tuple[Ternary, ...] = (False, True, None)
TRUTH = {
    GateKind.BUFFER: lambda a: a,
    GateKind.NOT: lambda a: not a,
    GateKind.AND: lambda *pins: all(pins),
    GateKind.OR: lambda *pins: any(pins),
    GateKind.NAND: lambda *pins: not all(pins),
    GateKind.NOR: lambda *pins: not any(pins),
    GateKind.XOR: lambda *pins: sum(pins) % 2 == 1,
    GateKind.XNOR: lambda *pins: sum(pins) % 2 == 0,
    GateKind.MAJORITY: lambda *pins: sum(pins) * 2 > len(pins),
    GateKind.SELECT: lambda s, high, low: high if s else low,
}
PIN_COUNTS = {GateKind.BUFFER: (1,), GateKind.NOT: (1,), GateKind.MAJORITY: (1, 3, 5), GateKind.SELECT: (3,)}


# Eichelberger 1965: X exactly when the binary function takes both values over the choices for the X inputs.
@pytest.mark.parametrize("kind", TRUTH)
def test_a_gate_gives_x_exactly_when_its_unknown_pins_decide(kind: GateKind) -> None:
    for count in PIN_COUNTS.get(kind, (1, 2, 3)):
        for pins in product(TERNARY, repeat=count):
            choices = product(*((False, True) if pin is None else (pin,) for pin in pins))
            results = {bool(TRUTH[kind](*choice)) for choice in choices}
            assert gate_value(kind, pins) is (results.pop() if len(results) == 1 else None), (kind, pins)


def test_constants_have_their_value() -> None:
    assert gate_value(GateKind.LOW, ()) is False
    assert gate_value(GateKind.HIGH, ()) is True


def test_join_keeps_what_is_common() -> None:
    assert join([True, True]) is True
    assert join([True, False]) is None
    assert join([False, None]) is None


def test_latches_with_unknown_pins_join_their_possible_targets() -> None:
    assert latch_target(None, True, True) is True
    assert latch_target(None, True, False) is None
    assert set_reset_target(None, False, own=True, both=None) is True
    assert set_reset_target(None, False, own=False, both=None) is None
    assert set_reset_target(None, True, own=False, both=None) is None


HAZARD = "n = not a; u = and a b; v = and n c; f = or u v"
CURED = "n = not a; u = and a b; v = and n c; w = and b c; f = or u v w"


def glitching(gates: str) -> set[tuple[str, str]]:
    """For all 24 changes of one of three inputs: the inputs before, and the changing one, where f may glitch."""
    found = set()
    for a, b, c in product((0, 1), repeat=3):
        bench = Bench(gates_only("a b c", gates), a=a, b=b, c=c)
        for name in ("a", "b", "c"):
            (outcome,) = bench.ways(**{name: 1 - bench[name]})
            if bench.net["f"] in outcome.events.may_glitch:
                found.add((f"{a}{b}{c}", name))
    return found


# Huffman 1957; McCluskey 1962: f = ab + a'c has its static hazards at b = c = 1 with a changing, both ways, and nowhere
# else among changes of one input; the consensus term bc removes them.
def test_the_static_hazard_of_a_selector_is_found_exactly_where_it_is() -> None:
    assert glitching(HAZARD) == {("011", "a"), ("111", "a")}


def test_the_consensus_term_removes_the_static_hazard() -> None:
    assert glitching(CURED) == set()


def test_a_selector_gate_is_free_of_that_hazard() -> None:
    assert glitching("f = select a b c") == set()


def test_nothing_may_glitch_at_the_first_instant_or_in_a_step_without_change() -> None:
    bench = Bench(gates_only("a b c", HAZARD), a=1, b=1, c=1)
    assert bench.events.may_glitch == frozenset()
    assert bench.set().may_glitch == frozenset()


def test_a_net_that_ends_elsewhere_is_not_judged() -> None:
    bench = Bench(gates_only("a b", "f = xor a b; g = xor a b b"))
    events = bench.set(a=1, b=1)
    assert bench.names_of(events.may_glitch) == {"f"}


def test_a_gate_with_one_net_at_two_pins_may_see_it_at_two_times() -> None:
    bench = Bench(gates_only("a", "f = xor a a"))
    assert bench.names_of(bench.set(a=1).may_glitch) == {"f"}


def clocked_by_hazard(kind: FlipFlopKind, data: str, start: bool) -> set[str]:
    builder = NetlistBuilder("clocked")
    for name in ["a", "b", "c", "low", "high"]:
        builder.input(name)
    wire(builder, HAZARD)
    builder.flip_flop("q", data.split(), "f", kind=kind, edge=Edge.RISE, start=start)
    bench = Bench(builder.build(), a=1, b=1, c=1, high=1)
    return bench.names_of(bench.set(a=0).may_glitch)


@pytest.mark.parametrize(
    ("kind", "data", "start", "may_glitch"),
    [
        (FlipFlopKind.D, "low", False, False),
        (FlipFlopKind.D, "high", False, True),
        (FlipFlopKind.D, "high", True, False),
        (FlipFlopKind.TOGGLE, "low", False, False),
        (FlipFlopKind.TOGGLE, "high", False, True),
        (FlipFlopKind.JK, "high low", True, False),
        (FlipFlopKind.JK, "high low", False, True),
        (FlipFlopKind.JK, "low high", False, False),
        (FlipFlopKind.JK, "low high", True, True),
        (FlipFlopKind.JK, "high high", True, True),
        (FlipFlopKind.JK, "low low", True, False),
    ],
)
def test_a_flip_flop_on_a_clock_that_may_glitch_may_take_what_it_reads(
    kind: FlipFlopKind, data: str, start: bool, may_glitch: bool
) -> None:
    found = clocked_by_hazard(kind, data, start)
    assert "f" in found
    assert ("q" in found) is may_glitch


def test_a_latch_that_is_opened_by_a_glitch_may_pass_its_data() -> None:
    builder = NetlistBuilder("latched")
    for name in ("a", "b", "c", "d"):
        builder.input(name)
    wire(builder, "n = not a; u = or a b; v = or n c; f = and u v")
    builder.latch("q", "d", "f", start=False)
    # f = (a + b)(a' + c) has its static-0 hazard at b = c = 0.
    assert "q" in (bench := Bench(builder.build(), d=1)).names_of(bench.set(a=1).may_glitch)
    assert "q" not in (bench := Bench(builder.build())).names_of(bench.set(a=1).may_glitch)


def test_a_net_that_moves_between_rounds_and_comes_back_may_glitch() -> None:
    builder = NetlistBuilder("and_back")
    builder.input("x")
    wire(builder, "high = high; c = xor x q")
    builder.flip_flop("q", "high", "c", kind=FlipFlopKind.TOGGLE, start=False)
    bench = Bench(builder.build())
    assert bench.names_of(bench.set(x=1).may_glitch) == {"c"}
