"""Which values of a finite run matter: a smallest set of input values, and of ways the circuit happened to go, such
that every permitted run that agrees with them breaks (shows) the claim at the same step.

Asked of a solver over the transition system laid out frame by frame: the run's first instants up to the last one,
permitted, and the claim not broken at the last. With the values of the run that cannot be met; a smallest part of them
with which it cannot is what matters (`cores.py`). The plain simulator then lives through runs with other values in
place of all that does not matter (`other_runs.py`).
"""

from __future__ import annotations

import time
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from verifier.claims.claim import Claim
from verifier.claims.formula import NeverGlitches, Settles, Signal, walk
from verifier.claims.run import Run
from verifier.engines.unrolling import UnrolledSolver
from verifier.errors import InternalDisagreement
from verifier.evidence.explanation import At, Reason
from verifier.evidence.justification import chain
from verifier.logic.bit_graph import Literal
from verifier.logic.session import Answer, NoAnswerError, SessionLiteral
from verifier.views.settled import SettledModel
from verifier.workbench.claim_alone import claim_alone
from verifier.workbench.cores import Core, Demands, smallest_core

MOST_VALUES = 4000
"""Nets times instants for which the chain is followed."""


def what_matters(model: SettledModel, claim: Claim, run: Run, deadline: float) -> Reason:
    """The reason of a run that breaks (shows) the claim at its last instant; `tried` is left to the simulator.

    Raises:
        NoAnswerError: the time ran out before anything could be said.
        InternalDisagreement: even with all its values the run need not break the claim.
    """
    question = _Question(model, claim, run, deadline)
    core, atoms = question.core()
    chosen = [atoms[place] for place in core.demands]
    fixed = question.fixed([atom.literal for atom in chosen])
    unseen = tuple(sorted(atom.unseen for atom in chosen if atom.unseen is not None))
    at_first = [atom.at for atom in chosen if atom.at is not None]
    if any(isinstance(node, Settles) for node in walk(claim.formula)):
        later = question.chances  # which way the race went is no reason, but the chain says that it was open
    else:
        later = frozenset(at for at in question.chances if at.step in unseen)
    chances = tuple(sorted([*at_first, *(at for at in later if at.step > 0)]))
    roots, whole = _roots(model, claim, run, fixed, question.chances, deadline)
    return Reason(
        run=run,
        pins=tuple(atom.pin for atom in chosen if atom.pin is not None),
        chances=chances,
        unseen=unseen,
        smallness=core.smallness,
        candidates=len(atoms),
        links=chain(model.design.netlist, run, roots, fixed=fixed, chances=chances),
        roots=roots,
        whole=whole,
        fixed=fixed,
        tried=None,
    )


@dataclass(frozen=True, kw_only=True)
class _Atom:
    """One thing about the run that may matter: exactly one of the three is there."""

    literal: SessionLiteral
    pin: tuple[str, int] | None = None
    at: At | None = None
    unseen: int | None = None


