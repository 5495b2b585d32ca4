"""What an engine under measurement can say, and the four engines by name.

Each engine is a function from a transition system to an answer. It has no limit of its own: whoever calls it ends
it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from verifier.engines import bounded_search
from verifier.engines.chooser import Chooser
from verifier.engines.decision import Decision, Reached, Unreachable
from verifier.engines.endless_search import decide_endless
from verifier.logic.bit_graph import BitGraph
from verifier.logic.endless import repeating
from verifier.logic.transition_system import Register, TransitionSystem

NO_LIMIT_SECONDS = 1e6
NO_DEPTH = 10**9


@dataclass(frozen=True)
class Answer:
    reached: bool
    """A bad frame, or a fair endless run, exists."""
    frames: int | None = None
    """Length of the shortest counterexample, where the engine gives shortest ones. For an endless run: with the frame
    that closes the loop."""


Engine = Callable[[TransitionSystem], Answer | None]
"""None: the engine gave up."""


def _answer(decision: Decision) -> Answer | None:
    match decision:
        case Reached(counterexample=run, loop_from=loop_from):
            return Answer(True, len(run) + (loop_from is not None))
        case Unreachable():
            return Answer(False)
        case _:
            return None


def edgewright(system: TransitionSystem) -> Answer | None:
    if system.fairness is None:
        return _answer(Chooser().decide(system, limit_seconds=NO_LIMIT_SECONDS))
    return _answer(decide_endless(system, limit_seconds=NO_LIMIT_SECONDS))


def bounded(system: TransitionSystem) -> Answer | None:
    """Never answers when there is no counterexample."""
    asked = as_safety(system)
    return _answer(bounded_search.search(asked, NO_DEPTH, NO_LIMIT_SECONDS))


def fixed_point(system: TransitionSystem) -> Answer | None:
    from benchmarks.fixed_point import decide

    return decide(as_safety(system))


def decision_diagrams(system: TransitionSystem) -> Answer | None:
    from benchmarks.decision_diagrams import decide

    return decide(system)


def as_safety(system: TransitionSystem) -> TransitionSystem:
    """The same question as one about a bad frame."""
    return system if system.fairness is None else repeating(system).system


OURS = "edgewright"
BOUNDED = "bounded search"
ENGINES: dict[str, Engine] = {
    OURS: edgewright,
    "fixed point": fixed_point,
    "decision diagrams": decision_diagrams,
    BOUNDED: bounded,
}


def warm_up(engine: Engine) -> None:
    """Lets the engine load its libraries and make its contexts, on a system of one register."""
    graph = BitGraph()
    variable, choice = graph.variable("bell"), graph.variable("pull")
    register = Register(variable, graph.disjunction(variable, choice))
    engine(TransitionSystem(graph=graph, registers=(register,), inputs=(choice,), bad=variable))
