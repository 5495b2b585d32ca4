"""Every reachable state of a delay view with what a claim remembers, and the claim's verdict on them."""

from __future__ import annotations

from dataclasses import dataclass

import networkx as nx
from oracle.formulas import Memory
from oracle.targets import Work

from oracle_delays.claim_memory import DelayWorker, Told, asks, refuse_where_asked
from oracle_delays.timed_steps import AnyDelaySteps, State, Step, TimedSteps
from verifier.circuit.netlist import Netlist
from verifier.claims.claim import Claim, ClaimKind, View
from verifier.claims.formula import Formula, PulsesLast, Settles
from verifier.claims.run import Instant

LONGEST_ASKED = 40
"""Where a `?` is asked: numbers from here on count as none."""

Node = tuple[State, Memory]
Arrival = tuple[Node, int]
Run = tuple[tuple[int, Instant], ...]
"""Each instant with its time; in the any-delay view, with the moves before it."""


@dataclass(frozen=True)
class Answer:
    verdict: str
    """As the product words it."""
    empty: bool = False
    number: int | None = None
    """The tightest number of a `?` that is proved; None also where every number is."""
    run: Run | None = None
    """Of a broken or shown claim: a run that ends as early as any; in the any-delay view, one of the shortest."""


class Behaviour:
    """All steps of one circuit in one view, kept as they are worked out."""

    def __init__(self, netlist: Netlist, view: View, work: Work | None = None) -> None:
        self.netlist = netlist
        self.view = view
        self.work = work or Work()
        self.steps: AnyDelaySteps | TimedSteps = TimedSteps(netlist) if view is View.TIMED else AnyDelaySteps(netlist)
        self._after: dict[State, list[tuple[State, Step]]] = {}

    def first(self) -> list[tuple[State, Step]]:
        return self.steps.first()

    def after(self, state: State) -> list[tuple[State, Step]]:
        known = self._after.get(state)
        if known is None:
            self.work.spend(1)
            known = self._after[state] = list(dict.fromkeys(self.steps.after(state)))
            self.work.spend(len(known) // 8)
        return known

    def reachable(self) -> set[State]:
        found = {state for state, _ in self.first()}
        pending = list(found)
        while pending:
            for state, _ in self.after(pending.pop()):
                if state not in found:
                    found.add(state)
                    pending.append(state)
        return found

    # Claims

    def answer(self, claim: Claim) -> Answer:
        """The verdict on a claim of this view.

        Raises:
            NoFirstInstantError, NoDelayError: the circuit has no runs to judge.
            TooBigError: there are more states than the caller wants to look at.
        """
        if isinstance(claim.formula, Settles):
            return Answer("proved" if self.settles() else "broken")
        refuse_where_asked(claim.formula)
        return _Search(self, claim).answer()

    def settles(self) -> bool:
        """`settles` in the any-delay view (32)."""
        reached = self.reachable()
        inner = {state: [new for new, step in self.after(state) if not step.inputs_moved] for state in reached}
        graph = nx.DiGraph((state, new) for state, found in inner.items() for new in found)
        graph.add_nodes_from(reached)
        for component in nx.strongly_connected_components(graph):
            if len(component) > 1 and not self._is_transient(component):
                return False
        quiet_ones = {state for state in reached if self.steps.moves.is_quiet(state.point)}
        for state in quiet_ones:
            changes: dict[tuple[bool, ...], set[State]] = {}
            for new, step in self.after(state):
                if step.inputs_moved:
                    inputs = tuple(new.point.instant[net] for net in self.netlist.input_nets)
                    changes.setdefault(inputs, set()).update((nx.descendants(graph, new) | {new}) & quiet_ones)
            if any(len(ends) != 1 for ends in changes.values()):
                return False
        return True

    def _is_transient(self, component: set[State]) -> bool:
        """Some element stays excited with one target in all of it and never fires inside."""
        excited = frozenset.intersection(*(self.steps.moves.excited(state.point) for state in component))
        return any(len({state.point.instant[net] for state in component}) == 1 for net in excited)


class _Search:
    """States with the memory of one claim, one layer of time after the other; the first breach met is an earliest.

    In the any-delay view every move is a layer, so that it is a shortest.
    """

    def __init__(self, behaviour: Behaviour, claim: Claim) -> None:
        self.behaviour = behaviour
        self.claim = claim
        self.cause: dict[Node, Arrival | None] = {}
        """How each node was met first: from which node, and the ns on the way."""
        self.triggered = False
        self.has_trigger = False
        self.numbers: list[int] = []

    def answer(self) -> Answer:
        is_can = self.claim.kind is ClaimKind.CAN
        run = self._walk(wanted=is_can)
        if run is not None:
            return Answer("shown" if is_can else "broken", run=run)
        if is_can:
            return Answer("impossible")
        if asks(self.claim.formula):
            return self._measured()
        return Answer("proved", empty=self.has_trigger and not self.triggered)

    def _walk(self, wanted: bool) -> Run | None:
        layer: list[tuple[State, Step, Node | None]] = [(state, step, None) for state, step in self.behaviour.first()]
        while layer:
            following: list[tuple[State, Step, Node | None]] = []
            while layer:
                state, step, origin = layer.pop()
                told, memory = self._told(state, step, origin)
                node = (state, memory)
                cause = None if origin is None else (origin, step.elapsed)
                if told.holds == wanted:
                    return self._run(node, cause)
                if node in self.cause:
                    continue
                self.cause[node] = cause
                self.behaviour.work.spend(1)
                for successor, move in self.behaviour.after(state):
                    (following if move.elapsed else layer).append((successor, move, node))
            layer = following
        return None

    def _told(self, state: State, step: Step, origin: Node | None) -> tuple[Told, Memory]:
        before = None if origin is None else origin[0].point.instant
        memory = None if origin is None else origin[1]
        elapsed = step if self.behaviour.view is View.TIMED else Step(0, step.inputs_moved)
        worker = DelayWorker(state.point.instant, memory, elapsed, before, LONGEST_ASKED)
        told = worker.tell(self.claim.formula)
        if told.trigger is not None:
            self.has_trigger = True
            self.triggered = self.triggered or told.trigger
        if told.number is not None:
            self.numbers.append(told.number)
        return told, tuple(worker.new)

    def _measured(self) -> Answer:
        """The least width is the largest number for `at least`; the longest wait the smallest for `within`."""
        empty = self.has_trigger and not self.triggered
        if wants_largest(self.claim.formula):
            return Answer("proved", number=min(self.numbers, default=None))
        longest = max(self.numbers, default=0)
        return Answer("broken") if longest >= LONGEST_ASKED else Answer("proved", empty=empty, number=longest)

    def _run(self, last: Node, cause: Arrival | None) -> Run:
        steps: list[tuple[int, Instant]] = []
        node = last
        while cause is not None:
            steps.append((cause[1], node[0].point.instant))
            node = cause[0]
            cause = self.cause[node]
        run = [(0, node[0].point.instant)]
        for elapsed, instant in reversed(steps):
            run.append((run[-1][0] + elapsed, instant))
        return tuple(run)


def wants_largest(formula: Formula) -> bool:
    return isinstance(formula, PulsesLast)
