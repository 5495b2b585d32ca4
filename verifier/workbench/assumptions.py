"""Everything that a verdict takes for granted about the outside world and the view, one sentence each.

The sentences follow `grammar/README.md`, 12.1 and 12.4, and part IV for the delay views. They describe; nothing here
decides. Only the views in which some claim of the design is judged are spoken of.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from verifier.circuit.loops import components
from verifier.circuit.netlist import Input, InputClass, Netlist, Range
from verifier.claims.claim import Design, Given, View
from verifier.claims.open_bounds import whole_ns_stand_for_real_time
from verifier.claims.support import restricts
from verifier.report.pieces import listing
from verifier.report.verdicts import free_at_power_up

NAMES_AT_MOST = 8

CLASS_MEANS = {
    InputClass.FREE_RUNNING: "free running (may change at any step, and keeps changing for ever)",
    InputClass.BY_HAND: "by hand (changes alone, and only when the circuit is quiet)",
    InputClass.STRAPPED: "strapped (either level, but never changes)",
    InputClass.FREE: "free (may change at any step)",
    InputClass.FLOATING: "an open pin (may change at any step, together with others too in the settled view)",
}

SETTLED = (
    "settled view: the circuit comes to rest before the next input changes; gates outside loops settle at once, "
    "the members of a loop race in every order; delays and near coincidences of inputs are not looked at"
)
ANY_DELAY = (
    "any delay view: speed-independent, which means that every gate and storage part takes any time, each time anew, "
    "and wires take none; every input waits until the circuit is quiet"
)
TIMED = (
    "timed view: delays as in the file; a pulse shorter than the delay of a gate may be lost in it; wires take no "
    "time; inputs may change in the same ns, one after the other; whole ns stand for real time"
)
NO_VOLTAGES = "timed view: no voltages between the levels; metastability is only the settling time, as in the file"
LONG_AGO = "timed view: at the first instant everything has long been as it is"
NOT_BETWEEN = (
    "whole ns alone were looked at, as several distances in the claim or the givens have to be strictly longer or "
    "shorter than a number"
)
VIEW_TOLD = {View.SETTLED: (SETTLED,), View.ANY_DELAY: (ANY_DELAY,), View.TIMED: (TIMED, NO_VOLTAGES, LONG_AGO)}


def assumptions(design: Design) -> tuple[str, ...]:
    """What the verdicts on the claims of this design rest on."""
    netlist = design.netlist
    views = [view for view in View if any(claim.view is view for claim in design.claims)]
    return (
        *_inputs(netlist, views),
        *(given_told(given) + _restricts_only(given, views) for given in design.givens),
        *(sentence for view in views for sentence in VIEW_TOLD[view]),
        *_between_whole_ns(design),
        *power_up_told(netlist),
        *_unstable_start(netlist, views),
    )


def _between_whole_ns(design: Design) -> list[str]:
    """The claims whose verdicts are about whole ns alone."""
    givens = tuple(given for given in design.givens if restricts(given, View.TIMED))
    names = [claim.name for claim in design.claims if not whole_ns_stand_for_real_time(claim, givens)]
    if not names:
        return []
    return [f"timed view: {_some(names)}: {NOT_BETWEEN}"]


def given_told(given: Given) -> str:
    return f"given {given.name}: {given.text}"


def _restricts_only(given: Given, views: Collection[View]) -> str:
    """In which of the views the given says nothing; empty when it restricts the runs of all of them."""
    left_out = [view.value for view in views if not restricts(given, view)]
    return f"; does not restrict the {listing(left_out)} verdicts" if left_out else ""


def _inputs(netlist: Netlist, views: Sequence[View]) -> list[str]:
    if View.TIMED not in views:
        return [*_input_classes(netlist), *_together(netlist, "step")]
    if len(views) == 1:
        return [*_timed_inputs(netlist.inputs), *_together(netlist, "move")]
    differing = [pin for pin in netlist.inputs if _timed_meaning(pin) != CLASS_MEANS[pin.input_class]]
    timed = [f"timed view: {sentence}" for sentence in _timed_inputs(differing)]
    return [*_input_classes(netlist), *_together(netlist, "step"), *timed]


def _input_classes(netlist: Netlist) -> list[str]:
    """One sentence for each class that is there, the inputs in the order of the pins."""
    return [
        f"{listing(names)}: {meaning}"
        for input_class, meaning in CLASS_MEANS.items()
        if (names := [pin.name for pin in netlist.inputs if pin.input_class is input_class])
    ]


def _timed_inputs(pins: Sequence[Input]) -> list[str]:
    """One sentence for each way in which inputs change in the timed view."""
    told: dict[str, list[str]] = {}
    for input_class in CLASS_MEANS:
        for pin in pins:
            if pin.input_class is input_class:
                told.setdefault(_timed_meaning(pin), []).append(pin.name)
    return [f"{listing(names)}: {meaning}" for meaning, names in told.items()]


def _timed_meaning(pin: Input) -> str:
    match pin.input_class:
        case InputClass.FREE_RUNNING if pin.high is not None and pin.low is not None:
            return f"free running (high {_range(pin.high)}, low {_range(pin.low)}; how far into that at first is open)"
        case InputClass.BY_HAND if pin.apart is not None:
            return f"by hand (changes {pin.apart} ns or more after the last change by hand, quiet or not)"
        case InputClass.FREE:
            return "free (may change at any time)"
        case InputClass.FLOATING:
            return "an open pin (may change at any time, in a move of its own)"
        case _:
            return CLASS_MEANS[pin.input_class]


def _range(span: Range) -> str:
    return f"{span.low} ns" if span.low == span.high else f"{span.low}..{span.high} ns"


def _together(netlist: Netlist, what: str) -> list[str]:
    if not netlist.inputs:
        return []
    if netlist.inputs_may_change_together:
        return ["inputs may change together, at the same instant (those by hand never do)"]
    has_bus = any(len(pin.nets) > 1 for pin in netlist.inputs)
    has_open_pin = any(pin.input_class is InputClass.FLOATING for pin in netlist.inputs)
    besides = " besides what an open pin reads" if has_open_pin and what == "step" else ""
    bits = "; the bits of a bus are one input" if has_bus else ""
    return [f"at most one input changes in a {what}{besides}{bits}"]


def _unstable_start(netlist: Netlist, views: Collection[View]) -> list[str]:
    """The loops that a delay view starts in the state that the file gives, at rest or not."""
    if not {View.ANY_DELAY, View.TIMED}.intersection(views):
        return []
    loops = [part.members for part in components(netlist) if part.is_loop]
    given = [member.output for members in loops if all(m.start is not None for m in members) for member in members]
    names = [netlist.nets[net].name for net in given]
    return [f"power-up in the delay views: from the given start of {_some(names)}, at rest or not"] if names else []


def power_up_told(netlist: Netlist, states: str = "every stable state is possible") -> list[str]:
    """Which states it may power up in; nothing when the file says everything."""
    names = [netlist.nets[net].name for net in free_at_power_up(netlist)]
    return [f"power-up: {states}, whatever the first values of {_some(names)}"] if names else []


def _some(names: Sequence[str]) -> str:
    if len(names) <= NAMES_AT_MOST:
        return listing(names)
    shown = NAMES_AT_MOST - 1
    return ", ".join(names[:shown]) + f" and {len(names) - shown} more"
