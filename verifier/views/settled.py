"""The settled view: a design becomes transition systems, one for each question (`grammar/README.md`, parts II and III).

One frame of the system is one instant. Frame 0 is the first instant: the register `started` is 0 in it, and the new
state is a possible power-up state. In every later frame the registers hold the instant before, and the inputs choose
what the outside world and the circuit do in the step.

A question about the past alone asks for a bad frame. One about the future, or under a given about the future, asks for
an endless run: its system has `fairness`.
"""

from __future__ import annotations

from functools import cached_property

from verifier.circuit.loops import components
from verifier.circuit.netlist import InputClass, Netlist
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.formula import Eventually, Formula
from verifier.claims.monitors import Monitor
from verifier.claims.obligations import Obligations, at_every_instant
from verifier.claims.run import Instant
from verifier.claims.tableau import is_about_the_future
from verifier.claims.trigger import trigger_of, watched
from verifier.errors import Diagnostic, SourceError
from verifier.logic.bit_graph import TRUE, BitGraph, Literal
from verifier.logic.transition_system import Counterexample, Register, TransitionSystem
from verifier.views.frame_algebra import Frame, FrameAlgebra, Promises
from verifier.views.glitches import GlitchLogic
from verifier.views.input_rules import changed_inputs
from verifier.views.power_up import first_instant
from verifier.views.rounds import StepLogic
from verifier.views.settling import Values


