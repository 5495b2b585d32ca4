"""The model of a design: frames are instants, systems are well formed, big loops are marked as approximate."""

import pytest

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind, InputClass, Level
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.formula import Never, NeverGlitches, Settles, Signal
from verifier.engines.chooser import Chooser
from verifier.engines.decision import Reached, Unreachable
from verifier.errors import SourceError, Span
from verifier.evidence.certificate import recheck
from verifier.views.settled import SettledModel

SETTLES = Claim(name="settles", kind=ClaimKind.ALWAYS_THERE, formula=Settles(), text="")


def signal(netlist, name):
    nets = netlist.signals[name]
    return Signal(name=name, nets=nets, width=len(nets))


def held_choice():
    """A latch that takes `choose` over while `agree` is high."""
    builder = NetlistBuilder("held")
    choose = builder.input("choose", InputClass.BY_HAND)
    agree = builder.input("agree", InputClass.FREE_RUNNING)
    builder.latch("held", choose, Level(agree, True))
    builder.signal("held", ["held"])
    return builder.build()


def test_instants_carry_every_net_and_obey_the_circuit():
    netlist = held_choice()
    claim = Claim(name="stays_low", kind=ClaimKind.MUST, formula=Never(operand=signal(netlist, "held")), text="")
    model = SettledModel(Design(netlist=netlist, file="held", claims=(claim,)))
    system = model.system(claim)
    system.check_invariants()
    decision = Chooser().decide(system, limit_seconds=10)
    assert isinstance(decision, Reached)
    (first,) = model.instants_of(decision.counterexample)
    assert len(first) == len(netlist.nets)
    values = {net.name: bit for net, bit in zip(netlist.nets, first, strict=True)}
    assert values["held"]
    assert values["choose"] or not values["agree"]


def test_a_circuit_without_anything_that_can_race_settles_without_any_search():
    netlist = held_choice()
    model = SettledModel(Design(netlist=netlist, file="held", claims=(SETTLES,)))
    decision = Chooser().decide(model.system(SETTLES), limit_seconds=10)
    assert isinstance(decision, Unreachable)
    recheck(model.system(SETTLES), decision.invariant)


def long_ring(count):
    """A ring of cross-coupled NANDs, too large for a table: `count` gates, each of the one before and of a reset."""
    builder = NetlistBuilder("long")
    reset_n = builder.input("reset_n", InputClass.BY_HAND)
    for place in range(count):
        builder.gate(f"n{place}", GateKind.NAND, [f"n{(place - 1) % count}", reset_n])
    builder.output("end", f"n{count - 1}")
    return builder.build()


def test_a_large_loop_is_marked_as_approximate_and_a_small_one_is_not():
    for count, approximate in ((4, False), (14, True)):
        model = SettledModel(Design(netlist=long_ring(count), file="long", claims=(SETTLES,)))
        model.system(SETTLES)
        assert model.approximate is approximate


def test_a_proof_about_a_large_loop_stands():
    netlist = long_ring(14)
    reset_is_low = Claim(
        name="all_high_in_reset",
        kind=ClaimKind.MUST,
        text="",
        formula=Never(operand=signal(netlist, "end")),
    )
    model = SettledModel(Design(netlist=netlist, file="long", claims=(reset_is_low,)))
    assert isinstance(Chooser().decide(model.system(reset_is_low), limit_seconds=10), Reached)
    glitch = Claim(name="clean", kind=ClaimKind.MUST, text="", formula=NeverGlitches(signal=signal(netlist, "reset_n")))
    decision = Chooser().decide(model.system(glitch), limit_seconds=10)
    assert isinstance(decision, Unreachable)


def test_a_start_on_a_gate_outside_loops_is_an_error_at_the_net():
    builder = NetlistBuilder("wrong")
    a = builder.input("a")
    builder.add_net("y", span=Span("wrong.wiring", 3, 5, 3, 6))
    builder.gate("y", GateKind.NOT, [a], start=True)
    design = Design(netlist=builder.build(), file="wrong.wiring", claims=(SETTLES,))
    with pytest.raises(SourceError) as caught:
        SettledModel(design)
    (finding,) = caught.value.diagnostics
    assert finding.code == "start-outside-loop"
    assert finding.span.line == 3
