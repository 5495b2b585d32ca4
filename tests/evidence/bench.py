"""A breadboard for tests: one circuit, the instant it stands at, and names instead of net numbers."""

from __future__ import annotations

from collections.abc import Iterable

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind, Netlist
from verifier.claims.run import Instant, StepEvents
from verifier.evidence.simulator import Outcome, Simulator


def wire(builder: NetlistBuilder, gates: str) -> None:
    """Drives nets with gates written as `q = nand s_n qn` and separated by semicolons or line ends."""
    for line in gates.replace(";", "\n").splitlines():
        if line.strip():
            output, function = line.split("=")
            kind, *pins = function.split()
            builder.gate(output.strip(), GateKind(kind), pins)


def gates_only(inputs: str, gates: str) -> Netlist:
    builder = NetlistBuilder("gates", inputs_may_change_together=True)
    for name in inputs.split():
        builder.input(name)
    wire(builder, gates)
    return builder.build()


class Bench:
    def __init__(self, netlist: Netlist, start: dict[str, int] | None = None, **inputs: int) -> None:
        """Stands at the only first instant with these inputs (others 0) and these values of the nets of `start`."""
        self.netlist = netlist
        self.simulator = Simulator(netlist)
        self.net = {net.name: number for number, net in enumerate(netlist.nets)}
        values = dict.fromkeys(netlist.input_nets, False)
        values.update(self.nets(inputs))
        found = list(self.simulator.first_instants(values, self.nets(start or {})))
        assert len(found) == 1, f"{len(found)} first instants"
        self.instant, self.events = found[0]

    def nets(self, values: dict[str, int]) -> dict[int, bool]:
        return {self.net[name]: bool(value) for name, value in values.items()}

    def ways(self, **inputs: int) -> tuple[Outcome, ...]:
        """Every way the next step can go; the bench stays where it is."""
        return self.simulator.step(self.instant, self.nets(inputs))

    def set(self, **inputs: int) -> StepEvents:
        """Takes the step, which must have one outcome, without race or oscillation."""
        outcomes = self.ways(**inputs)
        assert len(outcomes) == 1, f"{len(outcomes)} outcomes: {[self.read(o.instant) for o in outcomes]}"
        assert not outcomes[0].events.raced
        assert not outcomes[0].events.oscillated
        self.instant = outcomes[0].instant
        return outcomes[0].events

    def pulse(self, clock: str) -> None:
        """The clock goes to its other value and back."""
        level = self[clock]
        self.set(**{clock: 1 - level})
        self.set(**{clock: level})

    def __getitem__(self, name: str) -> int:
        return int(self.instant[self.net[name]])

    def number(self, names: Iterable[str]) -> int:
        """The nets read as a number, lowest bit first."""
        return sum(self[name] << bit for bit, name in enumerate(names))

    def read(self, instant: Instant, names: str = "") -> str:
        """The values of these nets (or all) as a string of digits."""
        return "".join(str(int(instant[self.net[name]])) for name in names.split() or self.net)

    def results(self, names: str, **inputs: int) -> set[str]:
        """The values these nets can have after the step."""
        return {self.read(outcome.instant, names) for outcome in self.ways(**inputs)}

    def names_of(self, nets: Iterable[int]) -> set[str]:
        return {self.netlist.nets[net].name for net in nets}
