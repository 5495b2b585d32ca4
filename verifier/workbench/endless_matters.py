"""Which values matter in an endless run that breaks (shows) a claim: by the words of the claim, on a run of this shape.

The values of the nets that the claim names, at each instant of the run, are changed in every way while some are kept;
the textbook meaning says whether the claim is still broken. Which *inputs* could differ is not worked out: in a loop a
change at one instant changes what all later rounds start from.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace
from itertools import product

from verifier.circuit.netlist import Netlist
from verifier.claims.claim import Claim, ClaimKind
from verifier.claims.formula import NeverGlitches, Settles, Signal, walk
from verifier.claims.lasso_meaning import holds_on, shown_on
from verifier.claims.run import Run
from verifier.evidence.explanation import At, EndlessReason, Smallness
from verifier.evidence.justification import chain
from verifier.logic.session import Answer, NoAnswerError
from verifier.workbench.cores import Demands, smallest_core

MOST_VALUES = 12
"""Of the claim's nets along the run: all 2^12 ways of changing them are looked at."""


def what_matters_for_ever(netlist: Netlist, claim: Claim, run: Run, deadline: float) -> EndlessReason:
    """Pre: the run is endless and breaks (shows) the claim."""
    signals = [node for node in walk(claim.formula) if isinstance(node, Signal)]
    nets = list(dict.fromkeys(net for signal in signals for net in signal.nets))
    values = [At(step, net) for step in range(len(run)) for net in nets]
    roots, smallness = _kept(claim, run, values, deadline)
    first = run.loop_from or 0
    named = [net for net, described in enumerate(netlist.nets) if not described.anonymous]
    everything = {At(step, net) for step in range(len(run)) for net in range(len(netlist.nets))}
    return EndlessReason(
        run=run,
        roots=roots,
        smallness=smallness,
        candidates=len(values),
        links=chain(netlist, run, roots, fixed=everything, chances=()),
        moving=tuple(net for net in named if len({instant[net] for instant in run.instants[first:]}) > 1),
    )


def _kept(claim: Claim, run: Run, values: Sequence[At], deadline: float) -> tuple[tuple[At, ...], Smallness]:
    about_events = any(isinstance(node, Settles | NeverGlitches) for node in walk(claim.formula))
    if len(values) > MOST_VALUES or about_events:
        return tuple(values), Smallness.LOOSE
    breaking = _Breaking(claim, run, values, deadline)
    core = smallest_core(len(values), breaking.possible, deadline)
    return tuple(values[place] for place in core.demands), core.smallness


class _Breaking:
    """Whether the claim is still broken (shown) when some values of the run are changed."""

    def __init__(self, claim: Claim, run: Run, values: Sequence[At], deadline: float) -> None:
        self._claim, self._run, self._values, self._deadline = claim, run, values, deadline
        self._known: dict[tuple[bool, ...], bool] = {}

    def possible(self, kept: Demands) -> Answer:
        """SATISFIABLE: with these values kept, others can be found with which the claim is not broken (shown)."""
        free = [place for place in range(len(self._values)) if place not in kept]
        for flips in product((False, True), repeat=len(free)):
            if time.monotonic() > self._deadline:
                raise NoAnswerError("the time ran out")
            flipped = [False] * len(self._values)
            for place, flip in zip(free, flips, strict=True):
                flipped[place] = flip
            if not self._breaks(tuple(flipped)):
                return Answer.SATISFIABLE
        return Answer.UNSATISFIABLE

    def _breaks(self, flipped: tuple[bool, ...]) -> bool:
        if flipped not in self._known:
            run = self._with(flipped)
            shows = self._claim.kind is ClaimKind.CAN
            formula = self._claim.formula
            self._known[flipped] = shown_on(formula, run) if shows else not holds_on(formula, run)
        return self._known[flipped]

    def _with(self, flipped: tuple[bool, ...]) -> Run:
        instants = [list(instant) for instant in self._run.instants]
        for at, flip in zip(self._values, flipped, strict=True):
            instants[at.step][at.net] ^= flip
        return replace(self._run, instants=tuple(tuple(instant) for instant in instants))
