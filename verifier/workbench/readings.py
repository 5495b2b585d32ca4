"""Readings as people write them: `beat high`, `count 0101`, `step 7: beat high, agree low`, `flip lever up: beat low`.

A bus takes as many digits 0 and 1 as it has bits, the way its LEDs stand, highest first, or a number.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from verifier.circuit.netlist import NetId, Netlist
from verifier.errors import CallError
from verifier.evidence.checklist import Flip
from verifier.evidence.diagnosis import NO_FIRM_LEVEL, MeterLevel, Pin
from verifier.workbench.pin_levels import PinLevels
from verifier.workbench.selection import nearest_hint

LEVELS = {"high": True, "low": False, "1": True, "0": False}
METER_LEVELS: Mapping[str, MeterLevel] = {**LEVELS, "no level": NO_FIRM_LEVEL}
HOW_TO_READ = 'write it as "step 7: beat high", several readings with commas between them'

Levels = Mapping[NetId, bool]


@dataclass(frozen=True)
class Seen:
    """What was read after one row of the list."""

    row: int
    levels: Levels


@dataclass(frozen=True)
class Further:
    """One more flip after the last row that was read, or none, and what was read then."""

    flip: Flip | None
    levels: Levels
    pin: tuple[Pin, MeterLevel] | None = None
    """A pin that was probed, and what the meter found."""


def seen(text: str, netlist: Netlist) -> Seen:
    """Reads `step 7: beat high, agree low`. Raises CallError."""
    match = re.fullmatch(r"\s*(?:step|row)?\s*(\d{1,6})\s*[:,]?\s*(.*)", text, re.DOTALL)
    if match is None:
        raise CallError(f"`{text}` names no step", HOW_TO_READ)
    return Seen(int(match[1]), levels(match[2], netlist))


def further(text: str, netlist: Netlist) -> Further:
    """Reads `flip lever up: beat low` and `probe agree: high`. Raises CallError."""
    if text.split()[:1] == ["probe"]:
        return _probed(text.strip().removeprefix("probe").strip(), netlist)
    deed, colon, read = text.partition(":")
    words = deed.split()
    if words[:1] != ["flip"] or len(words) != 3 or words[2] not in ("up", "down") or not colon:
        hint = 'write it as "flip lever up: beat low", or "probe agree: high"'
        raise CallError(f"`{text}` is no further step", hint)
    net = _one_net(words[1], netlist)
    if net not in netlist.input_nets:
        hint = nearest_hint(words[1], _input_names(netlist))
        raise CallError(f"{words[1]} is no input, so it cannot be flipped", hint)
    return Further(Flip(net, up=words[2] == "up"), levels(read, netlist))


def _probed(text: str, netlist: Netlist) -> Further:
    """Reads `agree: high` and `on_tempo: d (choose): no level`."""
    target, _, read = (part.strip() for part in text.rpartition(":"))
    pins = PinLevels(netlist).names
    if target not in pins:
        raise CallError(f"there is no wire and no pin named {target}", nearest_hint(target, pins))
    if read not in METER_LEVELS:
        raise CallError(f"`{read}` is nothing that a meter finds", "high, low or no level")
    return Further(None, {}, (pins[target], METER_LEVELS[read]))


def levels(text: str, netlist: Netlist) -> dict[NetId, bool]:
    """Reads `beat high, count 0101`. Raises CallError, also where nothing is read."""
    found: dict[NetId, bool] = {}
    for part in filter(None, (part.strip() for part in text.split(","))):
        name, _, value = part.replace("=", " ").replace(" is ", " ").partition(" ")
        for net, level in _levels_of(name, value.strip(), netlist, part).items():
            if found.setdefault(net, level) != level:
                raise CallError(f"{netlist.nets[net].name} cannot be both high and low")
    if not found:
        raise CallError("there is no reading", HOW_TO_READ)
    return found


def _levels_of(name: str, value: str, netlist: Netlist, written: str) -> dict[NetId, bool]:
    nets = _nets(name, netlist)
    if len(nets) == 1 and value in LEVELS:
        return {nets[0]: LEVELS[value]}
    if len(nets) == len(value) and set(value) <= set("01-"):
        return {net: digit == "1" for net, digit in zip(reversed(nets), value, strict=True) if digit != "-"}
    try:
        number = int(value, 0) if 0 < len(value) < 100 else -1
    except ValueError:
        number = -1
    if not 0 <= number < 1 << len(nets):
        wanted = "high or low" if len(nets) == 1 else f"{len(nets)} digits 0 and 1, or a number"
        raise CallError(f"`{written}` is no reading of {name}", f"{name} is {wanted}")
    return {net: bool(number >> place & 1) for place, net in enumerate(nets)}


def _nets(name: str, netlist: Netlist) -> Sequence[NetId]:
    known = named_nets(netlist)
    if name not in known:
        raise CallError(f"{netlist.name} has no net named {name}", nearest_hint(name, known))
    return known[name]


def named_nets(netlist: Netlist) -> dict[str, tuple[NetId, ...]]:
    """Every name that a reading may use: bits, signals and pins."""
    bits = {net.name: (index,) for index, net in enumerate(netlist.nets)}
    inputs = {pin.name: pin.nets for pin in netlist.inputs}
    return {**bits, **netlist.signals, **inputs, **{pin.name: pin.nets for pin in netlist.outputs}}


def _one_net(name: str, netlist: Netlist) -> NetId:
    nets = _nets(name, netlist)
    if len(nets) > 1:
        bits = ", ".join(netlist.nets[net].name for net in reversed(nets))
        raise CallError(f"{name} is several switches", f"flip one of them: {bits}")
    return nets[0]


def _input_names(netlist: Netlist) -> list[str]:
    return [netlist.nets[net].name for net in netlist.input_nets]
