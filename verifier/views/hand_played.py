"""One settled step with the switches in somebody's hand: the frame of `settled.py` for playing, not for proving.

The inputs may take any value in any step, permitted or not; only the circuit's own choices are free variables. Frame 0
is the first instant, as everywhere. No question is asked of it: whoever plays goes from frame to frame and reads the
nets, the events of the step, and the monitors of those claims and givens that look at the past alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from verifier.circuit.netlist import InputClass, NetId, Netlist
from verifier.claims.claim import Claim, Design, Given, View
from verifier.claims.formula import Always, Formula
from verifier.claims.monitors import Monitor, UnsupportedFormula
from verifier.claims.support import restricts
from verifier.claims.tableau import is_about_the_future
from verifier.claims.trigger import watched
from verifier.logic.bit_graph import TRUE, BitGraph, Literal
from verifier.logic.transition_system import Register
from verifier.views.frame_algebra import Frame, FrameAlgebra, Promises
from verifier.views.glitches import GlitchLogic
from verifier.views.power_up import first_instant
from verifier.views.rounds import StepLogic


@dataclass(frozen=True, kw_only=True)
class HandPlayed:
    """Registers are 0 before frame 0; `possible` is 0 for choices that are no first instant."""

    graph: BitGraph
    registers: tuple[Register, ...]
    switches: Mapping[NetId, Literal]
    """Variable of each input net: the value it takes in this frame."""
    choices: tuple[Literal, ...]
    """Variables of what the circuit chooses: outcomes of races, either values, first values of storage."""
    now: tuple[Literal, ...]
    """Value of each net at the end of the frame."""
    raced: Literal
    oscillated: Literal
    possible: Literal
    claims: Mapping[str, Literal]
    """Claims of the settled view that a monitor can follow: 1 while a `must` holds, 1 where a `can` shows."""
    givens: Mapping[str, Literal]
    approximate: bool
    """True when a loop was too large for its exact table: some choices may lead where the circuit cannot go."""


def hand_played(design: Design) -> HandPlayed:
    """Builds the frame in a graph of its own."""
    graph, netlist = BitGraph(), _with_free_inputs(design.netlist)
    choices: list[Literal] = []
    memories: dict[Literal, Literal] = {}

    def choose() -> Literal:
        choices.append(graph.variable("choice"))
        return choices[-1]

    logic = StepLogic(graph, netlist, choose)
    started = graph.variable("started")
    state = {net: graph.variable(netlist.nets[net].name) for net in logic.state_nets()}
    switches = {net: graph.variable(f"switch {netlist.nets[net].name}") for net in netlist.input_nets}
    old = logic.completed(state)
    first = first_instant(graph, logic, switches, choose)
    step = logic.step(old, switches)
    now = logic.completed({net: graph.select(started, step.end[net], first.values[net]) for net in state})
    frame = Frame(
        started=started,
        before={net: graph.select(started, old[net], now[net]) for net in now},
        now=now,
        raced=graph.select(started, step.raced, first.raced),
        oscillated=graph.select(started, step.oscillated, first.oscillated),
    )
    glitches = GlitchLogic(graph, netlist, logic.order, step)
    monitor = Monitor(
        FrameAlgebra(
            graph, frame, may_glitch=glitches.may_glitch, choose=choose, memories=memories, promises=Promises()
        )
    )
    claims = {claim.name: _followed(monitor, watched(claim)) for claim in design.claims if _is_followed(claim)}
    givens = {
        given.name: _followed(monitor, _at_each_instant(given))
        for given in design.givens
        if restricts(given, View.SETTLED)
    }
    return HandPlayed(
        graph=graph,
        registers=(
            Register(started, TRUE),
            *(Register(variable, now[net]) for net, variable in state.items()),
            *(Register(variable, value) for variable, value in memories.items()),
        ),
        switches=switches,
        choices=tuple(choices),
        now=tuple(now[net] for net in range(len(netlist.nets))),
        raced=frame.raced,
        oscillated=frame.oscillated,
        possible=graph.disjunction(started, first.possible),
        claims={name: literal for name, literal in claims.items() if literal is not None},
        givens={name: literal for name, literal in givens.items() if literal is not None},
        approximate=logic.approximate,
    )


def _with_free_inputs(netlist: Netlist) -> Netlist:
    """The step logic leaves out what the classes of the inputs exclude; a hand excludes nothing."""
    inputs = tuple(replace(pin, input_class=InputClass.FREE) for pin in netlist.inputs)
    return replace(netlist, inputs=inputs, inputs_may_change_together=True)


def _is_followed(claim: Claim) -> bool:
    return claim.view is View.SETTLED


def _at_each_instant(given: Given) -> Formula:
    return given.formula.operand if isinstance(given.formula, Always) else given.formula


def _followed(monitor: Monitor, formula: Formula) -> Literal | None:
    """The value of the formula at each instant; None where no finite run decides that, or the view cannot."""
    if is_about_the_future(formula):
        return None
    try:
        return monitor.value(formula)[0]
    except UnsupportedFormula:
        return None
