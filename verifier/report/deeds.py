"""What leads to each instant of a run, and how an endless run goes on: the words that tables and diagrams share."""

from __future__ import annotations

from verifier.circuit.netlist import Netlist
from verifier.claims.claim import View
from verifier.claims.run import Run
from verifier.report.doing import KEEP_TOGETHER, doing, going_back
from verifier.report.moves import moves_told
from verifier.report.pieces import clean

WHAT_TO_DO, WHAT_HAPPENS = "what to do", "what happens"


def heading_of(view: View) -> str:
    return WHAT_TO_DO if view is View.SETTLED else WHAT_HAPPENS


def deeds(netlist: Netlist, run: Run, view: View, *, asides: bool) -> list[str]:
    """For each instant what leads to it; in the settled view, if wanted, with an aside when that step races."""
    if view is View.SETTLED:
        return [doing(netlist, run, index, asides=asides) for index in range(len(run))]
    return moves_told(netlist, run)


def for_ever(netlist: Netlist, run: Run) -> str:
    """How the run goes on for ever; empty when it ends."""
    if run.loop_from is None:
        return ""
    first, last = run.loop_from, len(run) - 1
    steps = f"step {first}" if first == last else f"steps {first} to {last}"
    back = clean(going_back(netlist, run)).replace(KEEP_TOGETHER, " ")
    same = first > 0 and back == doing(netlist, run, first, asides=False)
    return f"then {steps} again, for ever" if same else f"then {back}: that is step {first} again; so on for ever"
