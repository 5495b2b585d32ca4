"""The command line of the benchmark: runs the suite, prints the report as it comes, and fails when engines disagree."""

from __future__ import annotations

import argparse
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from benchmarks.answers import ENGINES, OURS, warm_up
from benchmarks.climbing import Row, complaints, run
from benchmarks.measuring import Measurement, measured
from benchmarks.solver_share import probe
from benchmarks.suite import SHELF, is_in_suite
from benchmarks.tables import growth, largest, machine, ratios, row_cells, row_head, solver_share, table, worst

HERE = Path(__file__).resolve().parent
RESULTS = HERE / "results"
QUICK_LIMIT_SECONDS = 2.0
QUICK_SIZES = 3
WORTH_PROFILING_SECONDS = 0.05


class _Report:
    """Prints lines at once and keeps them."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    def add(self, *lines: str) -> None:
        for line in lines:
            print(line, flush=True)
        self.lines += lines

    def section(self, title: str, lines: Sequence[str]) -> None:
        self.add("", f"## {title}", "", *lines)


def main(arguments: Sequence[str] | None = None) -> int:
    asked = _parser().parse_args(arguments)
    if not is_in_suite(asked.only):
        print(f"nothing is called {asked.only}", file=sys.stderr)
        return 2
    limit = min(asked.limit, QUICK_LIMIT_SECONDS) if asked.quick else asked.limit
    report = _Report()
    for engine in ENGINES.values():
        warm_up(engine)  # libraries are loaded before the first child is made
    report.add("# Engines side by side", "", *machine(), f"Limit: {limit:g} s for each decision.")
    report.section("Every question", table(row_head(), []))
    rows = run(limit, asked.only, QUICK_SIZES if asked.quick else None, lambda row: report.add(_line(row)))
    _sum_up(report, rows, limit, asked.quick)
    wrong = list(complaints(rows))
    report.section("Agreement", _agreement(rows, wrong))
    if asked.write is not None:
        RESULTS.mkdir(exist_ok=True)
        (RESULTS / f"{asked.write}.md").write_text("\n".join(report.lines) + "\n", encoding="utf-8")
    for line in wrong:
        print(f"DISAGREEMENT: {line}", file=sys.stderr)
    return 1 if wrong else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(description="Measures this project's engines against general-purpose ones.")
    parser.add_argument("--limit", type=float, default=60.0, help="seconds of processor time for each decision (60)")
    parser.add_argument("--only", metavar="FAMILY", help=f"one family, by a part of its name, or `{SHELF}`")
    parser.add_argument("--quick", action="store_true", help="small sizes and a short limit")
    parser.add_argument("--write", metavar="NAME", help="also write the report to results/NAME.md")
    return parser


def _line(row: Row) -> str:
    return "| " + " | ".join(row_cells(row)) + " |"


def _sum_up(report: _Report, rows: list[Row], limit: float, quick: bool) -> None:
    report.section("Ratios", ratios(rows, limit))
    report.section("Furthest behind", worst(rows, limit))
    if any(row.question.size is not None for row in rows):
        report.section("Largest n", largest(rows, limit))
        report.section("Growth with n", growth(rows))
    if not quick:
        report.section("Time inside the solver", solver_share(_profiled(rows, limit)))
        report.section("A big circuit", _big_circuit())


def _profiled(rows: list[Row], limit: float) -> list[tuple[Row, Measurement]]:
    """The questions that took this project long enough, decided once more with a probe."""
    found = []
    for row in rows:
        first = row.decided(OURS)
        if first is not None and first.processor_seconds > WORTH_PROFILING_SECONDS:
            again = measured(ENGINES[OURS], row.question.system, limit, probe)
            if again.outcome.is_decided:
                found.append((row, again))
    return found


def _big_circuit() -> list[str]:
    """A process of its own, for the peak of its memory."""
    done = subprocess.run(
        [sys.executable, str(HERE / "big_circuit.py")], capture_output=True, text=True, timeout=600, check=True
    )
    return done.stdout.splitlines()


def _agreement(rows: list[Row], wrong: list[str]) -> list[str]:
    if wrong:
        return [f"- **{line}**" for line in wrong]
    decided = sum(row.decided(engine) is not None for row in rows for engine in ENGINES)
    return [
        f"All {decided} answers to {len(rows)} questions agree, with one another and with what the circuits expect."
    ]
