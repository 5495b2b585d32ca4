"""Prints the page of `check` while the judging goes on: each verdict as it comes, the runs and the sums at the end.

It keeps the order of things; what the lines look like is said in `verdicts.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from verifier.claims.claim import Claim, Design
from verifier.evidence.verdict import ClaimResult, DesignResult, Verdict
from verifier.report.pieces import Line, line
from verifier.report.progress import LiveLine
from verifier.report.verdicts import (
    circuit_heading,
    claim_lines,
    footer_lines,
    not_judged_lines,
    run_lines,
    summary_line,
    witness_lines,
)
from verifier.report.writer import Writer


@dataclass(frozen=True, kw_only=True)
class Runs:
    """Which runs the page prints."""

    broken: bool = True
    shown: bool = False
    witnesses: bool = False
    """Also says of each `must` whether its trigger can happen."""


DEFAULT_RUNS = Runs()


class CheckPage:
    """Give `starts` and `judged` to the checking, then call `finish` with what it returned."""

    def __init__(self, writer: Writer, live: LiveLine, runs: Runs = DEFAULT_RUNS) -> None:
        self._writer = writer
        self._live = live
        self._with_runs = {Verdict.BROKEN: runs.broken, Verdict.SHOWN: runs.shown}
        self._with_witnesses = runs.witnesses
        self._current: Design | None = None
        """The design whose heading was printed last."""

    def starts(self, design: Design, claim: Claim) -> None:
        if design is not self._current:
            heading = [circuit_heading(design)]
            self._print(heading if self._current is None else [line(), *heading])
            self._current = design
        self._live.now(f"{design.name}: {claim.name}")

    def searched(self, instants: int) -> None:
        self._live.how_far(f"no answer in the first {instants} instants")

    def judged(self, design: Design, result: ClaimResult) -> None:
        width = self._writer.width
        self._print(claim_lines(result, name_width=_name_width(design), width=width, triggers=self._with_witnesses))

    def finish(self, results: Sequence[DesignResult]) -> None:
        """The rest of the page, from what was decided."""
        self._live.now("")
        for result in results:
            if result.interrupted:
                self._print(not_judged_lines(result, name_width=_name_width(result.design)))
        self._print([line()])
        for result in results:
            for claim in result.claims:
                if self._with_runs.get(claim.verdict, False):
                    self._print([*run_lines(result.design, claim, width=self._writer.width), line()])
                if claim.witness is not None:
                    self._print([*witness_lines(result.design, claim, width=self._writer.width), line()])
        self._print([summary_line(results), line(), *footer_lines(results, width=self._writer.width)])

    def _print(self, lines: Iterable[Line]) -> None:
        with self._live.out_of_the_way():
            self._writer.write(lines)


def _name_width(design: Design) -> int:
    return max((len(claim.name) for claim in design.claims), default=0)
