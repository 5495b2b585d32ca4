"""When nets change along a run, and how much time lies between two instants of it."""

from __future__ import annotations

from verifier.circuit.netlist import NetId
from verifier.claims.run import Run


def changed(run: Run, index: int) -> frozenset[NetId]:
    """The nets that change at this instant; at the first nothing does."""
    pairs = zip(run.instants[max(index - 1, 0)], run.instants[index], strict=True)
    return frozenset(net for net, (before, after) in enumerate(pairs) if before != after)


def last_change(run: Run, net: NetId, index: int) -> int | None:
    """The last instant up to this one at which the net changes."""
    return next((i for i in range(index, 0, -1) if run.instants[i][net] != run.instants[i - 1][net]), None)


def passed(run: Run, first: int, second: int) -> int:
    """ns from one instant to another. Raises ValueError when the run has no times."""
    if run.times is None:
        raise ValueError("a run without times does not say how long anything takes")
    return run.times[second] - run.times[first]


def moment(run: Run, index: int) -> str:
    """The instant as its row in the table is called: `step 3`, or `12 ns` where there are times."""
    return f"step {index}" if run.times is None else f"{run.times[index]} ns"
