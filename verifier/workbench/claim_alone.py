"""A claim by itself, without the circuit: which values of the nets it names decide it at the end of a run.

The claim's monitor runs over nets that may take any value at any instant. With the values of the run it is broken
(shown) at the last instant; as few of them as possible are kept.
"""

from __future__ import annotations

import time
from collections.abc import Sequence

from verifier.circuit.netlist import NetId
from verifier.claims.claim import Claim, ClaimKind
from verifier.claims.formula import Signal, walk
from verifier.claims.monitors import Monitor
from verifier.claims.run import Run
from verifier.claims.trigger import watched
from verifier.engines.unrolling import UnrolledSolver
from verifier.evidence.explanation import At
from verifier.logic.bit_graph import FALSE, TRUE, BitGraph, Literal
from verifier.logic.session import Answer, NoAnswerError
from verifier.logic.transition_system import Register
from verifier.views.frame_algebra import Frame, FrameAlgebra, Promises
from verifier.views.settled import SettledModel
from verifier.workbench.cores import Demands, smallest_core


def claim_alone(
    model: SettledModel, claim: Claim, run: Run, candidates: Sequence[At], deadline: float
) -> tuple[At, ...] | None:
    """As few of the candidates as possible that decide the claim at the last instant; None when all of them do not,
    or the time ran out."""
    nets = list(dict.fromkeys(net for node in walk(claim.formula) if isinstance(node, Signal) for net in node.nets))
    graph = BitGraph()
    now = {net: graph.variable(f"net {net}") for net in nets}
    kept = {net: graph.variable(f"net {net} before") for net in nets}
    started = graph.variable("started")
    before: dict[NetId, Literal] = {net: graph.select(started, kept[net], now[net]) for net in nets}
    memories: dict[Literal, Literal] = {}
    algebra = FrameAlgebra(
        graph,
        Frame(started=started, before=before, now=now, raced=FALSE, oscillated=FALSE),
        may_glitch=lambda net: FALSE,
        choose=lambda: graph.variable("choice"),
        memories=memories,
        promises=Promises(),
    )
    (value,) = Monitor(algebra).value(watched(claim))
    decided = value if claim.kind is ClaimKind.CAN else value ^ 1
    solver = UnrolledSolver(graph, ())
    solver.unrolling.register(Register(variable, now[net]) for net, variable in kept.items())
    solver.unrolling.register(Register(variable, value) for variable, value in memories.items())
    solver.unrolling.register([Register(started, TRUE)])
    asked = set(graph.cone([decided, *memories.values()]))
    read = {net for net in nets if {now[net] >> 1, kept[net] >> 1} & asked}
    candidates = [at for at in candidates if at.net in read]  # of a bus, often one bit alone is read
    undecided = solver.loaded(solver.unrolling.literal(len(run) - 1, decided)) ^ 1
    literals = [
        solver.loaded(solver.unrolling.literal(at.step, now[at.net])) ^ (not run.instants[at.step][at.net])
        for at in candidates
    ]

    def possible(demands: Demands) -> Answer:
        if time.monotonic() > deadline:
            raise NoAnswerError("the time ran out")
        return solver.session.check([undecided, *(literals[place] for place in demands)], deadline)

    try:
        if possible(tuple(range(len(candidates)))) is Answer.SATISFIABLE:
            return None
        return tuple(candidates[place] for place in smallest_core(len(candidates), possible, deadline).demands)
    except NoAnswerError:
        return None
