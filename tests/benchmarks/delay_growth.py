"""How far the ways of the timed view get: `python tests/benchmarks/delay_growth.py [--limit 20] [--write]`.

The circuit holds the choice of a pulse source until both sources agree, in NANDs; more gates are buffers behind `beat`,
in a row. Three things grow, one at a time: gates, the upper bound of every delay, the half period of the sources. For
each size: the time and the states of a proof by all states (pulses of `beat` last at least 1 ns), the time in which the
second opinion judges it, the time of a proof by parts of the circuit, and the time in which all states, samples and a
search from event to event find a pulse of less than 2 ns. At last, what `check` says of some whole circuits.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT)]

from verifier.claims.asked_number import with_amount  # noqa: E402
from verifier.claims.claim import Claim  # noqa: E402
from verifier.engines.bounded_search import search  # noqa: E402
from verifier.engines.decision import Reached  # noqa: E402
from verifier.engines.delay_reachability import DelayedReached, DelayedUnreachable, decide_delayed  # noqa: E402
from verifier.engines.delay_sampling import Samples  # noqa: E402
from verifier.evidence.closure import recheck_states  # noqa: E402
from verifier.evidence.replay import Unconfirmed  # noqa: E402
from verifier.language import loads  # noqa: E402
from verifier.views.delayed import DelayedModel  # noqa: E402
from verifier.views.event_frames import event_system  # noqa: E402
from verifier.workbench.checking import check  # noqa: E402
from verifier.workbench.timed_ways import FIRST_HORIZON, Parts  # noqa: E402

RESULTS = ROOT / "tests" / "benchmarks" / "results" / "delays.md"
WIDTH_OF_PLOT = 50
NINE = """
circuit switcher
    input tempo free running high 30..40 ns, low 30..40 ns
    input lever, choose by hand apart 100 ns
    output beat
    asked      = choose takes 2..5 ns
    agree      = xnor(tempo, lever) takes 2..5 ns
    set_n      = nand(asked, agree) takes 2..5 ns
    reset_n    = nand(set_n, agree) takes 2..5 ns
    on_tempo   = nand(set_n, on_lever) takes 2..5 ns
    on_lever   = nand(reset_n, on_tempo) takes 2..5 ns
    from_tempo = nand(tempo, on_tempo) takes 2..5 ns
    from_lever = nand(lever, on_lever) takes 2..5 ns
    beat       = nand(from_tempo, from_lever) takes 2..5 ns
    must full: pulses of beat last at least ? ns
