"""Judging whole files and whole designs within one limit of time, with word of each verdict as it comes.

Every claim first gets a short turn in this process, in the order of the file; most need no more, and no process is
started. The claims that are still open after that share what is left of the time, at most two side by side in
processes of their own. How one claim comes to its verdict is the business of `judge.py`; what is judged at all, of
`selection.py`.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from pathlib import Path

from verifier.claims.claim import Claim, Design, View, WiringFile
from verifier.errors import CallError, SourceError
from verifier.evidence.verdict import ClaimResult, DesignResult, FileResult, Verdict
from verifier.language import load
from verifier.workbench.assumptions import assumptions
from verifier.workbench.deadline import Alarm, TimeRanOut
from verifier.workbench.judge import NOTHING_MORE, PARTS_OF_THE_TIME, Judge, OnDepth, Wishes
from verifier.workbench.open_claims import OpenClaim, Terms
from verifier.workbench.selection import Names, selected

DEFAULT_LIMIT_SECONDS = 60.0
PROCESSES = 2

LONGEST_FIRST_TURN_SECONDS = 1.0
OUT_OF_TIME = "the time for the whole call ran out before it was looked at"

OnStart = Callable[[Design, Claim], None]
"""Told when work on a claim begins: once in the order of the file, once more if it gets a process of its own."""
OnResult = Callable[[Design, ClaimResult], None]
"""Told each verdict as it comes, in any order."""
OnRefused = Callable[[Design, SourceError], None]
"""Told of each design that nothing can be judged about, before any verdict on the others."""


def nothing(*_: object) -> None:
    """Nobody wants to be told."""


def check(
    source: str | Path | WiringFile,
    circuit: Names = None,
    claim: Names = None,
    view: View | str | None = None,
    *,
    limit: float = DEFAULT_LIMIT_SECONDS,
    depth: int | None = None,
    processes: int = PROCESSES,
    allow_outside: bool = False,
    wishes: Wishes = NOTHING_MORE,
    on_start: OnStart = nothing,
    on_result: OnResult = nothing,
    on_depth: OnDepth = nothing,
    on_refused: OnRefused | None = None,
) -> FileResult:
    """Judges every claim of every circuit in a wiring file, or only those named.

    `limit` is in seconds, for the whole call; claims without an answer by then are undecided. `depth` bounds how many
    instants a counterexample is looked for. Claims that take long are judged in up to so many `processes` of their own,
    with 0 in this one. `wishes` say what is wanted beside the verdicts. An interrupt (Ctrl-C) ends the judging: the
    result then holds what was decided, and its last design is marked `interrupted`. A circuit that has contradictory
    givens or no power-up state refuses the whole call; with `on_refused` it is told there, left out of the result, and
    the other circuits are judged.

    Raises:
        SourceError: the file is wrong, givens of a circuit contradict each other, or it asks for what cannot be decided
            yet.
        CallError: no such file, circuit or claim.
        InternalDisagreement: two independent ways of judging differ.
    """
    deadline = time.monotonic() + limit
    wiring_file = source if isinstance(source, WiringFile) else load(source, allow_outside=allow_outside)
    designs = selected(wiring_file, circuit=circuit, claim=claim, view=_as_view(view))
    terms = Terms(deadline=deadline, depth=depth, wishes=wishes, processes=processes)
    results = _Checking(designs, terms, on_start, on_result, on_depth, on_refused).results()
    return FileResult(path=wiring_file.path, designs=tuple(results), warnings=wiring_file.warnings)


def _as_view(view: View | str | None) -> View | None:
    try:
        return None if view is None else View(view)
    except ValueError as error:
        raise CallError(f"there is no view {view}", f"there is {', '.join(known.value for known in View)}") from error


def check_design(
    design: Design,
    *,
    limit: float = DEFAULT_LIMIT_SECONDS,
    depth: int | None = None,
    processes: int = PROCESSES,
    claims: Iterable[str] | None = None,
    wishes: Wishes = NOTHING_MORE,
    on_start: OnStart = nothing,
    on_result: OnResult = nothing,
    on_depth: OnDepth = nothing,
) -> DesignResult:
    """Judges the claims of one design (or those named), in order; see `check`."""
    file = WiringFile(design.file, (design,))
    chosen = None if claims is None else [*claims]
    (result,) = check(
        file,
        claim=chosen,
        limit=limit,
        depth=depth,
        processes=processes,
        wishes=wishes,
        on_start=on_start,
        on_result=on_result,
        on_depth=on_depth,
    ).designs
    return result


class _Checking:
    """One call: what is known so far, and who is told."""

    def __init__(
        self,
        designs: Sequence[Design],
        terms: Terms,
        on_start: OnStart,
        on_result: OnResult,
        on_depth: OnDepth,
        on_refused: OnRefused | None,
    ) -> None:
        self._designs = designs
        """Those that are judged: what is refused is taken out before any verdict."""
        self._terms = terms
        self._on_start, self._on_result, self._on_depth = on_start, on_result, on_depth
        self._on_refused = on_refused
        self._known: dict[tuple[int, str], ClaimResult] = {}
        """Place of the design and name of the claim to its result."""
        self._open: dict[tuple[int, str], OpenClaim] = {}
        """Those whose first turn was too short."""
        self._doubts: dict[int, tuple[str, ...]] = {}
        self._begun = 0
        """How many designs have been begun with."""
        self._alarm = Alarm(terms.deadline)

    def results(self) -> list[DesignResult]:
        judges = self._made_ready()
        interrupted = False
        try:
            self._first_turns(judges)
            self._longer_turns()
            self._give_up()
        except KeyboardInterrupt:
            interrupted = True
        return self._collected(interrupted)

    def _made_ready(self) -> deque[Judge]:
        """A judge for each design, made before any verdict is given, so that what is refused is known by then.

        When the time runs out there are fewer. Raises SourceError with everything that is wrong with any of them,
        unless somebody wants to be told instead.
        """
        judges: deque[Judge] = deque()
        refused: list[tuple[Design, SourceError]] = []
        with suppress(TimeRanOut), self._alarm:
            for place, design in enumerate(self._designs):
                share = self._left / (PARTS_OF_THE_TIME * (len(self._designs) - place))
                try:
                    judges.append(self._judge(design, share))
                except SourceError as error:
                    refused.append((design, error))
        if refused and self._on_refused is None:
            raise SourceError([finding for _, why in refused for finding in why.diagnostics])
        for design, why in refused:
            self._designs = [kept for kept in self._designs if kept is not design]
            if self._on_refused is not None:
                self._on_refused(design, why)
        self._designs = [*(judge.design for judge in judges), *self._designs[len(judges) :]]
        return judges

    def _judge(self, design: Design, limit_seconds: float) -> Judge:
        terms = self._terms
        return Judge(
            design, limit_seconds=limit_seconds, depth=terms.depth, on_depth=self._on_depth, wishes=terms.wishes
        )

    @property
    def _left(self) -> float:
        return max(self._terms.deadline - time.monotonic(), 0.0)

    def _first_turns(self, judges: deque[Judge]) -> None:
        unjudged = sum(len(judge.design.claims) for judge in judges)
        with suppress(TimeRanOut), self._alarm as alarm:
            while judges:
                judge = judges.popleft()  # what it took is free again afterwards
                place = self._begun
                self._begun += 1
                self._doubts[place] = judge.doubts
                for claim in judge.design.claims:
                    with alarm.quiet():
                        self._on_start(judge.design, claim)
                    self._first_turn(judge, place, claim, self._left / unjudged)
                    unjudged -= 1

    def _first_turn(self, judge: Judge, place: int, claim: Claim, share: float) -> None:
        turn = min(share / 2, LONGEST_FIRST_TURN_SECONDS)
        started = time.monotonic()
        result = judge.judge(claim, turn)
        with self._alarm.quiet():
            if result.reason and time.monotonic() - started > 0.9 * turn:
                self._open[place, claim.name] = OpenClaim(design=judge.design, claim=claim, so_far=result)
            else:
                self._put(place, result)

    def _put(self, place: int, result: ClaimResult) -> None:
        self._known[place, result.claim.name] = result
        self._open.pop((place, result.claim.name), None)
        self._on_result(self._designs[place], result)

    def _longer_turns(self) -> None:
        """The open claims again, each with its share of the time that is left."""
        if not self._open:
            return
        places = {id(open_claim): place for (place, _), open_claim in self._open.items()}
        if self._terms.processes < 1:
            self._in_this_process()
            return
        from verifier.workbench.worker_pool import judge_side_by_side  # most calls need none of what it loads

        judge_side_by_side(
            tuple(self._open.values()),
            self._terms,
            lambda open_claim: self._on_start(open_claim.design, open_claim.claim),
            lambda open_claim, result: self._put(places[id(open_claim)], result),
            self._on_depth,
        )

    def _in_this_process(self) -> None:
        with suppress(TimeRanOut), self._alarm as alarm:
            for (place, _), open_claim in tuple(self._open.items()):
                with alarm.quiet():
                    self._on_start(open_claim.design, open_claim.claim)
                result = self._judge(open_claim.design, self._left / PARTS_OF_THE_TIME).judge(
                    open_claim.claim, self._left / len(self._open)
                )
                with alarm.quiet():
                    self._put(place, result)

    def _give_up(self) -> None:
        """Tells what is known of the claims that have no answer."""
        for place, design in enumerate(self._designs):
            for claim in design.claims:
                if (place, claim.name) in self._open:
                    self._put(place, self._open[place, claim.name].so_far)
                elif (place, claim.name) not in self._known:
                    self._on_start(design, claim)
                    undecided = ClaimResult(
                        claim=claim, verdict=Verdict.UNDECIDED, engine="none", seconds=0.0, reason=OUT_OF_TIME
                    )
                    self._put(place, undecided)
        self._begun = len(self._designs)

    def _collected(self, interrupted: bool) -> list[DesignResult]:
        """The results in the order of the file. After an interrupt, as far as it was come to."""
        results = []
        for place, design in enumerate(self._designs[: self._begun]):
            claims = tuple(
                self._known[place, claim.name] for claim in design.claims if (place, claim.name) in self._known
            )
            assumes = (*assumptions(design), *self._doubts.get(place, ()))
            cut_short = interrupted and (len(claims) < len(design.claims) or place == self._begun - 1)
            results.append(DesignResult(design=design, claims=claims, assumes=assumes, interrupted=cut_short))
        return results
