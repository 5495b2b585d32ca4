"""What a call says about the power-up of a board: its straps, and what was read; and why that cannot be so."""

from __future__ import annotations

from typing import NoReturn

from verifier.circuit.netlist import InputClass, NetId, Netlist
from verifier.claims.claim import Design
from verifier.errors import CallError
from verifier.report.pieces import listing
from verifier.workbench.readings import Levels
from verifier.workbench.selection import nearest_hint


def agreed_straps(design: Design, straps: Levels, woke: Levels) -> dict[NetId, bool]:
    """The level of every strapped net, low where nothing is said.

    Raises:
        CallError: one of `straps` is not strapped, or `woke` says something else of a strapped net.
    """
    netlist = design.netlist
    strapped = [pin for pin in netlist.inputs if pin.input_class is InputClass.STRAPPED]
    nets = [net for pin in strapped for net in pin.nets]
    for net in straps:
        if net not in nets:
            raise CallError(f"{netlist.nets[net].name} is not strapped", _what_is(netlist, net))
    agreed = {net: straps.get(net, False) for net in nets}
    for net, level in woke.items():
        if agreed.get(net, level) != level:
            wanted, is_now = _level(level), _level(not level)
            name = netlist.nets[net].name
            raise CallError(
                f"{name} is strapped {is_now}, so it was not {wanted}", f'say --strap "{name} {wanted}" too'
            )
    return agreed


def _what_is(netlist: Netlist, net: NetId) -> str:
    strapped = [pin.name for pin in netlist.inputs if pin.input_class is InputClass.STRAPPED]
    hint = nearest_hint(netlist.nets[net].name, strapped) if strapped else f"no input of {netlist.name} is strapped"
    if net in netlist.input_nets:
        return f"{hint}; the list itself says how the other inputs are set"
    return f"{hint}; levels of other nets are read, not set"


def refuse_unwakeable(netlist: Netlist, woke: Levels, straps: Levels) -> NoReturn:
    """Raises CallError: no sound board wakes with these readings."""
    unsaid = [netlist.nets[net].name for net in netlist.input_nets if net not in woke and net not in straps]
    were = "was" if len(unsaid) == 1 else "were"
    taken = f"{listing(unsaid)} {were} taken as low, since inputs that --woke does not name are; " if unsaid else ""
    raise CallError(
        "a sound board cannot wake like this",
        f"{taken}check the readings and how the inputs were set; if they are right, a wire is wrong already",
    )


def _level(high: bool) -> str:
    return "high" if high else "low"
