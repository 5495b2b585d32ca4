"""A page with one long run of a large circuit: 150 nets, 500 steps."""

from __future__ import annotations

from random import Random

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import Edge, FlipFlopKind, GateKind, InputClass, Netlist
from verifier.claims import formula as tree
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.evidence.playing import play
from verifier.evidence.verdict import ClaimResult, DesignResult, FileResult, Verdict

NETS, STEPS = 150, 500
KINDS = [GateKind.AND, GateKind.OR, GateKind.NAND, GateKind.NOR, GateKind.XOR, GateKind.NOT]


def large_netlist(random: Random) -> Netlist:
    """A tempo, five levers, 24 flip-flops and 120 gates, which feed each other in order."""
    builder = NetlistBuilder("large")
    builder.input("tempo", InputClass.FREE_RUNNING)
    for number in range(5):
        builder.input(f"lever_{number}", InputClass.BY_HAND)
    stored = [f"stored_{number}" for number in range(24)]
    ready = [*(f"lever_{number}" for number in range(5)), *stored]
    for number in range(120):
        kind = random.choice(KINDS)
        pins = random.sample(ready[-40:], 1 if kind is GateKind.NOT else 2)
        builder.gate(f"gate_{number}", kind, pins)
        ready.append(f"gate_{number}")
    for number, name in enumerate(stored):
        data = f"gate_{119 - number}"
        builder.flip_flop(name, [data], "tempo", kind=FlipFlopKind.D, edge=Edge.RISE, start=bool(number % 2))
    for number in range(4):
        builder.output(f"gate_{110 + number}")
    return builder.build()


def long_run_result() -> FileResult:
    """The run is claimed to break a claim that names every net, so that all of them are shown."""
    random = Random(5)
    netlist = large_netlist(random)
    script: list[dict[str, int]] = [{}]
    state = dict.fromkeys((pin.name for pin in netlist.inputs), 0)
    for _ in range(STEPS):
        name = "tempo" if random.random() < 0.7 else f"lever_{random.randrange(5)}"
        state[name] ^= 1
        script.append({name: state[name]})
    run = play(netlist, script).run
    signals = tuple(tree.Signal(name=name, nets=nets) for name, nets in netlist.signals.items())
    formula = tree.Never(operand=tree.Apply(operator=tree.Operator.AND, operands=signals))
    claim = Claim(name="all_at_once", kind=ClaimKind.MUST, formula=formula, text="never all of them at once")
    settles = Claim(name="settles", kind=ClaimKind.ALWAYS_THERE, formula=tree.Settles(), text="settles")
    design = Design(netlist=netlist, file="large.wiring", claims=(claim, settles))
    judged = ClaimResult(claim=claim, verdict=Verdict.BROKEN, engine="played", seconds=0.0, run=run)
    result = DesignResult(design=design, claims=(judged,), assumes=())
    return FileResult(path="large.wiring", designs=(result,))
