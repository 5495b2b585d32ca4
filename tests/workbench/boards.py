"""Boards with a fault, played by the simulator: what the builder in front of one would read."""

from __future__ import annotations

from random import Random

from verifier.circuit.fault import Fault
from verifier.circuit.faulty import faulty
from verifier.circuit.netlist import InputClass, NetId, Netlist
from verifier.claims.run import Instant
from verifier.evidence.checklist import Checklist, Flip, Row
from verifier.evidence.simulator import Simulator
from verifier.workbench.readings import Seen


class Board:
    """One board: where there are several ways to go it takes one, and what floats is anything."""

    def __init__(self, netlist: Netlist, fault: Fault | None, random: Random) -> None:
        wired = netlist if fault is None else faulty(netlist, fault)
        self._simulator = Simulator(wired)
        self._floating = [n for pin in wired.inputs if pin.input_class is InputClass.FLOATING for n in pin.nets]
        self._random = random
        self.state: Instant = ()

    def make(self, row: Row, netlist: Netlist) -> None:
        if row.flip is not None:
            self.flip(row.flip)
            return
        state = next(iter(row.possible))
        inputs = {net: state[net] for net in netlist.input_nets}
        self.state = self._random.choice([s for s, _ in self._simulator.first_instants({**inputs, **self._drift()})])

    def flip(self, flip: Flip) -> None:
        outcomes = self._simulator.step(self.state, {**self._drift(), flip.net: flip.up})
        self.state = self._random.choice(outcomes).instant

    def _drift(self) -> dict[NetId, bool]:
        return {net: self._random.random() < 0.5 for net in self._floating}


def first_difference(checklist: Checklist, board: Board) -> Seen | None:
    """Makes the rows until a reading differs from the list's."""
    for row in checklist.rows:
        board.make(row, checklist.design.netlist)
        wrong = {
            net: board.state[net]
            for column in checklist.read
            for net, expected in zip(column.nets, row.reading(column), strict=True)
            if expected not in (None, board.state[net])
        }
        if wrong:
            return Seen(row.number, wrong)
    return None
