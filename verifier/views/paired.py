"""A good circuit and a faulty one on the same inputs, step by step: can the faulty one show what the good one cannot?

Each run of the faulty circuit is held against a run of the good one that begins alike: storage of the good circuit
comes up with the value that stands on the same net of the faulty one, wherever it is free to, and so do its loops. A
frame is bad where outputs differ, or where the good circuit cannot begin alike. So a proof that no frame is bad gives
for every run of the faulty circuit one of the good circuit with the same inputs and outputs, first to last. (The
converse is not asked: the good circuit may do more.) A counterexample is only a candidate: the good circuit may have
begun, or gone on, in another way that agrees.

The nets of the good circuit are nets of the faulty one too, under the same numbers; the faulty one may have more, and
more inputs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product

from verifier.circuit.netlist import Gate, NetId, Netlist, Storage
from verifier.claims.claim import Given
from verifier.claims.monitors import Monitor
from verifier.claims.run import Instant
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.logic.transition_system import Counterexample, Register, TransitionSystem
from verifier.views.frame_algebra import Frame, FrameAlgebra, Promises
from verifier.views.input_rules import changed_inputs
from verifier.views.loop_result import Chooser
from verifier.views.power_up import FirstInstant, first_instant
from verifier.views.rounds import StepLogic
from verifier.views.settling import Values

MOST_CHOICES_AT_START = 6
"""Free choices of the good circuit's loops at power-up, gone through one by one: 64 copies of a small formula."""


class NoPairing(Exception):
    """This way of comparing cannot be gone here; the message says why."""


