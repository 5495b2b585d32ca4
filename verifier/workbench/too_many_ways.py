"""Why the simulator could not finish a step, in the words of the circuit: which loop is large, and what the limit is.

It describes; that the limit was met is the simulator's finding.
"""

from __future__ import annotations

from verifier.circuit.loops import components
from verifier.circuit.netlist import Netlist
from verifier.evidence.replay import Unconfirmed
from verifier.evidence.simulator import STATES_OF_ONE_STEP, SimulationLimit
from verifier.report.pieces import listing

NAMES_AT_MOST = 4


def too_many_ways(netlist: Netlist) -> str:
    """The limit, and the largest loop where there is one."""
    told = f"one step can go in more ways than are tried ({STATES_OF_ONE_STEP} states)"
    loops = [sorted(member.output for member in part.members) for part in components(netlist) if part.is_loop]
    if not loops:
        return told
    largest = max(loops, key=len)
    shown = largest if len(largest) <= NAMES_AT_MOST else largest[: NAMES_AT_MOST - 1]
    names = [netlist.nets[net].name for net in shown]
    if len(shown) < len(largest):
        names.append(f"{len(largest) - len(shown)} more")
    members = "1 member" if len(largest) == 1 else f"{len(largest)} members"
    return f"{told}; the largest loop has {members}: {listing(names)}"


def why_unconfirmed(unconfirmed: Unconfirmed, netlist: Netlist) -> str:
    """What kept a second opinion on a run from coming to an end."""
    return too_many_ways(netlist) if isinstance(unconfirmed.__cause__, SimulationLimit) else str(unconfirmed)