class SettledModel:
    """All questions about one design share one graph, so that what they have in common is built once."""

    def __init__(self, design: Design) -> None:
        _refuse_starts_outside_loops(design)
        self.design = design
        self.graph = BitGraph()
        self._netlist: Netlist = design.netlist
        self._choices: list[Literal] = []
        self._memories: dict[Literal, Literal] = {}
        self._started = self.graph.variable("started")
        self._logic = StepLogic(self.graph, self._netlist, self._choose)
        self._state = {net: self.graph.variable(self._netlist.nets[net].name) for net in self._logic.state_nets()}
        self._possible: Literal = TRUE
        self._frame = self._build_frame()
        self._monitor = Monitor(self._algebra(Promises()))
        self._given = self._build_givens()
        self._endless_givens = any(is_about_the_future(given.formula) for given in design.givens)

    @property
    def approximate(self) -> bool:
        """True when a loop was too large for its exact table: a counterexample may not be one, a proof always is."""
        return self._logic.approximate

    def system(self, claim: Claim) -> TransitionSystem:
        """Bad, or an endless run: a `must` is breached, or a `can` is fulfilled."""
        shows = claim.kind is ClaimKind.CAN
        body = watched(claim)
        if not self._needs_endless_runs(claim):
            (value,) = self._monitor.value(body)
            return self._bad_system(value if shows else value ^ 1)
        if shows:
            return self._endless_system(Eventually(operand=body))
        return self._endless_system(at_every_instant(claim.formula), holds=False)

    def trigger_system(self, claim: Claim) -> TransitionSystem | None:
        """Bad, or an endless run: the trigger of a `must` holds at some instant. None when the claim has no trigger."""
        trigger = trigger_of(claim)
        if trigger is None:
            return None
        if not self._needs_endless_runs(claim):
            return self._bad_system(self._monitor.value(trigger)[0])
        return self._endless_system(Eventually(operand=trigger))

    def permitted_system(self) -> TransitionSystem:
        """For asking whether permitted runs exist: bad is anything at all, or any endless run will do.

        With a claim about the future only runs on which free-running inputs keep changing count; a given may stop them.
        """
        endless = bool(self.design.givens) and any(self._needs_endless_runs(claim) for claim in self.design.claims)
        return self._endless_system(None) if endless else self._bad_system(TRUE)

    def _needs_endless_runs(self, claim: Claim) -> bool:
        return self._endless_givens or is_about_the_future(watched(claim))

    def instants_of(self, counterexample: Counterexample) -> tuple[Instant, ...]:
        """Values of all nets in every frame; inputs without a value count as 0."""
        registers = {register.variable: register.next for register in self._registers()}
        nets = range(len(self._netlist.nets))
        roots = [*(self._frame.now[net] for net in nets), *registers.values()]
        state: dict[Literal, bool] = {}
        instants: list[Instant] = []
        for frame in counterexample.frames:
            values = self.graph.evaluate(roots, {**frame, **state})
            instants.append(tuple(values[: len(nets)]))
            state = dict(zip(registers, values[len(nets) :], strict=True))
        return tuple(instants)

    @property
    def now(self) -> Values:
        """Every net to its value in a frame."""
        return self._frame.now

    @property
    def registers(self) -> tuple[Register, ...]:
        """All of them, whatever the question."""
        return self._registers()

    @property
    def choices(self) -> tuple[Literal, ...]:
        """What the outside world and the circuit choose in a frame."""
        return tuple(self._choices)

    @property
    def remembered(self) -> dict[Literal, tuple[Formula, int]]:
        """Registers that hold, in a frame, a bit of what a formula was at the instant before: the formula, the bit.

        Only memories of the past: what is owed to the future has no such formula. Of formulas with the same value, the
        one that was compiled first.
        """
        of_value: dict[Literal, tuple[Formula, int]] = {}
        for formula, bits in self._monitor.values.items():
            for place, bit in enumerate(bits):
                of_value.setdefault(bit, (formula, place))
        return {memory: of_value[value] for memory, value in self._memories.items() if value in of_value}

    @property
    def counters(self) -> dict[Literal, tuple[Formula, int]]:
        """Registers that are a bit of a counter: the formula that counts with it, and the bit's place."""
        return self._monitor.counters

    def _choose(self) -> Literal:
        choice = self.graph.variable("choice")
        self._choices.append(choice)
        return choice

    def _build_frame(self) -> Frame:
        graph, started = self.graph, self._started
        old = self._logic.completed(self._state)
        inputs_at_first = {net: self._choose() for net in self._netlist.input_nets}
        first = first_instant(graph, self._logic, inputs_at_first, self._choose)
        self._possible = graph.disjunction(started, first.possible)
        self._step = self._logic.step(old, changed_inputs(graph, self._netlist, old, self._choose))
        end = self._step.end
        now = self._logic.completed({net: graph.select(started, end[net], first.values[net]) for net in self._state})
        return Frame(
            started=started,
            before={net: graph.select(started, old[net], now[net]) for net in now},
            now=now,
            raced=graph.select(started, self._step.raced, first.raced),
            oscillated=graph.select(started, self._step.oscillated, first.oscillated),
        )

    def _build_givens(self) -> Promises:
        """What the givens ask of a run, those about the future included."""
        promises = Promises()
        obligations = Obligations(self._algebra(promises))
        for given in self.design.givens:
            if is_about_the_future(given.formula):
                obligations.demand(self._started ^ 1, at_every_instant(given.formula))
            else:
                promises.required.append(self._monitor.value(given.formula)[0])
        return promises

    def _algebra(self, promises: Promises) -> FrameAlgebra:
        return FrameAlgebra(
            self.graph,
            self._frame,
            may_glitch=lambda net: self._glitches.may_glitch(net),
            choose=self._choose,
            memories=self._memories,
            promises=promises,
        )

    @cached_property
    def _glitches(self) -> GlitchLogic:
        return GlitchLogic(self.graph, self._netlist, self._logic.order, self._step)

    def _free_running_changes(self) -> list[Literal]:
        """For every free-running input: it changes in this step."""
        graph, frame = self.graph, self._frame
        return [
            graph.any_of(graph.exclusive_or(frame.before[net], frame.now[net]) for net in pin.nets)
            for pin in self._netlist.inputs
            if pin.input_class is InputClass.FREE_RUNNING
        ]

    def _bad_system(self, bad: Literal) -> TransitionSystem:
        return self._system(bad, [], None)

    def _endless_system(self, wanted: Formula | None, holds: bool = True) -> TransitionSystem:
        """An endless permitted run on which the formula, if any, holds (does not hold) at instant 0."""
        promises = Promises()
        if wanted is not None:
            Obligations(self._algebra(promises)).demand(self._started ^ 1, wanted, holds)
        fairness = [*promises.fairness, *self._given.fairness, *self._free_running_changes()]
        return self._system(TRUE, promises.required, tuple(dict.fromkeys(fairness)))

    def _system(self, bad: Literal, required: list[Literal], fairness: tuple[Literal, ...] | None) -> TransitionSystem:
        choices = tuple(self._choices)
        constraints = dict.fromkeys([self._possible, *self._given.required, *required])
        return TransitionSystem(
            graph=self.graph,
            registers=self._registers(),
            inputs=choices,
            constraints=tuple(literal for literal in constraints if literal != TRUE),
            bad=bad,
            fairness=fairness,
            preferences=tuple(choice ^ 1 for choice in choices),
        ).cone_of_influence()

    def _registers(self) -> tuple[Register, ...]:
        return (
            Register(self._started, TRUE),
            *(Register(variable, self._frame.now[net]) for net, variable in self._state.items()),
            *(Register(variable, value) for variable, value in self._memories.items()),
        )


def _refuse_starts_outside_loops(design: Design) -> None:
    in_loops = {m.output for part in components(design.netlist) if part.is_loop for m in part.members}
    findings = []
    for gate in design.netlist.gates:
        net = design.netlist.nets[gate.output]
        if gate.start is not None and gate.output not in in_loops and net.span is not None:
            findings.append(
                Diagnostic(
                    code="start-outside-loop",
                    message=f"`{net.name}` is a gate outside any loop: it keeps nothing, so it has no start",
                    span=net.span,
                    hint="take `start` away, or give it to a storage part or to a gate of a cross-coupled pair",
                )
            )
    if findings:
        raise SourceError(findings)
