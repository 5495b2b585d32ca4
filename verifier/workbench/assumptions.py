"""Everything that a verdict takes for granted about the outside world and the view, one sentence each.

The sentences follow `grammar/README.md`, 12.1 and 12.4. They describe; nothing here decides.
"""

from __future__ import annotations

from collections.abc import Sequence

from verifier.circuit.netlist import InputClass, Netlist
from verifier.claims.claim import Design, Given
from verifier.report.pieces import listing
from verifier.report.verdicts import free_at_power_up

NAMES_AT_MOST = 8

CLASS_MEANS = {
    InputClass.FREE_RUNNING: "free running (may change at any step, and keeps changing for ever)",
    InputClass.BY_HAND: "by hand (changes alone, and only when the circuit is quiet)",
    InputClass.STRAPPED: "strapped (either level, but never changes)",
    InputClass.FREE: "free (may change at any step)",
}

SETTLED = (
    "settled view: the circuit comes to rest before the next input changes; gates outside loops settle at once, "
    "the members of a loop race in every order; delays and near coincidences of inputs are not looked at"
)


def assumptions(design: Design) -> tuple[str, ...]:
    """What the verdicts on this design in the settled view rest on."""
    netlist = design.netlist
    return (
        *_input_classes(netlist),
        *_together(netlist),
        *(given_told(given) for given in design.givens),
        SETTLED,
        *power_up_told(netlist),
    )


def given_told(given: Given) -> str:
    return f"given {given.name}: {given.text}"


def _input_classes(netlist: Netlist) -> list[str]:
    """One sentence for each class that is there, the inputs in the order of the pins."""
    sentences = []
    for input_class, meaning in CLASS_MEANS.items():
        names = [pin.name for pin in netlist.inputs if pin.input_class is input_class]
        if names:
            sentences.append(f"{listing(names)}: {meaning}")
    return sentences


def _together(netlist: Netlist) -> list[str]:
    if not netlist.inputs:
        return []
    if netlist.inputs_may_change_together:
        return ["inputs may change together, at the same instant (those by hand never do)"]
    has_bus = any(len(pin.nets) > 1 for pin in netlist.inputs)
    return ["at most one input changes in a step" + ("; the bits of a bus are one input" if has_bus else "")]


def power_up_told(netlist: Netlist, states: str = "every stable state is possible") -> list[str]:
    """Which states it may power up in; nothing when the file says everything."""
    names = [netlist.nets[net].name for net in free_at_power_up(netlist)]
    return [f"power-up: {states}, whatever the first values of {_some(names)}"] if names else []


def _some(names: Sequence[str]) -> str:
    if len(names) <= NAMES_AT_MOST:
        return listing(names)
    shown = NAMES_AT_MOST - 1
    return ", ".join(names[:shown]) + f" and {len(names) - shown} more"
