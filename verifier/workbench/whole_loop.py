"""An endless run that an engine found, gone on with until the whole circuit repeats itself.

An engine looks at the parts of the circuit that the claim depends on, so its loop is a loop of these alone: a counter
beside them may stand elsewhere after each round. Whether the run is one is not judged here.
"""

from __future__ import annotations

from verifier.claims.run import Instant
from verifier.evidence.replay import Unconfirmed
from verifier.logic.transition_system import Counterexample
from verifier.views.settled import SettledModel

INSTANTS_AT_MOST = 2_000


def whole_loop(model: SettledModel, lasso: Counterexample, loop_from: int) -> tuple[tuple[Instant, ...], int]:
    """Values of all nets at every instant, and the instant from which on they are repeated.

    Raises Unconfirmed when the rest of the circuit takes too long to come back to where it was.
    """
    period = len(lasso) - loop_from
    rounds = 1
    while loop_from + rounds * period <= INSTANTS_AT_MOST or rounds == 1:
        frames = lasso.frames[:loop_from] + lasso.frames[loop_from:] * rounds
        instants = model.instants_of(Counterexample(frames))
        closed = _first_return(instants, loop_from, period)
        if closed is not None:
            return closed
        rounds *= 2
    raise Unconfirmed(
        "the parts of the circuit that the claim does not depend on do not come back to where they were"
        f" within {INSTANTS_AT_MOST} instants"
    )


def _first_return(instants: tuple[Instant, ...], loop_from: int, period: int) -> tuple[tuple[Instant, ...], int] | None:
    """Cut at the first end of a round at which every net has the value it had at the end of an earlier one."""
    met: dict[Instant, int] = {}
    for end in range(loop_from, len(instants) + 1, period):
        if end == 0:
            continue
        last = instants[end - 1]
        if last in met:
            return instants[:end], met[last]
        met[last] = end
    return None
