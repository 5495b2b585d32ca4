"""What went wrong at the last instant of a run of a delay view: the claims that only these views have, in one sentence.

It expects a run with all its ticks written down. How far apart instants are is read off the run; whether the claim is
broken is not asked again.
"""

from __future__ import annotations

from verifier.circuit.netlist import Netlist
from verifier.claims import formula as tree
from verifier.claims.formula import Formula, Pulses, Unit
from verifier.claims.run import Run
from verifier.claims.timed_meaning import evaluate_in_time, repeated_changes
from verifier.report.changes import changed, last_change, moment, passed
from verifier.report.pieces import listing
from verifier.report.storage_breach import storage_breach
from verifier.report.wording import worded_as_one

ENDS_AT = {Pulses.BOTH: (False, True), Pulses.HIGH: (False,), Pulses.LOW: (True,)}
"""The values that a net may have after the pulse."""


def broken_in_time(formula: Formula, run: Run, netlist: Netlist) -> str | None:
    """One sentence, without a full stop; None for a claim that is told as in the settled view."""
    match formula:
        case tree.PulsesLast():
            return _short_pulse(formula, run)
        case tree.LeadsTo(bound=tree.Bound(unit=Unit.NANOSECONDS) as bound):
            return _late(formula, bound, run, netlist)
        case tree.NeverGlitches(signal=signal):
            return _second_change(signal, run, netlist)
        case tree.Settles():
            return _unsettled(run)
        case tree.KeepsTiming():
            return storage_breach(formula, run, netlist)
        case _:
            return None


def _short_pulse(formula: tree.PulsesLast, run: Run) -> str:
    """The shortest of those that end here."""
    last = len(run) - 1
    ended = []
    for bit, net in enumerate(formula.signal.nets):
        began = last_change(run, net, last - 1)
        if began is not None and net in changed(run, last) and run.instants[last][net] in ENDS_AT[formula.pulses]:
            ended.append((passed(run, began, last), bit))
    if not ended:
        raise ValueError(f"no pulse of {formula.signal.name} ends with the run")
    length, bit = min(ended)
    was_high = run.instants[last - 1][formula.signal.nets[bit]]
    return f"{_bit_name(formula.signal, bit)} was {'high' if was_high else 'low'} for {length} ns"


def _late(formula: tree.LeadsTo, bound: tree.Bound, run: Run, netlist: Netlist) -> str:
    """Of what waits when the run breaks the claim, the oldest has just become late."""
    last = len(run) - 1
    came = evaluate_in_time(formula.right, run, netlist)
    held = evaluate_in_time(formula.left, run, netlist)
    waiting_from = max((i + 1 for i in range(last) if came[i]), default=0)
    asked = next((i for i in range(waiting_from, last) if held[i]), None)
    if asked is None:
        raise ValueError("nothing waits at the end of the run")
    within = bound.amount if isinstance(bound.amount, int) else passed(run, asked, last) - 1
    goal, trigger = worded_as_one(formula.right), worded_as_one(formula.left)
    return f"no {goal} within {within} ns of {trigger} at {moment(run, asked)}"


def _second_change(signal: tree.Signal, run: Run, netlist: Netlist) -> str:
    inputs = frozenset(netlist.input_nets)
    again = repeated_changes(run, inputs)[-1]
    bits = [bit for bit, net in enumerate(signal.nets) if net in again]
    if not bits:
        raise ValueError(f"{signal.name} does not change a second time at the end of the run")
    names = listing([_bit_name(signal, bit) for bit in bits])
    since = max((i for i in range(len(run)) if not inputs.isdisjoint(changed(run, i))), default=0)
    moved = [pin.name for pin in netlist.inputs if not changed(run, since).isdisjoint(pin.nets)]
    told = f"since {listing(moved)} changed" if moved else "since power-up"
    return f"{names} {'changes' if len(bits) == 1 else 'change'} a second time {told}"


def _unsettled(run: Run) -> str:
    if run.events[-1].oscillated:
        return "from here parts may fire for ever while no input changes"
    return "from here it may come to rest in more than one state: which one hangs on which part is faster"


def _bit_name(signal: tree.Signal, bit: int) -> str:
    return signal.name if signal.width == 1 else f"{signal.name}[{bit}]"