class PairedModel:
    """The question, and the runs of its counterexamples."""

    def __init__(self, good: Netlist, faulty: Netlist, givens: Sequence[Given] = ()) -> None:
        """`givens` speak of inputs alone, and of the past.

        Raises NoPairing: a loop of the good circuit is too large for its exact table, or comes up in too many ways.
        """
        self.graph = BitGraph()
        self._choices: list[Literal] = []
        self._memories: dict[Literal, Literal] = {}
        self._started = self.graph.variable("started")
        self._faulty = _Side(self.graph, faulty, "faulty", self._choose)
        self._good = _Side(self.graph, good, "good", self._choose)
        if self._good.logic.approximate:
            raise NoPairing("a loop of the good circuit is too large for its exact table")
        self._constraints: list[Literal] = []
        self._build(givens)

    def system(self) -> TransitionSystem:
        return TransitionSystem(
            graph=self.graph,
            registers=self._registers(),
            inputs=tuple(self._choices),
            constraints=tuple(literal for literal in dict.fromkeys(self._constraints) if literal != TRUE),
            bad=self._bad,
            preferences=tuple(choice ^ 1 for choice in self._choices),
        ).cone_of_influence()

    def faulty_instants(self, counterexample: Counterexample) -> tuple[Instant, ...]:
        """Values of all nets of the faulty circuit in every frame."""
        registers = {register.variable: register.next for register in self._registers()}
        count = len(self._faulty.netlist.nets)
        roots = [*(self._faulty.now[net] for net in range(count)), *registers.values()]
        state: dict[Literal, bool] = {}
        instants: list[Instant] = []
        for frame in counterexample.frames:
            values = self.graph.evaluate(roots, {**frame, **state})
            instants.append(tuple(values[:count]))
            state = dict(zip(registers, values[count:], strict=True))
        return tuple(instants)

    def _choose(self) -> Literal:
        choice = self.graph.variable("choice")
        self._choices.append(choice)
        return choice

    def _build(self, givens: Sequence[Given]) -> None:
        graph, started = self.graph, self._started
        faulty, good = self._faulty, self._good
        at_first = {net: self._choose() for net in faulty.netlist.input_nets}
        begun = first_instant(graph, faulty.logic, at_first, self._choose)
        ahead = len(self._choices)
        alike = first_instant(graph, good.logic, self._to_good(at_first), self._choose, begun.values)
        begins, can_begin = self._begins_alike(begun, alike, self._choices[ahead:])
        moved = changed_inputs(graph, faulty.netlist, faulty.old, self._choose)
        faulty.follow(started, begun, moved)
        good.follow(started, alike, self._to_good(moved))
        cannot_begin = graph.conjunction(started ^ 1, can_begin ^ 1)
        self._bad = graph.disjunction(cannot_begin, self._outputs_differ())
        self._constraints = [
            graph.disjunction(started, begun.possible),
            graph.any_of([started, begins, cannot_begin]),
            *self._kept(givens),
        ]

    def _to_good(self, values: Mapping[NetId, Literal]) -> dict[NetId, Literal]:
        return {net: values[net] for net in self._good.netlist.input_nets}

    def _begins_alike(
        self, begun: FirstInstant, alike: FirstInstant, choices: Sequence[Literal]
    ) -> tuple[Literal, Literal]:
        """That these choices of the good circuit begin like the faulty one, and that some choices do."""
        if len(choices) > MOST_CHOICES_AT_START:
            raise NoPairing("the good circuit comes up in too many ways")
        graph = self.graph
        matched = [graph.equivalence(alike.values[net], begun.values[net]) for net in self._good.in_loops]
        begins = graph.all_of([alike.possible, *matched])
        some: Literal = FALSE
        for values in product((FALSE, TRUE), repeat=len(choices)):
            (way,) = graph.substitute([begins], dict(zip(choices, values, strict=True)))
            some = graph.disjunction(some, way)
        return begins, some

    def _outputs_differ(self) -> Literal:
        graph = self.graph
        theirs = {pin.name: pin.nets for pin in self._faulty.netlist.outputs}
        return graph.any_of(
            graph.exclusive_or(self._good.now[ours], self._faulty.now[other])
            for pin in self._good.netlist.outputs
            for ours, other in zip(pin.nets, theirs[pin.name], strict=True)
        )

    def _kept(self, givens: Sequence[Given]) -> list[Literal]:
        """For each given, that it holds in this frame."""
        graph, started, faulty = self.graph, self._started, self._faulty
        before = {net: graph.select(started, faulty.old[net], faulty.now[net]) for net in faulty.now}
        frame = Frame(started=started, before=before, now=faulty.now, raced=FALSE, oscillated=FALSE)
        algebra = FrameAlgebra(
            graph,
            frame,
            may_glitch=lambda _: FALSE,
            choose=self._choose,
            memories=self._memories,
            promises=Promises(),
        )
        monitor = Monitor(algebra)
        return [monitor.value(given.formula)[0] for given in givens]

    def _registers(self) -> tuple[Register, ...]:
        return (
            Register(self._started, TRUE),
            *self._faulty.registers(),
            *self._good.registers(),
            *(Register(variable, value) for variable, value in self._memories.items()),
        )


class _Side:
    """One of the two circuits in the common graph."""

    def __init__(self, graph: BitGraph, netlist: Netlist, name: str, choose: Chooser) -> None:
        self.netlist = netlist
        self._graph = graph
        self.logic = StepLogic(graph, netlist, choose)
        loops = [part for part in self.logic.order if part.is_loop]
        self.in_loops = tuple(sorted(member.output for part in loops for member in part.members))
        storages: list[Storage] = [*netlist.flip_flops, *netlist.latches, *netlist.set_resets]
        gates = [m.output for part in loops for m in part.members if isinstance(m, Gate)]
        nets = [*netlist.input_nets, *(part.output for part in storages), *sorted(gates)]
        self.state = {net: graph.variable(f"{name}.{netlist.nets[net].name}") for net in nets}
        self.old = self.logic.completed(self.state)
        self.now: Values = {}

    def follow(self, started: Literal, first: FirstInstant, inputs: Mapping[NetId, Literal]) -> None:
        end = self.logic.step(self.old, inputs).end
        now = {net: self._graph.select(started, end[net], first.values[net]) for net in self.state}
        self.now = self.logic.completed(now)

    def registers(self) -> list[Register]:
        return [Register(variable, self.now[net]) for net, variable in self.state.items()]
