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
from verifier.report.shown_run import RunStyle
from verifier.report.verdicts import (
    circuit_heading,
    claim_lines,
    footer_lines,
    not_judged_line,
    run_lines,
    summary_lines,
    witness_lines,
)
from verifier.report.writer import Writer


@dataclass(frozen=True, kw_only=True)
class Runs:
    """Which runs the page prints, and how."""

    broken: bool = True
    shown: bool = False
    witnesses: bool = False
    """Also says of each `must` whether its trigger can happen."""
    style: RunStyle = RunStyle.TABLE


DEFAULT_RUNS = Runs()


class CheckPage:
    """Give `starts` and `judged` to the checking, then call `finish` with what it returned."""

    def __init__(self, writer: Writer, live: LiveLine, runs: Runs = DEFAULT_RUNS) -> None:
        self._writer = writer
        self._live = live
        self._with_runs = {Verdict.BROKEN: runs.broken, Verdict.SHOWN: runs.shown}
        self._with_witnesses = runs.witnesses
        self._style = runs.style
        self._announced: set[tuple[int, str]] = set()
        self._order: list[tuple[Design, Claim]] = []
        """Every claim in the order of the file."""
        self._results: dict[tuple[int, str], ClaimResult] = {}
        """What is known and not printed yet, by design and name of the claim."""
        self._printed = 0
        """How many of `_order`; the page has the order of the file, whatever order the verdicts come in."""

    def starts(self, design: Design, claim: Claim) -> None:
        if (id(design), claim.name) not in self._announced:
            self._announced.add((id(design), claim.name))
            self._order.append((design, claim))
        self._live.now(f"{design.name}: {claim.name}")

    def searched(self, instants: int) -> None:
        self._live.how_far(f"no answer in the first {instants} instants")

    def judged(self, design: Design, result: ClaimResult) -> None:
        self._results[id(design), result.claim.name] = result
        while self._printed < len(self._order):
            design, claim = self._order[self._printed]
            known = self._results.pop((id(design), claim.name), None)
            if known is None:
                return
            self._print_next(design, self._lines(design, known))

    def _lines(self, design: Design, result: ClaimResult) -> list[Line]:
        width = self._writer.width
        return claim_lines(result, name_width=_name_width(design), width=width, triggers=self._with_witnesses)

    def _print_next(self, design: Design, lines: Iterable[Line]) -> None:
        """The next of the claims, below the heading of its circuit."""
        above = self._order[self._printed - 1][0] if self._printed else None
        heading = [circuit_heading(design)] if design is not above else []
        self._print([*([line()] if heading and above else []), *heading, *lines])
        self._printed += 1

    def finish(
        self, results: Sequence[DesignResult], refused: Sequence[Design] = (), unclaimed: Sequence[str] = ()
    ) -> None:
        """The rest of the page, from what was decided; `refused` are the circuits of which nothing was judged,
        `unclaimed` the names of those for which no claim is written."""
        self._live.now("")
        for result in results:
            for unprinted in result.design.claims:
                self.starts(result.design, unprinted)
        self._live.now("")
        for design, unprinted in self._order[self._printed :]:
            known = self._results.pop((id(design), unprinted.name), None)
            unjudged = [not_judged_line(unprinted, name_width=_name_width(design))]
            self._print_next(design, unjudged if known is None else self._lines(design, known))
        self._print([line()])
        width = self._writer.width
        for result in results:
            for claim in result.claims:
                if self._shows_run(claim):
                    self._print([*run_lines(result.design, claim, width=width, style=self._style), line()])
                if claim.witness is not None:
                    self._print([*witness_lines(result.design, claim, width=width, style=self._style), line()])
        self._print(
            [*summary_lines(results, refused, unclaimed, width=width), line(), *footer_lines(results, width=width)]
        )

    def _shows_run(self, result: ClaimResult) -> bool:
        breaks = result.measured is not None and result.measured.run is not None
        return self._with_runs.get(Verdict.BROKEN if breaks else result.verdict, False)

    def _print(self, lines: Iterable[Line]) -> None:
        with self._live.out_of_the_way():
            self._writer.write(lines)


def _name_width(design: Design) -> int:
    return max((len(claim.name) for claim in design.claims), default=0)
