"""Plays a scripted input sequence through a circuit, and notes where the circuit could have gone another way.

It makes one run out of many possible ones; it proves nothing, and claims are not looked at.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import islice

from verifier.circuit.netlist import Input, InputClass, NetId, Netlist
from verifier.claims.run import Instant, Run, StepEvents
from verifier.errors import CallError
from verifier.evidence.simulator import Outcome, SimulationLimit, Simulator

Setting = Mapping[str, int]
"""Names of inputs or signals to values; a bus by the number its bits make."""


class NoSuchStart(CallError):
    """No first instant has the values that are wanted."""

    def __init__(self) -> None:
        super().__init__("the circuit cannot start like this", "check the start values against the inputs")


@dataclass(frozen=True)
class Played:
    run: Run
    notes: tuple[tuple[str, ...], ...]
    """For each instant, what a reader must know about the way to it."""


def play(netlist: Netlist, script: Sequence[Setting], start: Setting | None = None) -> Played:
    """The run in which each item of the script sets the inputs it names; the others stay.

    The first item gives the inputs at the first instant, where unnamed ones are 0. `start` names signals that must have
    these values at the first instant. Where the circuit may go several ways it goes the first in the simulator's order.
    A step that breaks the input rules is played, and noted.

    Raises:
        CallError: an unknown name, a value that does not fit, or no such first instant.
        SimulationLimit: there is too much to look at.
    """
    simulator = Simulator(netlist)
    pins = {pin.name: pin.nets for pin in netlist.inputs}
    settings = [_net_values(setting, pins, "input") for setting in script] or [{}]
    wanted = _net_values(start or {}, {**netlist.signals, **pins}, "signal")
    try:
        instant, events, notes = _first(simulator, settings[0], wanted)
    except NoSuchStart:
        raise _why_not(simulator, settings[0], start or {}, {**netlist.signals, **pins}) from None
    instants, all_events, all_notes = [instant], [events], [notes]
    for setting in settings[1:]:
        instant, events, notes = _next(simulator, instant, setting)
        instants.append(instant)
        all_events.append(events)
        all_notes.append(notes)
    return Played(Run(tuple(instants), tuple(all_events)), tuple(all_notes))


def _net_values(setting: Setting, nets_of: Mapping[str, tuple[NetId, ...]], kind: str) -> dict[NetId, bool]:
    values: dict[NetId, bool] = {}
    for name, number in setting.items():
        nets = nets_of.get(name)
        if nets is None:
            close = get_close_matches(name, nets_of, n=1)
            raise CallError(f"there is no {kind} {name!r}", f"did you mean {close[0]!r}?" if close else "")
        if not 0 <= number < 1 << len(nets):
            raise CallError(f"{name} has {_bits(len(nets))}: {number} does not fit", f"0..{(1 << len(nets)) - 1}")
        values.update({net: bool(number >> bit & 1) for bit, net in enumerate(nets)})
    return values


def _bits(count: int) -> str:
    return "1 bit" if count == 1 else f"{count} bits"


def _first(
    simulator: Simulator, setting: Mapping[NetId, bool], wanted: Mapping[NetId, bool]
) -> tuple[Instant, StepEvents, tuple[str, ...]]:
    inputs = {net: setting.get(net, False) for net in simulator.netlist.input_nets}
    possible = list(islice(simulator.first_instants(inputs, wanted), 2))
    if not possible:
        raise NoSuchStart
    instant, events = possible[0]
    notes = ["oscillates: shown is one state of many"] if events.oscillated else []
    if events.raced:
        notes.append("race: shown is one outcome")
    if len(possible) > 1:
        different = _differing(simulator.netlist, [found for found, _ in possible])
        notes.append(f"may start in other ways, for one with another {different}")
    return instant, events, tuple(notes)


def _why_not(
    simulator: Simulator,
    setting: Mapping[NetId, bool],
    start: Setting,
    nets_of: Mapping[str, tuple[NetId, ...]],
) -> CallError:
    """Which of the start values cannot be had, and what stands against it."""
    try:
        instant, *_ = _first(simulator, setting, {})
    except NoSuchStart:
        return CallError("the circuit has no first state with these inputs", "set other inputs with --start")
    except SimulationLimit:
        return NoSuchStart()
    for name, number in start.items():
        wanted = _net_values({name: number}, nets_of, "signal")
        try:
            _first(simulator, setting, wanted)
        except NoSuchStart:
            return _cannot_start(simulator.netlist, name, number, wanted, instant)
        except SimulationLimit:
            break
    return NoSuchStart()


def _cannot_start(
    netlist: Netlist, name: str, number: int, wanted: Mapping[NetId, bool], instant: Instant
) -> CallError:
    """What keeps these nets from starting at the wanted values; `instant` is one way to start."""
    starts = {net: netlist.drivers[net].start for net in wanted if net in netlist.drivers}
    bound = {net: start for net, start in starts.items() if start is not None and start == instant[net]}
    against = [net for net, start in bound.items() if start != wanted[net]]
    if not against:
        return CallError(f"{name} cannot start at {number}: with these inputs it is never so")
    if len(bound) == len(wanted):
        said = f"it start at {sum(bound[net] << bit for bit, net in enumerate(wanted))}"
    else:
        said = f"{netlist.nets[against[0]].name} start at {int(bound[against[0]])}"
    return CallError(
        f"{name} cannot start at {number}: the file has {said}",
        f"leave {name} out of --start, or change its `start` in the file",
    )


def _next(
    simulator: Simulator, instant: Instant, setting: Mapping[NetId, bool]
) -> tuple[Instant, StepEvents, tuple[str, ...]]:
    outcomes = simulator.step(instant, setting)
    shown = outcomes[0]
    notes = _broken_rules(simulator, instant, shown.instant)
    if shown.events.oscillated:
        notes.append("oscillates: shown is one state of many")
    notes.extend(_ways(simulator.netlist, outcomes))
    return shown.instant, shown.events, tuple(notes)


def _broken_rules(simulator: Simulator, old: Instant, new: Instant) -> list[str]:
    if simulator.permitted_change(old, new):
        return []
    changed = [pin for pin in simulator.netlist.inputs if _changes(pin, old, new)]
    strapped = [pin.name for pin in changed if pin.input_class is InputClass.STRAPPED]
    if strapped:
        return [f"not permitted: {name} never changes" for name in strapped]
    return [f"not permitted: {' and '.join(pin.name for pin in changed)} change in one step"]


def _changes(pin: Input, old: Instant, new: Instant) -> bool:
    return any(old[net] != new[net] for net in pin.nets)


def _ways(netlist: Netlist, outcomes: Sequence[Outcome]) -> list[str]:
    instants = sorted({outcome.instant for outcome in outcomes})
    raced = any(outcome.events.raced for outcome in outcomes)
    if raced:
        return [f"race: {len(instants)} outcomes, shown is one" if len(instants) > 1 else "race"]
    if len(instants) > 1:
        return [f"either value at {_differing(netlist, instants)}"]
    return []


def _differing(netlist: Netlist, instants: Sequence[Instant]) -> str:
    """The names of the nets that are not the same in all of these; nameless ones only if there are no others."""
    nets = [net for net in range(len(netlist.nets)) if len({instant[net] for instant in instants}) > 1]
    named = [net for net in nets if not netlist.nets[net].anonymous] or nets
    return ", ".join(netlist.nets[net].name for net in named)
