"""The report: what was measured as tables in Markdown, and the figures that sum it up. Measures nothing."""

from __future__ import annotations

import math
import os
import platform
from collections.abc import Iterable, Sequence
from importlib.metadata import version

from benchmarks.answers import ENGINES, OURS
from benchmarks.climbing import Row
from benchmarks.measuring import Measurement, Outcome, SolverTime
from benchmarks.suite import SHELF

FLOOR_SECONDS = 0.005
"""What is quicker counts as this, for every engine: below, one measures the start of things."""
LARGEST_WITHIN_SECONDS = 10.0
SLOW_SECONDS = 0.2
PEERS = tuple(name for name in ENGINES if name != OURS)


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return lines + ["| " + " | ".join(row) + " |" for row in rows]


def machine() -> list[str]:
    """The machine in words: no name of it, no path."""
    from benchmarks.decision_diagrams import BACK_END

    load = os.getloadavg()[0]
    return [
        f"Machine: {os.cpu_count()} cores ({platform.machine()}), {platform.system()}, "
        f"Python {platform.python_version()}, z3 {version('z3-solver')}, dd {version('dd')} ({BACK_END}). "
        f"At the start {load:.1f} processes wanted to run on it.",
        "Times are seconds of processor time; wall time follows in parentheses where it is over 1.3 times as long.",
    ]


def row_head() -> list[str]:
    return ["family", "question", "answer", "frames", *ENGINES]


def row_cells(row: Row) -> list[str]:
    question = row.question
    decided = [found for name in ENGINES if (found := row.decided(name)) is not None]
    answer = decided[0].outcome.value if decided else "-"
    frames = next((str(found.frames) for found in decided if found.frames is not None), "")
    return [question.family, question.title, answer, frames, *(_cell(row.measurements.get(name)) for name in ENGINES)]


def _cell(found: Measurement | None) -> str:
    if found is None:
        return "-"
    if not found.outcome.is_decided:
        return "limit" if found.outcome is Outcome.OUT_OF_TIME else found.outcome.value
    wall = f" ({found.wall_seconds:.3f})" if found.wall_seconds > 1.3 * found.processor_seconds + 0.005 else ""
    return f"{found.processor_seconds:.3f}{wall}"


def _counted(row: Row, engine: str, limit: float) -> float:
    found = row.decided(engine)
    return limit if found is None else max(FLOOR_SECONDS, found.processor_seconds)


def _geometric_mean(values: Sequence[float]) -> float:
    return math.exp(sum(map(math.log, values)) / len(values))


def ratios(rows: Sequence[Row], limit: float) -> list[str]:
    """How many times longer each peer takes than this project: geometric means."""
    groups: dict[str, list[Row]] = {}
    for row in rows:
        if any(row.decided(engine) for engine in ENGINES):
            groups.setdefault(row.question.family, []).append(row)
    everything = [row for group in groups.values() for row in group]
    named = [*groups.items(), ("all families", [r for r in everything if r.question.family != SHELF])]
    named.append(("whole suite", everything))
    lines = []
    for name, group in named:
        if group:
            factors = {
                peer: _geometric_mean([_counted(row, peer, limit) / _counted(row, OURS, limit) for row in group])
                for peer in PEERS
            }
            lines.append([name, str(len(group)), *(f"{factors[peer]:.2f}" for peer in PEERS)])
    return [
        f"Time of each peer divided by the time of {OURS}, geometric mean; above 1 the peer is slower. Every time "
        f"under {FLOOR_SECONDS:g} s counts as {FLOOR_SECONDS:g} s, an undecided question as the limit of {limit:g} s.",
        "",
        *table(["questions", "how many", *PEERS], lines),
    ]


def worst(rows: Sequence[Row], limit: float, count: int = 15) -> list[str]:
    """Where this project is furthest behind the best peer, among questions that take it longer than SLOW_SECONDS."""
    behind = []
    for row in rows:
        ours = _counted(row, OURS, limit)
        best = min(PEERS, key=lambda peer: _counted(row, peer, limit))
        theirs = _counted(row, best, limit)
        if ours > SLOW_SECONDS and any(row.decided(peer) for peer in PEERS):
            behind.append((ours / theirs, row, best, ours, theirs))
    behind.sort(key=lambda entry: -entry[0])
    over = sum(entry[0] > 1.3 for entry in behind)
    head = ["ratio", "family", "question", OURS, "best peer", "its time"]
    return [
        f"{len(behind)} questions take {OURS} over {SLOW_SECONDS:g} s and some peer decides them; on {over} of them "
        "it takes over 1.3 times as long as the best peer. The worst:",
        "",
        *table(
            head,
            (
                [f"{factor:.1f}", row.question.family, row.question.title, f"{ours:.3f}", best, f"{theirs:.3f}"]
                for factor, row, best, ours, theirs in behind[:count]
            ),
        ),
    ]


def largest(rows: Sequence[Row], limit: float) -> list[str]:
    """For each question of a family the largest size that each engine decided in time, without a gap below it."""
    within = min(limit, LARGEST_WITHIN_SECONDS)
    cells = []
    for (family, name), climb in _climbs(rows).items():
        cells.append([family, name, *(_largest_size(climb, engine, within) for engine in ENGINES), _last(climb)])
    return [
        f"The largest n decided within {within:g} s, all smaller ones too; `+` where the ladder of sizes ended there.",
        "",
        *table(["family", "question", *ENGINES, "largest n asked"], cells),
    ]


def _climbs(rows: Sequence[Row]) -> dict[tuple[str, str], list[Row]]:
    climbs: dict[tuple[str, str], list[Row]] = {}
    for row in rows:
        if row.question.size is not None:
            climbs.setdefault((row.question.family, row.question.name), []).append(row)
    return climbs


def _last(climb: Sequence[Row]) -> str:
    return str(climb[-1].question.size)


def _largest_size(climb: Sequence[Row], engine: str, within: float) -> str:
    best: int | None = None
    for row in climb:
        found = row.decided(engine)
        if found is None or found.processor_seconds > within:
            return "none" if best is None else str(best)
        best = row.question.size
    return f"{best}+"


def growth(rows: Sequence[Row]) -> list[str]:
    """Seconds by size, one table a question."""
    lines = []
    for (family, name), climb in _climbs(rows).items():
        body = ([str(r.question.size), *(_cell(r.measurements.get(engine)) for engine in ENGINES)] for r in climb)
        lines += [f"**{family}**, {name}", "", *table(["n", *ENGINES], body), ""]
    return lines


def solver_share(shares: Sequence[tuple[Row, Measurement]]) -> list[str]:
    """The share of this project's time inside z3, over the questions that were measured again with a probe."""
    cells = []
    total = checks = others = 0.0
    for row, again in shares:
        solver = again.solver or SolverTime(checks=0.0, other_calls=0.0)
        seconds = again.wall_seconds
        cells.append(
            [
                row.question.family,
                row.question.title,
                f"{seconds:.3f}",
                f"{solver.checks / seconds:.0%}",
                f"{solver.other_calls / seconds:.0%}",
            ]
        )
        total, checks, others = total + seconds, checks + solver.checks, others + solver.other_calls
    if not cells:
        return ["No question took long enough."]
    return [
        f"Of {total:.1f} s over {len(cells)} questions, {checks / total:.0%} passed in z3's checks and "
        f"{others / total:.0%} in other calls of z3 (adding clauses, reading models and cores); the rest is Python.",
        "",
        *table(["family", "question", "seconds", "checks", "other calls"], cells),
    ]