"""


@dataclass(frozen=True)
class Size:
    gates: int
    high: int
    """Every gate takes 1 ns to this many."""
    half_period: int
    """ns; the tempo stands so long, or 5 ns longer."""


@dataclass(frozen=True, kw_only=True)
class Measured:
    states: int | None
    proof_seconds: float
    judged_seconds: float | None
    found_seconds: float | None
    """By looking at all states."""
    sample_seconds: float | None
    """By looking at samples of them."""
    event_seconds: float | None
    """By bounded search from event to event."""
    part_seconds: float | None
    """Of a proof by parts of the circuit."""


def wiring(size: Size) -> str:
    takes = f" takes 1..{size.high} ns"
    lines = [
        "circuit switcher",
        f"    input tempo free running high {size.half_period}..{size.half_period + 5} ns,"
        f" low {size.half_period}..{size.half_period + 5} ns",
        f"    input lever, choose by hand apart {3 * size.half_period} ns",
        "    output beat",
    ]
    gates = [
        ("agree", "xnor(tempo, lever)"),
        ("set_n", "nand(choose, agree)"),
        ("reset_n", "nand(set_n, agree)"),
        ("on_tempo", "nand(set_n, on_lever)"),
        ("on_lever", "nand(reset_n, on_tempo)"),
        ("from_tempo", "nand(tempo, on_tempo)"),
        ("from_lever", "nand(lever, on_lever)"),
        ("beat0", "nand(from_tempo, from_lever)"),
    ]
    gates += [(f"beat{number}", f"beat{number - 1}") for number in range(1, size.gates - 8)]
    gates.append(("beat", gates[-1][0]))
    lines += [f"    {net} = {function}{takes}" for net, function in gates[: size.gates]]
    return "\n".join([*lines, "    must full: pulses of beat last at least ? ns"]) + "\n"


def measured(size: Size, limit: float) -> Measured:
    (design,) = loads(wiring(size), "switcher.wiring").designs
    (claim, _) = design.claims
    model = DelayedModel(design, timed=True)
    started = time.perf_counter()
    proof = decide_delayed(model.system(with_amount(claim, 1)), limit_seconds=limit)
    proof_seconds = time.perf_counter() - started
    states, judged = None, None
    if isinstance(proof, DelayedUnreachable):
        states = proof.states.count
        judged = _timed_judgement(model, claim, proof, limit)
    return Measured(
        states=states,
        proof_seconds=proof_seconds,
        judged_seconds=judged,
        found_seconds=_found_by_all_states(model, claim, limit),
        sample_seconds=_found_by_samples(model, claim, limit),
        event_seconds=_found_by_events(model, claim, limit),
        part_seconds=_proved_by_parts(model, claim, limit),
    )


def _timed_judgement(model: DelayedModel, claim: Claim, proof: DelayedUnreachable, limit: float) -> float | None:
    started = time.perf_counter()
    try:
        recheck_states(model.system(with_amount(claim, 1)), proof.states, limit_seconds=5 * limit)
    except Unconfirmed:
        return None
    return time.perf_counter() - started


BROKEN_WIDTH = 2
"""Every size has a pulse of 1 ns."""


def _found_by_all_states(model: DelayedModel, claim: Claim, limit: float) -> float | None:
    started = time.perf_counter()
    found = decide_delayed(model.system(with_amount(claim, BROKEN_WIDTH)), limit_seconds=limit)
    return time.perf_counter() - started if isinstance(found, DelayedReached) else None


def _found_by_events(model: DelayedModel, claim: Claim, limit: float) -> float | None:
    started = time.perf_counter()
    events = event_system(model.system(with_amount(claim, BROKEN_WIDTH)))
    found = search(events.system.cone_of_influence(), 200, limit)
    return time.perf_counter() - started if isinstance(found, Reached) else None


def _found_by_samples(model: DelayedModel, claim: Claim, limit: float) -> float | None:
    started = time.perf_counter()
    found = Samples(model.system(with_amount(claim, BROKEN_WIDTH)), horizon=FIRST_HORIZON).go_on(limit)
    return None if found is None else time.perf_counter() - started


def _proved_by_parts(model: DelayedModel, claim: Claim, limit: float) -> float | None:
    started = time.perf_counter()
    found = Parts(model, with_amount(claim, 1), None).go_on(limit)
    return None if found is None else time.perf_counter() - started


WHOLE = (
    ("nine gates, 2..5 ns, half periods 30..40 ns, hands 100 ns apart", NINE),
    ("twenty gates, 1..3 ns", wiring(Size(20, 3, 20))),
    ("thirty gates, 1..3 ns", wiring(Size(30, 3, 20))),
)


def whole(limit: float) -> Iterator[str]:
    """The verdict that a user gets, with the second opinions, in one process."""
    yield f"## The shortest pulse of `beat` by `check --limit {limit:g}`\n"
    yield "| circuit | verdict | took | peak memory of the process so far |"
    yield "|---|---|---|---|"
    for name, text in WHOLE:
        file = loads(text, "switcher.wiring")
        started = time.perf_counter()
        result = check(file, claim="full", limit=limit, processes=0).designs[0].claims[0]
        took = time.perf_counter() - started
        number = "" if result.measured is None else f", {result.measured.value} ns"
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10
        yield f"| {name} | {result.verdict.value}{number} | {took:.1f} s | {peak} MiB |"
    yield ""


def sizes() -> Iterator[tuple[str, list[Size]]]:
    yield "gates", [Size(gates, 2, 20) for gates in (9, 11, 13, 15, 17, 20)]
    yield "upper bound of the delays, ns", [Size(9, high, 20) for high in (2, 3, 4, 5, 6)]
    yield "half period, ns", [Size(9, 2, period) for period in (20, 40, 80, 160, 320)]


def report(limit: float) -> Iterator[str]:
    yield f"# The timed view as circuits grow (limit {limit:g} s each)\n"
    for what, found in sizes():
        yield f"## {what}\n"
        yield "| size | states | proof | second opinion | by parts | run by all states | by samples | by events |"
        yield "|---|---|---|---|---|---|---|---|"
        rows = [(size, measured(size, limit)) for size in found]
        for size, row in rows:
            yield _row(_varied(what, size), row)
        yield ""
        yield from _plot(what, rows, limit)
    yield from whole(60.0)


def _varied(what: str, size: Size) -> int:
    return {"g": size.gates, "u": size.high, "h": size.half_period}[what[0]]


def _row(size: int, row: Measured) -> str:
    def seconds(number: float | None) -> str:
        return "-" if number is None else f"{number:.2f} s"

    states = "-" if row.states is None else f"{row.states:,}"
    proof = "-" if row.states is None else seconds(row.proof_seconds)
    others = (row.judged_seconds, row.part_seconds, row.found_seconds, row.sample_seconds, row.event_seconds)
    cells = [str(size), states, proof, *map(seconds, others)]
    return f"| {' | '.join(cells)} |"


def _plot(what: str, rows: list[tuple[Size, Measured]], limit: float) -> Iterator[str]:
    """Seconds on a line from 0.01 s to the limit, by powers; of marks that meet, the last one is seen."""
    import math

    yield "```"
    yield f"seconds, from 0.01 to {limit:g} by powers"
    yield "proof by P all states, p parts; run found by A all states, S samples, E events"
    for size, row in rows:
        line = [" "] * (WIDTH_OF_PLOT + 1)
        proof = row.proof_seconds if row.states is not None else None
        for mark, value in (
            ("P", proof),
            ("p", row.part_seconds),
            ("A", row.found_seconds),
            ("S", row.sample_seconds),
            ("E", row.event_seconds),
        ):
            if value is not None:
                share = math.log(max(value, 0.01) / 0.01) / math.log(limit / 0.01)
                line[min(round(share * WIDTH_OF_PLOT), WIDTH_OF_PLOT)] = mark
        yield f"{_varied(what, size):>5} |{''.join(line)}|"
    yield "```\n"


def main() -> None:
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--limit", type=float, default=20.0)
    arguments.add_argument("--write", action="store_true")
    chosen = arguments.parse_args()
    lines: list[str] = []
    for line in report(chosen.limit):
        print(line, flush=True)
        lines.append(line)
    if chosen.write:
        RESULTS.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
