"""Judging whole files and whole designs, claim by claim, with word of each verdict as it comes.

How one claim comes to its verdict is the business of `judge.py`; what is judged at all, of `selection.py`.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from pathlib import Path

from verifier.claims.claim import Claim, Design, View, WiringFile
from verifier.errors import CallError, Diagnostic, SourceError
from verifier.evidence.verdict import ClaimResult, DesignResult, FileResult
from verifier.language import load
from verifier.workbench.assumptions import assumptions
from verifier.workbench.judge import NOTHING_MORE, Judge, OnDepth, Wishes
from verifier.workbench.selection import Names, selected

DEFAULT_LIMIT_SECONDS = 60.0

OnStart = Callable[[Design, Claim], None]
"""Told before each claim is judged."""
OnResult = Callable[[Design, ClaimResult], None]
"""Told each verdict as it comes."""


def check(
    source: str | Path | WiringFile,
    circuit: Names = None,
    claim: Names = None,
    view: View | str | None = None,
    *,
    limit: float = DEFAULT_LIMIT_SECONDS,
    depth: int | None = None,
    allow_outside: bool = False,
    wishes: Wishes = NOTHING_MORE,
    on_start: OnStart | None = None,
    on_result: OnResult | None = None,
    on_depth: OnDepth | None = None,
) -> FileResult:
    """Judges every claim of every circuit in a wiring file, or only those named.

    `limit` is in seconds, for each claim; `depth` bounds how many instants a counterexample is looked for; with
    `wishes` say what is wanted beside the verdicts.
    An interrupt (Ctrl-C) ends the judging: the result then holds what was decided, and its last design is marked
    `interrupted`.

    Raises:
        SourceError: the file is wrong, its givens contradict each other, or it asks for what cannot be decided yet.
        CallError: no such file, circuit or claim.
        InternalDisagreement: two independent ways of judging differ.
    """
    wiring_file = source if isinstance(source, WiringFile) else load(source, allow_outside=allow_outside)
    designs = selected(wiring_file, circuit=circuit, claim=claim, view=_as_view(view))
    waiting = deque(_judges(designs, limit, depth, on_depth, wishes))
    results: list[DesignResult] = []
    while waiting and not any(result.interrupted for result in results):
        results.append(_judged(waiting.popleft(), on_start, on_result))  # what it took is free again afterwards
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
    claims: Iterable[str] | None = None,
    wishes: Wishes = NOTHING_MORE,
    on_start: OnStart | None = None,
    on_result: OnResult | None = None,
    on_depth: OnDepth | None = None,
) -> DesignResult:
    """Judges the claims of one design (or those named), in order; see `check`."""
    file = WiringFile(design.file, (design,))
    chosen = selected(file, claim=None if claims is None else [*claims])
    (judge,) = _judges(chosen, limit, depth, on_depth, wishes)
    return _judged(judge, on_start, on_result)


def _judges(
    designs: Iterable[Design], limit: float, depth: int | None, on_depth: OnDepth | None, wishes: Wishes
) -> list[Judge]:
    """A judge for each design, made before any verdict is given, so that a call is refused whole or not at all.

    Raises SourceError with everything that is wrong with any of the designs.
    """
    judges: list[Judge] = []
    findings: list[Diagnostic] = []
    for design in designs:
        try:
            judges.append(Judge(design, limit_seconds=limit, depth=depth, on_depth=on_depth, wishes=wishes))
        except SourceError as error:
            findings += error.diagnostics
    if findings:
        raise SourceError(findings)
    return judges


def _judged(judge: Judge, on_start: OnStart | None, on_result: OnResult | None) -> DesignResult:
    """The design's claims in order, as far as an interrupt lets them be judged."""
    design = judge.design
    results: list[ClaimResult] = []
    interrupted = False
    try:
        for claim in design.claims:
            if on_start is not None:
                on_start(design, claim)
            results.append(judge.judge(claim))
            if on_result is not None:
                on_result(design, results[-1])
    except KeyboardInterrupt:
        interrupted = True
    assumes = (*assumptions(design), *judge.doubts)
    return DesignResult(design=design, claims=tuple(results), assumes=assumes, interrupted=interrupted)
