"""Of a settled step: what moved, and which of its pins moved with it."""

from __future__ import annotations

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import Edge, GateKind, Level, Netlist
from verifier.evidence.playing import play
from verifier.report.page.settled_causes import moved_in_step


def moved(netlist: Netlist, *script: dict[str, int], start: dict[str, int] | None = None) -> dict[str, set[str]]:
    """Net to the pins that moved with it, by name, in the last step of the script."""
    run = play(netlist, script, start).run
    firings = moved_in_step(netlist, run.instants[-2], run.instants[-1], len(run) - 1)
    names = [net.name for net in netlist.nets]
    return {
        names[firing.net]: {names[pin] for pin in firing.cause.pins} for firing in firings if firing.cause is not None
    }


def test_a_gate_moves_because_of_the_pin_that_moved() -> None:
    builder = NetlistBuilder("and_gate")
    for name in ("tempo", "lever"):
        builder.input(name)
    builder.gate("beat", GateKind.AND, ["tempo", "lever"])
    builder.gate("rest", GateKind.NOT, ["beat"])
    builder.output("rest")
    netlist = builder.build()
    assert moved(netlist, {"tempo": 1}, {"lever": 1}) == {"beat": {"lever"}, "rest": {"beat"}}


def test_a_flip_flop_moves_because_of_its_clock_or_of_what_forces_it() -> None:
    builder = NetlistBuilder("cleared")
    for name in ("tempo", "lever", "stop"):
        builder.input(name)
    builder.flip_flop("q", ["lever"], "tempo", edge=Edge.RISE, clear=Level(builder.net("stop"), True), start=False)
    builder.output("q")
    netlist = builder.build()
    risen = [{"lever": 1}, {"tempo": 1}]
    assert moved(netlist, *risen) == {"q": {"tempo"}}
    assert moved(netlist, *risen, {"stop": 1}) == {"q": {"stop"}}


def test_nothing_moves_in_a_step_that_changes_nothing() -> None:
    builder = NetlistBuilder("held")
    for name in ("data", "open"):
        builder.input(name)
    builder.latch("q", "data", Level(builder.net("open"), True), start=False)
    builder.output("q")
    assert moved(builder.build(), {}, {"data": 1}) == {}
