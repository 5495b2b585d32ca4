"""Random circuits without gates, and random runs of them: names, values and times are all that the drawers see."""

from __future__ import annotations

from hypothesis import strategies as st

from verifier.circuit.netlist import Input, Net, Netlist
from verifier.claims.run import Run, StepEvents

WORDS = ("tempo", "lever", "choose", "beat", "s.carry", "s.inner.sum", "t.carry", "s", "bell_2")
HOSTILE = (
    "$end",
    "two words",
    "a\nb",
    "x[1]",
    "\x1b[31m",
    "\u202ebell",
    "",
    ".",
    "9th",
    "a~1",
    "a_1",
    "bell_2_2",
    "<b>&",
)


def netlist_of(signals: dict[str, int], name: str = "tower") -> Netlist:
    """Inputs of these names and widths, in this order."""
    nets: list[Net] = []
    pins = []
    for signal, width in signals.items():
        first = len(nets)
        nets += [Net(signal if width == 1 else f"{signal}[{bit}]") for bit in range(width)]
        pins.append(Input(name=signal, nets=tuple(range(first, len(nets)))))
    return Netlist(
        name=name,
        nets=tuple(nets),
        inputs=tuple(pins),
        outputs=(),
        signals={pin.name: pin.nets for pin in pins},
    )


@st.composite
def netlists(draw: st.DrawFn, names: tuple[str, ...] = WORDS) -> Netlist:
    chosen = draw(st.lists(st.sampled_from(names), min_size=1, max_size=6, unique=True))
    return netlist_of({name: draw(st.sampled_from((1, 1, 1, 2, 5, 12))) for name in chosen})


@st.composite
def runs(draw: st.DrawFn, netlist: Netlist, *, timed: bool | None = None, loops: bool = True) -> Run:
    """Up to 14 instants; in time, gaps of no ns, of few and of many."""
    width, length = len(netlist.nets), draw(st.integers(1, 14))
    numbers = draw(st.lists(st.integers(0, 2**width - 1), min_size=length, max_size=length))
    instants = tuple(tuple(bool(number >> net & 1) for net in range(width)) for number in numbers)
    in_time = draw(st.booleans()) if timed is None else timed
    times, now = [0], 0
    for _ in range(length - 1):
        now += draw(st.sampled_from((0, 0, 1, 1, 2, 3, 14, 40, 1000)))
        times.append(now)
    loop = draw(st.none() | st.integers(0, length - 1)) if loops and not in_time else None
    return Run(instants, (StepEvents(),) * length, loop_from=loop, times=tuple(times) if in_time else None)


@st.composite
def circuits_and_runs(
    draw: st.DrawFn, names: tuple[str, ...] = WORDS, *, timed: bool | None = None, loops: bool = True
) -> tuple[Netlist, Run]:
    netlist = draw(netlists(names))
    return netlist, draw(runs(netlist, timed=timed, loops=loops))
