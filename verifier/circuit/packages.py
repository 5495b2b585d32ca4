"""Which packages of the 74 series a circuit needs, and what is left over in them.

What each package holds: the data books (Fairchild DM74LS00, 02, 04, 32; Hitachi HD74LS86, HD74LS157; TI SCLS135C for
the 266; National TL/F/6373 and 6382 for the 74 and 112; Motorola p. 5-75 for the 75); 08, 10, 11, 20, 21, 27, 30 from
memory. Gates are put into packages by kind; no gate is made from others than is said here, and the count is the least
for that rule. It is no wiring plan: nothing is said of which gate goes where.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from verifier.circuit.element_pins import constant_value
from verifier.circuit.netlist import Edge, FlipFlopKind, GateKind, Level, NetId, Netlist


@dataclass(frozen=True)
class Package:
    number: str
    holds: str
    count: int
    """How many of them."""
    note: str = ""


PACKAGES = {
    package.number: package
    for package in (
        Package("7400", "two-input NAND", 4),
        Package("7402", "two-input NOR", 4),
        Package("7404", "inverter", 6),
        Package("7408", "two-input AND", 4),
        Package("7410", "three-input NAND", 3),
        Package("7411", "three-input AND", 3),
        Package("7420", "four-input NAND", 2),
        Package("7421", "four-input AND", 2),
        Package("7427", "three-input NOR", 3),
        Package("7430", "eight-input NAND", 1),
        Package("7432", "two-input OR", 4),
        Package("7474", "D flip-flop, rising edge", 2),
        Package("7475", "latch, open while high", 4, "one enable for every two"),
        Package("7486", "two-input XOR", 4),
        Package("74112", "JK flip-flop, falling edge", 2),
        Package("74157", "selector", 4, "one selecting pin for all four"),
        Package("74266", "two-input XNOR", 4, "open collector: a pull-up resistor at each output"),
    )
}

_OF_GATES = {
    GateKind.AND: {2: "7408", 3: "7411", 4: "7421"},
    GateKind.NAND: {2: "7400", 3: "7410", 4: "7420", **dict.fromkeys(range(5, 9), "7430")},
    GateKind.OR: {2: "7432"},
    GateKind.NOR: {2: "7402", 3: "7427"},
    GateKind.XOR: {2: "7486"},
    GateKind.XNOR: {2: "74266"},
}
"""By the number of inputs; those of an eight-input NAND that are left over are tied high."""

_JOINS_FIRST = {GateKind.NAND: GateKind.AND, GateKind.NOR: GateKind.OR, GateKind.XNOR: GateKind.XOR}
"""What some inputs of a gate can be joined by beforehand; the others by gates of their own kind."""

INVERTER = "7404"

STAND_INS = {
    "7420": ("7430",),
    "7410": ("7420", "7430"),
    "7400": ("7410", "7420", "7430"),
    "7411": ("7421",),
    "7408": ("7411", "7421"),
    "7402": ("7427",),
    INVERTER: ("7400", "7402", "7410", "7427", "7420", "7430", "7486"),
}
"""Which packages have a gate that serves as one of this when inputs are tied, to a supply or to each other.
Each number stands before those that it is a stand-in for."""


@dataclass(frozen=True, kw_only=True)
class Needed:
    """Packages of one number."""

    package: Package
    packages: int
    used: int

    @property
    def spare(self) -> int:
        return self.packages * self.package.count - self.used


@dataclass(frozen=True, kw_only=True)
class StandIn:
    """Spare gates of one package, counted as used there, that save a package of another number."""

    package: Package
    serves_as: Package
    gates: int


@dataclass(frozen=True, kw_only=True)
class PartsNeeded:
    packages: tuple[Needed, ...]
    """By number, the smallest first."""
    stand_ins: tuple[StandIn, ...] = ()
    toggles_from_d: int = 0
    """Flip-flops that change at every edge and are halves of a 7474, with `d` wired to the complement of the output."""
    without_package: tuple[str, ...] = ()
    """What there is no package for, each once for every such gate: `majority of 5`."""

    @property
    def inverters_from_spares(self) -> int:
        return sum(one.gates for one in self.stand_ins if one.serves_as.number == INVERTER)

    @property
    def package_count(self) -> int:
        return sum(needed.packages for needed in self.packages)

    @property
    def spare(self) -> int:
        return sum(needed.spare for needed in self.packages)


def parts_needed(netlist: Netlist) -> PartsNeeded:
    """What to take out of the drawer for this circuit.

    A constant is a wire to a supply and a buffer a wire, so neither needs a part. A NOT behind a flip-flop or a latch
    is the second output of that part. An inverter is added for each net that some pin needs the other way round and
    that nothing inverts yet: a clock that acts on the other edge than that of the package, an enable, clear or preset
    at the other level.
    """
    units: Counter[str] = Counter()
    without: list[str] = []
    complemented = _complemented(netlist)
    for gate in netlist.gates:
        if gate.kind is GateKind.NOT and gate.inputs[0] in complemented:
            continue
        parts = _parts_of_gate(gate.kind, len(gate.inputs))
        if parts is None:
            without.append(f"{gate.kind.value} of {len(gate.inputs)}")
        else:
            units.update(parts)
    numbers = _numbers_of_flip_flops(netlist)
    units.update(numbers.values())
    units["7402"] += 2 * len(netlist.set_resets)
    units[INVERTER] += len(_nets_to_invert(netlist, numbers))
    needed, stand_ins = _in_packages(units)
    needed |= _shared(netlist)
    return PartsNeeded(
        packages=tuple(needed[number] for number in sorted(needed, key=int)),
        stand_ins=tuple(stand_ins),
        toggles_from_d=sum(
            part.kind is not FlipFlopKind.D and numbers[part.output] == "7474" for part in netlist.flip_flops
        ),
        without_package=tuple(without),
    )


def _in_packages(units: Counter[str]) -> tuple[dict[str, Needed], list[StandIn]]:
    """Wide gates first: a package is added only for what is too much for the spare gates of all wider ones together."""
    needed: dict[str, Needed] = {}
    stand_ins: list[StandIn] = []
    for number in [*(units.keys() - STAND_INS.keys()), *STAND_INS]:
        used, room = units[number], PACKAGES[number].count
        spare = sum(needed[wider].spare for wider in STAND_INS.get(number, ()) if wider in needed)
        packages = -(-max(used - spare, 0) // room)
        left = max(used - packages * room, 0)
        if packages:
            needed[number] = _needed(number, packages, used - left)
        for wider in STAND_INS.get(number, ()):
            taken = min(left, needed[wider].spare) if wider in needed else 0
            if taken:
                needed[wider] = _needed(wider, needed[wider].packages, needed[wider].used + taken)
                stand_ins.append(StandIn(package=PACKAGES[wider], serves_as=PACKAGES[number], gates=taken))
                left -= taken
    return needed, stand_ins


def _needed(number: str, packages: int, used: int) -> Needed:
    return Needed(package=PACKAGES[number], packages=packages, used=used)


def _parts_of_gate(kind: GateKind, count: int) -> Counter[str] | None:
    """Units of packages that one gate is made of; None: it cannot be."""
    if kind in (GateKind.LOW, GateKind.HIGH, GateKind.BUFFER, GateKind.SELECT):
        return Counter()
    if kind is GateKind.MAJORITY:
        # Three two-input NANDs of the pairs, and a three-input NAND behind them.
        return {1: Counter(), 3: Counter({"7400": 3, "7410": 1})}.get(count)
    if count == 1:
        return Counter([INVERTER] if kind is GateKind.NOT or kind in _JOINS_FIRST else [])
    by_count = _OF_GATES[kind]
    if count in by_count:
        return Counter([by_count[count]])
    # Too many inputs: a gate as wide as there is joins some of them, so that as few as possible remain.
    joining = _JOINS_FIRST.get(kind, kind)
    joined = min(max(_OF_GATES[joining]), count - max(by_count) + 1 if kind in _JOINS_FIRST else count)
    first = _parts_of_gate(joining, joined)
    rest = _parts_of_gate(kind, count - joined + 1)
    return None if first is None or rest is None else first + rest


def _numbers_of_flip_flops(netlist: Netlist) -> dict[NetId, str]:
    """By output. A toggle flip-flop is a JK flip-flop with both pins on `t`.

    One that changes at every edge may be either: what acts on its edge, or, where its clock is there the other way
    round anyway, what leaves fewer packages half empty.
    """
    numbers: dict[NetId, str] = {}
    of_either: list[NetId] = []
    inverted = _inverted(netlist)
    for part in netlist.flip_flops:
        always_changes = part.kind is not FlipFlopKind.D and all(
            constant_value(netlist.drivers.get(net)) is True for net in part.data
        )
        is_rising_d = part.kind is FlipFlopKind.D or (always_changes and part.edge is Edge.RISE)
        numbers[part.output] = "7474" if is_rising_d else "74112"
        if always_changes and part.clock in inverted:
            of_either.append(part.output)
    count = Counter(numbers.values())
    if of_either and count["7474"] % 2 and count["74112"] % 2:
        moved = of_either[0]
        numbers[moved] = "74112" if numbers[moved] == "7474" else "7474"
    return numbers


def _complemented(netlist: Netlist) -> set[NetId]:
    """Nets whose complement is a pin of the same package; with clear and preset both active it would be none."""
    flip_flops = {part.output for part in netlist.flip_flops if part.clear is None or part.preset is None}
    return flip_flops | {latch.output for latch in netlist.latches}


def _inverted(netlist: Netlist) -> set[NetId]:
    """Nets that are there the other way round as well."""
    return _complemented(netlist) | {gate.inputs[0] for gate in netlist.gates if gate.kind is GateKind.NOT}


def _nets_to_invert(netlist: Netlist, numbers: dict[NetId, str]) -> set[NetId]:
    wanted = {
        flip_flop.clock
        for flip_flop in netlist.flip_flops
        if (flip_flop.edge is Edge.RISE) is not (numbers[flip_flop.output] == "7474")
    }
    asynchronous = [level for part in netlist.flip_flops for level in (part.clear, part.preset)]
    wanted |= {level.net for level in asynchronous if level is not None and level.active_high}
    wanted |= {latch.enable.net for latch in netlist.latches if not latch.enable.active_high}
    return wanted - _inverted(netlist)


def _shared(netlist: Netlist) -> dict[str, Needed]:
    """Parts that share a pin of their package."""
    selectors = Counter(gate.inputs[0] for gate in netlist.gates if gate.kind is GateKind.SELECT)
    enables: Counter[Level] = Counter(latch.enable for latch in netlist.latches)
    packages = {
        "74157": (_filled(selectors.values(), 4), selectors.total()),
        "7475": (-(-_filled(enables.values(), 2) // 2), enables.total()),
    }
    return {number: _needed(number, count, used) for number, (count, used) in packages.items() if used}


def _filled(group_sizes: Iterable[int], room: int) -> int:
    """How many places of that size hold the groups when no two groups share one."""
    return sum(-(-size // room) for size in group_sizes)
