"""What happens at each instant of a run of a delay view, in words: inputs that change, and gates that fire and why."""

from __future__ import annotations

from collections.abc import Sequence

from verifier.circuit.netlist import NetId, Netlist
from verifier.claims.run import Run
from verifier.report.causes import Cause, Firing, firings
from verifier.report.doing import KEEP_TOGETHER, input_changes, power_up
from verifier.report.pieces import listing

TIME_PASSES = "time passes"


def moves_told(netlist: Netlist, run: Run) -> list[str]:
    """For each instant what leads to it."""
    teller = _Teller(netlist, run)
    return [power_up(netlist, run), *(teller.told(i, fired) for i, fired in enumerate(firings(netlist, run)) if i)]


def instants_with_moves(run: Run) -> list[int]:
    """The instants that are no mere ticks, and the first and the last in any case."""
    if run.times is None:
        return list(range(len(run)))
    last = len(run) - 1
    return [i for i in range(len(run)) if i in (0, last) or run.instants[i] != run.instants[i - 1]]


class _Teller:
    def __init__(self, netlist: Netlist, run: Run) -> None:
        self._netlist, self._run = netlist, run

    def told(self, i: int, fired: Sequence[Firing]) -> str:
        """The inputs first, then those that fired together for one reason together."""
        told = [input_changes(self._netlist, self._run, i)]
        by_cause: dict[Cause | None, list[NetId]] = {}
        for firing in fired:
            by_cause.setdefault(firing.cause, []).append(firing.net)
        for cause, nets in by_cause.items():
            moved = listing([self._edge(net, i, "rises", "falls") for net in nets])
            told.append(moved + ("" if cause is None else f" ({self._because(cause, i)})"))
        return "; ".join(part for part in told if part) or TIME_PASSES

    def _because(self, cause: Cause, i: int) -> str:
        if not cause.pins:
            return "unstable at power-up" if cause.since == 0 else "set and reset are both active"
        pins = listing([self._edge(net, cause.since, "rose", "fell") for net in cause.pins])
        return ("unsure since " if cause.unsure else "") + f"{pins} {self._ago(cause.since, i)}"

    def _ago(self, since: int, i: int) -> str:
        times = self._run.times
        if times is None:
            return f"at step{KEEP_TOGETHER}{since}"
        return f"{times[i] - times[since]}{KEEP_TOGETHER}ns{KEEP_TOGETHER}ago"

    def _edge(self, net: NetId, i: int, up: str, down: str) -> str:
        return f"{self._netlist.nets[net].name} {up if self._run.instants[i][net] else down}"
