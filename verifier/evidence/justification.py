"""Why nets have the values they have in a run of the settled view: each value traced to those it comes from.

Read from netlist and run alone, by the words of `grammar/README.md`, sections 10 to 12. Where a gate's value follows
from some of its pins, only these count; a pin that is known to be fixed (`fixed`) is taken before one that is not, and
one that is in the chain already before one that is new. It describes; that the values at the root do break the claim
is shown elsewhere.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

from verifier.circuit.loops import components, dependences
from verifier.circuit.netlist import Edge, FlipFlop, FlipFlopKind, Gate, Latch, Level, NetId, Netlist, SetReset
from verifier.claims.run import Instant, Run
from verifier.evidence.explanation import At, How, Link
from verifier.evidence.three_valued import Ternary, gate_value, is_active


def chain(
    netlist: Netlist, run: Run, roots: Iterable[At], *, fixed: Collection[At], chances: Collection[At]
) -> tuple[Link, ...]:
    """Every value that the roots come from, the roots included, earlier instants first.

    `chances` are values that the circuit took although it could have taken others.
    """
    return _Tracing(netlist, run, fixed, chances).traced(roots)


class _Tracing:
    def __init__(self, netlist: Netlist, run: Run, fixed: Collection[At], chances: Collection[At]) -> None:
        self._netlist = netlist
        self._instants = run.instants
        self._fixed, self._chances = fixed, chances
        self._drivers = netlist.drivers
        self._parts = {net: part for part in components(netlist) for net in part.outputs}
        self._links: dict[At, Link] = {}

    def traced(self, roots: Iterable[At]) -> tuple[Link, ...]:
        pending = [*roots]
        while pending:
            at = pending.pop()
            if at in self._links:
                continue
            link = self._link(at)
            self._links[at] = replace(link, because=tuple(dict.fromkeys(link.because)))
            pending.extend(link.because)
        return self._in_order()

    def _in_order(self) -> tuple[Link, ...]:
        """Each after all it comes of, as far as no loop is in the way; else by instant, then by net."""
        ordered: dict[At, Link] = {}
        begun: set[At] = set()
        pending = sorted(self._links, reverse=True)
        while pending:
            at = pending[-1]
            if at in begun:
                pending.pop()
                ordered.setdefault(at, self._links[at])
                continue
            begun.add(at)
            pending.extend(sorted((one for one in self._links[at].because if one not in begun), reverse=True))
        return tuple(ordered.values())

    def _link(self, at: At) -> Link:
        driver = self._drivers.get(at.net)
        if driver is None:
            return Link(at=at, how=How.OUTSIDE)
        if at in self._chances:
            return replace(self._usual(at), how=How.CHANCE)
        return self._usual(at)

    def _usual(self, at: At) -> Link:
        driver = self._drivers[at.net]
        part = self._parts[at.net]
        if isinstance(driver, Gate):
            return self._gate(at, driver, part.outputs) if part.is_loop else self._lone_gate(at, driver)
        if at.step == 0:
            return self._at_power_up(at, driver)
        match driver:
            case FlipFlop():
                return self._flip_flop(at, driver)
            case Latch():
                return self._latch(at, driver)
            case SetReset():
                return self._set_reset(at, driver)

    def _value(self, at: At) -> bool:
        return self._instants[at.step][at.net]

    def _lone_gate(self, at: At, gate: Gate) -> Link:
        pins = self._sufficient(gate, at, frozenset())
        return Link(at=at, how=How.GATE, because=pins or self._now(gate.inputs, at.step))

    def _gate(self, at: At, gate: Gate, loop: Sequence[NetId]) -> Link:
        """A member of a loop: by what comes from outside it, else because it stands as it stood, else by its pins."""
        outside = self._sufficient(gate, at, frozenset(loop))
        if outside is not None:
            return Link(at=at, how=How.GATE, because=outside)
        earlier = At(at.step - 1, at.net)
        if at.step > 0 and self._value(earlier) == self._value(at):
            around = [net for net in self._parts[at.net].outside_nets if net not in loop]
            return Link(at=at, how=How.HELD, because=(earlier, *self._now(around, at.step)))
        if at.step == 0:
            return Link(at=at, how=How.START, because=self._now((n for n in gate.inputs if n not in loop), 0))
        pins = self._sufficient(gate, at, frozenset((at.net,)))
        return Link(at=at, how=How.GATE, because=pins or self._now(gate.inputs, at.step))

    def _sufficient(self, gate: Gate, at: At, without: frozenset[NetId]) -> tuple[At, ...] | None:
        """Pins, none of them on these nets, from which alone the gate's value follows; None when there are none such.

        None of them can be left out.
        """
        wanted = self._value(at)
        known = {At(at.step, net) for net in gate.inputs if net not in without}
        if self._follows(gate, at.step, known) is not wanted:
            return None
        for pin in sorted(known, key=self._dispensable, reverse=True):
            if self._follows(gate, at.step, known - {pin}) is wanted:
                known.discard(pin)
        return tuple(sorted(known))

    def _dispensable(self, at: At) -> tuple[bool, bool, bool, At]:
        """Large for what is better left out of the chain: what is not fixed, new to the chain, or did not move."""
        moved = at.step > 0 and self._value(at) != self._value(At(at.step - 1, at.net))
        return at not in self._fixed, at not in self._links, not moved, at

    def _follows(self, gate: Gate, step: int, known: Collection[At]) -> Ternary:
        pins = [self._instants[step][net] if At(step, net) in known else None for net in gate.inputs]
        return gate_value(gate.kind, pins)

    def _now(self, nets: Iterable[NetId], step: int) -> tuple[At, ...]:
        return tuple(At(step, net) for net in nets)

    def _at_power_up(self, at: At, driver: FlipFlop | Latch | SetReset) -> Link:
        now = self._instants[0]
        match driver:
            case FlipFlop():
                forcing = _forcing(driver, now)
                if forcing:
                    return Link(at=at, how=How.FORCED, because=self._now(forcing, 0))
            case Latch() if is_active(driver.enable, now):
                return Link(at=at, how=How.OPEN, because=self._now((driver.data, driver.enable.net), 0))
            case SetReset() if now[driver.set] or now[driver.reset]:
                return Link(at=at, how=How.SET_RESET, because=self._now((driver.set, driver.reset), 0))
        return Link(at=at, how=How.START)

    def _flip_flop(self, at: At, driver: FlipFlop) -> Link:
        before, now, step = self._instants[at.step - 1], self._instants[at.step], at.step
        forcing = _forcing(driver, now)
        if forcing:
            return Link(at=at, how=How.FORCED, because=self._now(forcing, step))
        clock = (At(step - 1, driver.clock), At(step, driver.clock))
        if _has_edge(driver, before, now):
            data = self._now(_data(driver, before), step - 1)
            return Link(at=at, how=How.CLOCKED, because=(*clock, *data), clock=driver.clock)
        waiting = clock if before[driver.clock] != now[driver.clock] else clock[_rests_at(driver, now) :]
        return Link(at=at, how=How.HELD, because=(At(step - 1, at.net), *waiting, *self._quiet(driver, step)))

    def _quiet(self, driver: FlipFlop, step: int) -> tuple[At, ...]:
        """The clear and preset pins, which are at rest."""
        return self._now(dependences(driver), step)

    def _latch(self, at: At, driver: Latch) -> Link:
        enable = At(at.step, driver.enable.net)
        if is_active(driver.enable, self._instants[at.step]):
            return Link(at=at, how=How.OPEN, because=(At(at.step, driver.data), enable))
        return Link(at=at, how=How.HELD, because=(At(at.step - 1, at.net), enable))

    def _set_reset(self, at: At, driver: SetReset) -> Link:
        now = self._instants[at.step]
        if now[driver.set] != now[driver.reset]:
            active = driver.set if now[driver.set] else driver.reset
            other = driver.reset if now[driver.set] else driver.set
            return Link(at=at, how=How.SET_RESET, because=self._now((active, other), at.step))
        pins = self._now((driver.set, driver.reset), at.step)
        return Link(at=at, how=How.HELD, because=(At(at.step - 1, at.net), *pins))


def _forcing(driver: FlipFlop, values: Instant) -> tuple[NetId, ...]:
    """The pins that decide its value, whatever its clock does; preset wins over clear."""
    levels: tuple[Level | None, ...] = (driver.preset, driver.clear)
    for place, level in enumerate(levels):
        if level is not None and is_active(level, values):
            above = [earlier.net for earlier in levels[:place] if earlier is not None]
            return (level.net, *above)
    return ()


def _has_edge(driver: FlipFlop, before: Instant, now: Instant) -> bool:
    rises = driver.edge is Edge.RISE
    return before[driver.clock] != now[driver.clock] and now[driver.clock] is rises


def _rests_at(driver: FlipFlop, now: Instant) -> int:
    """0 when a clock that did not move could have had its edge, so both its values matter; 1 when the last does."""
    return 0 if now[driver.clock] is (driver.edge is Edge.RISE) else 1


def _data(driver: FlipFlop, before: Instant) -> tuple[NetId, ...]:
    """The data pins that decide what it takes, and its own value where that does."""
    if driver.kind is FlipFlopKind.D:
        return driver.data
    if driver.kind is FlipFlopKind.TOGGLE:
        return (*driver.data, driver.output)
    j, k = driver.data
    if before[j] != before[k]:
        # It is set or cleared, or keeps the value it would be given: one pin and its own value, or both pins.
        return (j, k)
    return (j, k, driver.output)
