"""A checklist as a person at the bench has it, a sheet of text, walked with the oracle's own steps.

Nothing here is shared with what made the list but the netlist and the sheet.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass, replace

from oracle.first_instants import first_instants
from oracle.search import Behaviour

from verifier.circuit.netlist import InputClass, Netlist
from verifier.claims.run import Instant


@dataclass
class Walked:
    visited: set[Instant]
    """States in which the board was for certain."""
    made: set[tuple[Instant, int]]
    """A state in which the board was for certain, and the input that was flipped there."""
    wrong: list[str]
    """Readings that a sound board need not show, or that it always shows although the sheet leaves them open."""


def walked(netlist: Netlist, sheet: str, known_by_reading: int = -1) -> Walked:
    """`known_by_reading`: up to so many steps from a power-up boards that read otherwise are set aside."""
    behaviour = Behaviour(netlist)
    header, *lines = csv.reader(io.StringIO(sheet))
    board: set[Instant] = set()
    done = Walked(set(), set(), [])
    woke_at = 0
    for line in lines:
        step, deed, *cells = line
        shown = dict(zip(header[2:-1], cells, strict=False))
        if deed.startswith("switch"):
            board = _woken(netlist, shown)
            woke_at = int(step)
        else:
            _, name, way = deed.split()
            (net,) = (index for index, described in enumerate(netlist.nets) if described.name == name)
            if len(board) == 1:
                done.made.add((next(iter(board)), net))
            board = {after for state in board for after in _flipped(behaviour, state, net, way == "up")}
        if int(step) - woke_at <= known_by_reading:
            board = {state for state in board if not _differences(netlist, shown, state)}
        done.wrong += [f"step {step}: {what}" for what in _wrong(netlist, shown, board)]
        if len(board) == 1:
            done.visited |= board
    return done


def reachable(netlist: Netlist) -> tuple[set[Instant], set[tuple[Instant, int]]]:
    """All states at rest from the power-ups that the file allows, and the single flips permitted in them."""
    behaviour = Behaviour(netlist)
    movable = [net for pin in netlist.inputs if pin.input_class is not InputClass.STRAPPED for net in pin.nets]
    found = {first.instant for first in first_instants(behaviour.structure)}
    pending = list(found)
    while pending:
        state = pending.pop()
        for net in movable:
            new = _flipped(behaviour, state, net, not state[net]) - found
            found |= new
            pending += new
    return found, {(state, net) for state in found for net in movable}


def _flipped(behaviour: Behaviour, state: Instant, net: int, up: bool) -> set[Instant]:
    netlist = behaviour.structure.netlist
    assert state[net] is not up, "the switch stands there already"
    inputs = tuple(state[other] if other != net else up for other in netlist.input_nets)
    return {arrival.instant for arrival in behaviour.step(state, inputs)}


def _woken(netlist: Netlist, shown: dict[str, str]) -> set[Instant]:
    free = replace(
        netlist,
        gates=tuple(replace(gate, start=None) for gate in netlist.gates),
        flip_flops=tuple(replace(element, start=None) for element in netlist.flip_flops),
        latches=tuple(replace(element, start=None) for element in netlist.latches),
        set_resets=tuple(replace(element, start=None) for element in netlist.set_resets),
    )
    woken = {first.instant for first in first_instants(Behaviour(free).structure)}
    pins = {pin.name: pin.nets for pin in netlist.inputs}
    set_to = {net: digit == "1" for name in pins for net, digit in zip(pins[name], reversed(shown[name]), strict=True)}
    return {state for state in woken if all(state[net] == level for net, level in set_to.items())}


def _columns(netlist: Netlist, shown: dict[str, str]) -> list[tuple[str, tuple[int, ...], str]]:
    nets = {**netlist.signals, **{pin.name: pin.nets for pin in (*netlist.inputs, *netlist.outputs)}}
    return [(name, nets[name], cell) for name, cell in shown.items()]


def _differences(netlist: Netlist, shown: dict[str, str], state: Instant) -> list[str]:
    return [
        name
        for name, nets, cell in _columns(netlist, shown)
        if any(digit not in ("-", str(int(state[net]))) for net, digit in zip(nets, reversed(cell), strict=True))
    ]


def _wrong(netlist: Netlist, shown: dict[str, str], board: set[Instant]) -> list[str]:
    found = []
    for name, nets, cell in _columns(netlist, shown):
        for net, digit in zip(nets, reversed(cell), strict=True):
            possible = {str(int(state[net])) for state in board}
            if possible != ({digit} if digit != "-" else {"0", "1"}):
                found.append(f"{name} is {cell}, a sound board shows {sorted(possible)} at {netlist.nets[net].name}")
    return found
