"""The width that a measured number is about, on the run that shows it: from which instant to which it reaches."""

from __future__ import annotations

from dataclasses import dataclass

from verifier.circuit.netlist import Netlist
from verifier.claims import formula as tree
from verifier.claims.claim import Claim
from verifier.claims.formula import Formula, Tightest
from verifier.claims.run import Run
from verifier.claims.timed_meaning import evaluate_in_time, with_every_tick
from verifier.report.changes import last_change, passed
from verifier.report.measured import amount


@dataclass(frozen=True, kw_only=True)
class Width:
    """Two instants of the run and how far they are apart."""

    first: int
    last: int
    text: str


def measured_width(claim: Claim, run: Run, netlist: Netlist) -> Width | None:
    """The pulse, or the time from trigger to deadline, that ends with the run; None where the number is no such width.

    A number that is asked for in a given, or in another place of the claim, is no width of one run.
    """
    first = _begins(claim.formula, run, netlist)
    if first is None or run.loop_from is not None:
        return None
    last = len(run) - 1
    told = amount(last - first, "steps") if run.times is None else amount(passed(run, first, last), "ns")
    return Width(first=first, last=last, text=told)


def _begins(formula: Formula, run: Run, netlist: Netlist) -> int | None:
    last = len(run) - 1
    match formula:
        case tree.PulsesLast(signal=signal):
            ended = [net for net in signal.nets if run.instants[last - 1][net] != run.instants[last][net]]
            began = [place for net in ended if (place := last_change(run, net, last - 1)) is not None]
            return max(began, default=None)
        case tree.LeadsTo(left=left, right=right) if run.times is not None:
            return _oldest_waiting(left, right, run, netlist)
        case tree.OnlyWhen(right=tree.WithinTheLast(operand=operand, bound=bound)) if _is_asked(bound):
            held = _at_instants(operand, run, netlist)
            return max((i for i in range(last) if held[i]), default=None)
        case _:
            return None


def _oldest_waiting(left: Formula, right: Formula, run: Run, netlist: Netlist) -> int | None:
    last = len(run) - 1
    held, came = _at_instants(left, run, netlist), _at_instants(right, run, netlist)
    waiting_from = max((i + 1 for i in range(last) if came[i]), default=0)
    return next((i for i in range(waiting_from, last) if held[i]), None)


def _at_instants(formula: Formula, run: Run, netlist: Netlist) -> tuple[int, ...]:
    """Values at the instants of the run itself, ticks left out."""
    values = evaluate_in_time(formula, run, netlist)
    return tuple(values[place] for place in with_every_tick(run).listed)


def _is_asked(bound: tree.Bound) -> bool:
    return isinstance(bound.amount, Tightest)
