"""The settled view: a design becomes transition systems, one for each question (`grammar/README.md`, parts II and III).

One frame of the system is one instant. Frame 0 is the first instant: the register `started` is 0 in it, and the new state is a
possible power-up state. In every later frame the registers hold the instant before, and the inputs choose what the outside world and the
circuit do in the step.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from verifier.circuit.loops import components
from verifier.circuit.netlist import Gate, NetId, Netlist, Storage
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.formula import (
    Always,
    Apply,
    Eventually,
    Formula,
    LeadsTo,
    OnlyWhen,
    Operator,
)
from verifier.claims.monitors import Monitor
from verifier.claims.run import Instant
from verifier.errors import Diagnostic, SourceError
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.logic.transition_system import Counterexample, Register, TransitionSystem
from verifier.views.glitches import GlitchLogic
from verifier.views.input_rules import changed_inputs
from verifier.views.power_up import first_instant
from verifier.views.rounds import StepLogic, Values


@dataclass(frozen=True, kw_only=True)
class _Frame:
    """Everything about one frame that claims may ask."""

    before: Values
    now: Values
    raced: Literal
    oscillated: Literal


class SettledModel:
    """All questions about one design share one graph, so that what they have in common is built once."""

    def __init__(self, design: Design) -> None:
        _refuse_starts_outside_loops(design)
        self.design = design
        self.graph = BitGraph()
        self._netlist: Netlist = design.netlist
        self._choices: list[Literal] = []
        self._started = self.graph.variable("started")
        self._logic = StepLogic(self.graph, self._netlist, self._choose)
        self._state = {net: self.graph.variable(self._netlist.nets[net].name) for net in self._state_nets()}
        self._possible: Literal = TRUE
        self._frame = self._build_frame()
        self._memories: dict[Literal, Literal] = {}
        self._monitor = Monitor(_FrameAlgebra(self))
        self._givens = tuple(self._monitor.value(_watched(given.formula))[0] for given in design.givens)

    @property
    def approximate(self) -> bool:
        """True when a loop was too large for its exact table: a counterexample may not be one, a proof always is."""
        return any(self._logic.loop(index).approximate for index, part in enumerate(self._logic.order) if part.is_loop)

    def system(self, claim: Claim) -> TransitionSystem:
        """Bad: a `must` is breached at this instant, or a `can` is fulfilled."""
        (value,) = self._monitor.value(_watched(claim.formula))
        return self._system(value if claim.kind is ClaimKind.CAN else value ^ 1)

    def trigger_system(self, claim: Claim) -> TransitionSystem | None:
        """Bad: the trigger of a `must` holds at this instant. None when the claim has no trigger."""
        trigger = _trigger(claim)
        return None if trigger is None else self._system(self._monitor.value(trigger)[0])

    def permitted_system(self) -> TransitionSystem:
        """Bad: anything at all; for asking whether runs exist."""
        return self._system(TRUE)

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

    def _choose(self) -> Literal:
        choice = self.graph.variable("choice")
        self._choices.append(choice)
        return choice

    def _state_nets(self) -> list[NetId]:
        """Nets whose value at an instant does not follow from the others: inputs, storage, gates in loops."""
        netlist = self._netlist
        loops = [part for part in self._logic.order if part.is_loop]
        gates = {m.output for part in loops for m in part.members if isinstance(m, Gate)}
        storages: list[Storage] = [*netlist.flip_flops, *netlist.latches, *netlist.set_resets]
        return [*netlist.input_nets, *(s.output for s in storages), *sorted(gates)]

    def _build_frame(self) -> _Frame:
        graph, started = self.graph, self._started
        old = self._logic.completed(self._state)
        inputs_at_first = {net: self._choose() for net in self._netlist.input_nets}
        first = first_instant(graph, self._logic, inputs_at_first, self._choose)
        self._possible = graph.disjunction(started, first.possible)
        self._step = self._logic.step(old, changed_inputs(graph, self._netlist, old, self._choose))
        end = self._step.end
        state_now = {net: graph.select(started, end[net], first.values[net]) for net in self._state}
        now = self._logic.completed(state_now)
        return _Frame(
            before={net: graph.select(started, old[net], now[net]) for net in now},
            now=now,
            raced=graph.select(started, self._step.raced, first.raced),
            oscillated=graph.select(started, self._step.oscillated, first.oscillated),
        )

    @cached_property
    def _glitches(self) -> GlitchLogic:
        return GlitchLogic(self.graph, self._netlist, self._logic.order, self._step)

    def _registers(self) -> tuple[Register, ...]:
        return (
            Register(self._started, TRUE),
            *(Register(variable, self._frame.now[net]) for net, variable in self._state.items()),
            *(Register(variable, value) for variable, value in self._memories.items()),
        )

    def _system(self, bad: Literal) -> TransitionSystem:
        choices = tuple(self._choices)
        return TransitionSystem(
            graph=self.graph,
            registers=self._registers(),
            inputs=choices,
            constraints=tuple(literal for literal in (self._possible, *self._givens) if literal != TRUE),
            bad=bad,
            preferences=tuple(choice ^ 1 for choice in choices),
        ).cone_of_influence()


class _FrameAlgebra:
    """What monitors may ask of a model: `verifier.claims.monitors.BitAlgebra`."""

    low = FALSE
    high = TRUE

    def __init__(self, model: SettledModel) -> None:
        self._model = model
        graph, frame = model.graph, model._frame
        self.first = model._started ^ 1
        self.raced = frame.raced
        self.oscillated = frame.oscillated
        self.conjunction = graph.conjunction
        self.disjunction = graph.disjunction
        self.exclusive_or = graph.exclusive_or
        self.select = graph.select

    def negation(self, bit: Literal) -> Literal:
        return bit ^ 1

    def now(self, net: NetId) -> Literal:
        return self._model._frame.now[net]

    def before(self, net: NetId) -> Literal:
        return self._model._frame.before[net]

    def may_glitch(self, net: NetId) -> Literal:
        return self._model.graph.conjunction(self._model._started, self._model._glitches.may_glitch(net))

    def memory(self, name: str) -> Literal:
        return self._model.graph.variable(name)

    def remember(self, memory: Literal, value: Literal) -> None:
        self._model._memories[memory] = value


def _watched(formula: Formula) -> Formula:
    """The formula to watch at every instant: `always F` and `eventually F`, outermost, are `F` watched."""
    return formula.operand if isinstance(formula, Always | Eventually) else formula


def _trigger(claim: Claim) -> Formula | None:
    formula = _watched(claim.formula)
    if claim.kind is ClaimKind.CAN:
        return None
    if isinstance(formula, OnlyWhen | LeadsTo):
        return formula.left
    if isinstance(formula, Apply) and formula.operator is Operator.IMPLIES:
        return formula.operands[0]
    return None


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
