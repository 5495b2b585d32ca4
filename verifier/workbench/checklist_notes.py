"""What the reader of a checklist must know before the first flip: switches, straps, givens, what is left out."""

from __future__ import annotations

from collections.abc import Sequence

from verifier.circuit.netlist import InputClass
from verifier.claims.claim import Design, Given
from verifier.evidence.checklist import Column
from verifier.report.pieces import listing
from verifier.workbench.readings import Levels

DEBOUNCED = "every input is a debounced switch: a bouncing contact is many flips, and the board runs ahead of the list"
SAFE = "the list visits every state, bad ones too: first disconnect or block whatever on the outputs could hurt someone"
WAIT = "after each flip wait until everything rests, then read"


def notes(
    design: Design, columns: Sequence[Column], straps: Levels, heeded: Sequence[Given], unheeded: Sequence[Given]
) -> tuple[str, ...]:
    """One sentence each, in the order in which they matter at the bench."""
    return (
        SAFE,
        *_free_running(design),
        DEBOUNCED,
        WAIT,
        *_buses(columns),
        *_straps(design, straps),
        *_left_out(design),
        *_givens(heeded, unheeded),
    )


def _free_running(design: Design) -> list[str]:
    names = [pin.name for pin in design.netlist.inputs if pin.input_class is InputClass.FREE_RUNNING]
    return [f"{name} runs free in the circuit: disconnect its source, a switch takes its place" for name in names]


def _buses(columns: Sequence[Column]) -> list[str]:
    names = [column.name for column in columns if len(column.nets) > 1]
    if not names:
        return []
    return [f"{listing(names)} {'is' if len(names) == 1 else 'are'} in binary, highest bit first"]


def _straps(design: Design, straps: Levels) -> list[str]:
    if not straps:
        return []
    nets = design.netlist.nets
    set_to = ", ".join(f"{nets[net].name} {'high' if level else 'low'}" for net, level in straps.items())
    others = (1 << len(straps)) - 1
    further = "1 other setting has a list" if others == 1 else f"{others} other settings have lists"
    return [f"strapped before power-up: {set_to}; {further} of its own, see --strap"]


def _left_out(design: Design) -> list[str]:
    left_out = []
    movable = [pin for pin in design.netlist.inputs if pin.input_class is not InputClass.STRAPPED]
    if design.netlist.inputs_may_change_together and len(movable) > 1:
        left_out.append("left out: two inputs changing together, which the file permits but no hand can do")
    for pin in movable:
        if len(pin.nets) > 1:
            left_out.append(f"left out: changes of several bits of {pin.name} at once; each bit is a switch of its own")
    return left_out


def _givens(heeded: Sequence[Given], unheeded: Sequence[Given]) -> list[str]:
    kept = [f"no flip below breaks given {given.name}: {given.text}" for given in heeded]
    return kept + [f"given {given.name} looks further than one step: flips below may break it" for given in unheeded]