class _Question:
    """Can a permitted run of this length, with these values, end without breaking the claim?"""

    def __init__(self, model: SettledModel, claim: Claim, run: Run, deadline: float) -> None:
        self._model, self._run, self._deadline = model, run, deadline
        self._system = model.system(claim)
        self._solver = UnrolledSolver(model.graph, self._system.constraints)
        self._solver.unrolling.register(model.registers)
        self._last = len(run) - 1
        self._reached = self._at(self._last, self._system.bad)
        self._permits = self._solver.permits(self._last)
        self.chances: frozenset[At] = frozenset()

    def core(self) -> tuple[Core, list[_Atom]]:
        """What matters, as places in a list of everything that could.

        At the first instant what the circuit chooses is told by values of nets. Later it is not: that a net took a
        value says where that led, and hides what led there.
        """
        self.chances = frozenset(self._chances())
        at_first = [_Atom(literal=self._value(at), at=at) for at in sorted(self.chances) if at.step == 0]
        atoms = [*self._pins(), *at_first]
        later = {at.step for at in self.chances if at.step > 0}
        for steps in (later, set(range(len(self._run)))):
            if self._possible([atom.literal for atom in atoms]) is Answer.SATISFIABLE:
                atoms = [*(atom for atom in atoms if atom.unseen is None), *self._unseen(steps)]
        literals = [atom.literal for atom in atoms]
        if self._possible(literals) is Answer.SATISFIABLE:
            raise InternalDisagreement("a run that breaks the claim need not break it, with all its values the same")
        atoms.sort(key=lambda atom: _step(atom))
        literals = [atom.literal for atom in atoms]

        def possible(demands: Demands) -> Answer:
            return self._possible([literals[place] for place in demands])

        return smallest_core(len(atoms), possible, self._deadline), atoms

    def fixed(self, literals: Sequence[SessionLiteral]) -> frozenset[At]:
        """The values of the run that every permitted run with these literals has too."""
        nets = list(range(len(self._model.design.netlist.nets)))
        if len(nets) * len(self._run) > MOST_VALUES:
            nets = [net for net in nets if not self._model.design.netlist.nets[net].anonymous]
        places = [At(step, net) for step in range(len(self._run)) for net in nets]
        try:
            return frozenset(self._agreed(places, [self._permits, *literals]))
        except NoAnswerError:
            return frozenset()

    def _agreed(self, places: Iterable[At], demands: Sequence[SessionLiteral]) -> list[At]:
        """The places at which every run that meets the demands has the value of this one.

        Candidates go as soon as some run is seen to differ; those that are left when none differs any more are agreed
        upon (as backbones are found: Janota, Lynce, Marques-Silva, 2015; from memory).
        """
        left = {at: self._value(at) for at in places}
        session = self._solver.session
        while left:
            differs = session.variable()
            session.add_clause([differs ^ 1, *(value ^ 1 for value in left.values())])
            if self._check([differs, *demands]) is Answer.UNSATISFIABLE:
                break
            values = session.values([value & ~1 for value in left.values()])
            pairs = zip(left.items(), values, strict=True)
            left = {at: value for (at, value), is_high in pairs if is_high != bool(value & 1)}
        return list(left)

    def _possible(self, literals: Iterable[SessionLiteral]) -> Answer:
        return self._check([self._permits, self._reached ^ 1, *literals])

    def _check(self, demands: Sequence[SessionLiteral]) -> Answer:
        """Raises NoAnswerError at the deadline, which a session looks at in long checks only."""
        if time.monotonic() > self._deadline:
            raise NoAnswerError("the time ran out")
        return self._solver.session.check(demands, self._deadline)

    def _at(self, frame: int, literal: Literal) -> SessionLiteral:
        return self._solver.loaded(self._solver.unrolling.literal(frame, literal))

    def _value(self, at: At) -> SessionLiteral:
        """1 where the net has the value it has in the run."""
        return self._at(at.step, self._model.now[at.net]) ^ (not self._run.instants[at.step][at.net])

    def _all(self, literals: Sequence[SessionLiteral]) -> SessionLiteral:
        if len(literals) == 1:
            return literals[0]
        variable = self._solver.session.variable()
        for literal in literals:
            self._solver.session.add_clause([variable ^ 1, literal])
        return variable

    def _pins(self) -> list[_Atom]:
        return [
            _Atom(literal=self._all([self._value(At(step, net)) for net in pin.nets]), pin=(pin.name, step))
            for step in range(len(self._run))
            for pin in self._model.design.netlist.inputs
        ]

    def _chances(self) -> Iterable[At]:
        """Values that were not the only possible ones after all that came before and with these inputs."""
        netlist = self._model.design.netlist
        named = [net for net in sorted(netlist.drivers) if not netlist.nets[net].anonymous]
        before: list[SessionLiteral] = []
        for step in range(len(self._run)):
            inputs = [self._value(At(step, net)) for net in netlist.input_nets]
            places = [At(step, net) for net in named]
            agreed = self._agreed(places, [self._solver.permits(step), *before, *inputs])
            yield from set(places).difference(agreed)
            before = [self._value(At(step, net)) for net in range(len(netlist.nets))]

    def _unseen(self, steps: Collection[int]) -> list[_Atom]:
        """What the circuit chooses at these steps, as in some such run that does break the claim."""
        nets = range(len(self._model.design.netlist.nets))
        values = [self._value(At(step, net)) for step in range(len(self._run)) for net in nets]
        demands = [self._permits, self._reached, *values]
        if self._check(demands) is Answer.UNSATISFIABLE:
            raise InternalDisagreement("a run was replayed that the transition system does not have")
        from_outside = self._outside_choices()
        inner = [choice for choice in self._model.choices if choice not in from_outside]
        points = [[self._at(step, choice) for choice in inner] for step in range(len(self._run))]
        flat = [point for row in points for point in row]
        chosen = dict(zip(flat, self._solver.session.values(flat), strict=True))
        return [
            _Atom(literal=self._all([point ^ (not chosen[point]) for point in row]), unseen=step)
            for step, row in enumerate(points)
            if row and step in steps
        ]

    def _outside_choices(self) -> set[Literal]:
        graph = self._model.graph
        inputs = [self._model.now[net] for net in self._model.design.netlist.input_nets]
        return {2 * node for node in graph.cone(inputs) if node and graph.is_variable(2 * node)}


def _step(atom: _Atom) -> int:
    if atom.pin is not None:
        return atom.pin[1]
    if atom.at is not None:
        return atom.at.step
    return atom.unseen or 0


def _roots(
    model: SettledModel, claim: Claim, run: Run, fixed: frozenset[At], open_values: frozenset[At], deadline: float
) -> tuple[tuple[At, ...], bool]:
    """The values that decide the claim by its own words, and whether they do so alone. Of a race: where it may end
    in several ways (`open_values`)."""
    last = len(run) - 1
    for node in walk(claim.formula):
        if isinstance(node, NeverGlitches):
            return tuple(At(step, net) for net in node.signal.nets for step in (last - 1, last) if step >= 0), False
        if isinstance(node, Settles):
            open_ends = tuple(sorted(at for at in open_values if at.step == last))
            moved = tuple(At(last, net) for net in model.design.netlist.input_nets if At(last, net) in fixed)
            return open_ends or moved, False
    nets = dict.fromkeys(net for node in walk(claim.formula) if isinstance(node, Signal) for net in node.nets)
    for candidates in ([at for at in fixed if at.net in nets], [At(s, net) for s in range(len(run)) for net in nets]):
        found = claim_alone(model, claim, run, sorted(candidates), deadline)
        if found is not None:
            return found, True
    return (), False
