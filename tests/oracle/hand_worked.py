"""Reading the oracle's answers by the names of nets, and two circuits that several tests work out by hand."""

from __future__ import annotations

from oracle.search import Arrival, Behaviour, Oracle
from oracle.wiring import Wiring, design_of
from verifier.circuit.netlist import Edge, FlipFlopKind, GateKind, Netlist
from verifier.claims.run import Instant


def named(netlist: Netlist, instant: Instant, *names: str) -> str:
    """The values of these nets as a word of zeros and ones."""
    numbers = {net.name: number for number, net in enumerate(netlist.nets)}
    return "".join(str(int(instant[numbers[name]])) for name in names)


def starts(netlist: Netlist, *names: str) -> set[str]:
    return {named(netlist, arrival.instant, *names) for arrival in Behaviour(netlist).first()}


def arrivals(netlist: Netlist, state: dict[str, int], inputs: str) -> set[Arrival]:
    """Where the circuit gets from the only first instant with these values when its inputs become `inputs`."""
    behaviour = Behaviour(netlist)
    names = tuple(state)
    wanted = "".join(str(value) for value in state.values())
    origins = {found for found in behaviour.reachable() if named(netlist, found, *names) == wanted}
    assert len(origins) == 1
    return set(behaviour.step(origins.pop(), tuple(letter == "1" for letter in inputs)))


def follow(netlist: Netlist, words: list[str], *names: str) -> list[str]:
    """The values of the nets along a run in which every step has one outcome; one word of inputs an instant."""
    behaviour = Behaviour(netlist)
    first = {a for a in behaviour.first() if behaviour.steps.inputs_at(a.instant) == bits(words[0])}
    assert len(first) == 1
    instant = first.pop().instant
    seen = [named(netlist, instant, *names)]
    for word in words[1:]:
        reached = {arrival.instant for arrival in behaviour.step(instant, bits(word))}
        assert len(reached) == 1
        instant = reached.pop()
        seen.append(named(netlist, instant, *names))
    return seen


def bits(word: str) -> tuple[bool, ...]:
    return tuple(letter == "1" for letter in word)


def settles(netlist: Netlist) -> tuple[str, int | None]:
    answer = Oracle(design_of(netlist, [])).answers()[-1]
    return answer.verdict, answer.length


def nand_pair(together: bool) -> Netlist:
    return (
        Wiring("nand_pair", inputs_may_change_together=together)
        .input("set_n")
        .input("reset_n")
        .gate("ring", GateKind.NAND, "set_n", "ring_n")
        .gate("ring_n", GateKind.NAND, "reset_n", "ring")
        .netlist()
    )


def ripple_counter(stages: int) -> Netlist:
    wiring = Wiring("ripple").input("lever").gate("high", GateKind.HIGH)
    clock = "lever"
    for stage in range(stages):
        name = f"count_{stage}"
        wiring.flip_flop(name, FlipFlopKind.TOGGLE, "high", clock=clock, edge=Edge.FALL, start=False)
        clock = name
    return wiring.netlist()
