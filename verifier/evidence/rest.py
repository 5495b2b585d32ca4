"""The second opinion on "always comes to rest" in the any-delay view: the simulator looks at every quiet state."""

from __future__ import annotations

import time
from collections.abc import Collection
from itertools import product

from verifier.claims.claim import Design
from verifier.claims.run import Instant
from verifier.errors import InternalDisagreement
from verifier.evidence.budget import SimulationLimit
from verifier.evidence.delay_simulator import DelaySimulator, DelayState
from verifier.evidence.quiet import QuietEnds, ends_after_input_changes, quiet_ends
from verifier.evidence.replay import Unconfirmed


def confirm_rest(design: Design, quiet: Collection[Instant], deadline: float) -> None:
    """Every first instant, and every input change of one of these quiet instants, comes to rest in one of them alone.

    Raises:
        InternalDisagreement: that is not so.
        Unconfirmed: it is too much to look at, or givens restrict the runs, which is not looked at here.
    """
    if design.givens:
        raise Unconfirmed("the plain simulator does not know which input changes the givens forbid")
    simulator = DelaySimulator(design.netlist, timed=False)
    known = frozenset(quiet)
    try:
        for values in product((False, True), repeat=len(design.netlist.input_nets)):
            for first in simulator.first_states(dict(zip(design.netlist.input_nets, values, strict=True))):
                _require(design, quiet_ends(simulator, [first]), known, deadline)
        for instant in known:
            holding = frozenset(part.output for part in design.netlist.flip_flops if instant[part.output])
            for _, ends in ends_after_input_changes(simulator, DelayState(instant, holding, None)):
                _require(design, ends, known, deadline)
    except SimulationLimit as limit:
        raise Unconfirmed(str(limit)) from limit


def _require(design: Design, ends: QuietEnds, known: frozenset[Instant], deadline: float) -> None:
    if time.monotonic() > deadline:
        raise Unconfirmed("the time ran out")
    if not (ends.settles and ends.quiet <= known):
        raise InternalDisagreement(f"circuit {design.name}: the simulator finds a move after which it does not settle")
