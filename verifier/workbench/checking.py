"""Judging whole files and whole designs, claim by claim, with word of each verdict as it comes.

How one claim comes to its verdict is the business of `judge.py`; what is judged at all, of `selection.py`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from pathlib import Path

from verifier.claims.claim import Claim, Design, View, WiringFile
from verifier.evidence.verdict import ClaimResult, DesignResult, FileResult
from verifier.language import load
from verifier.workbench.assumptions import assumptions
from verifier.workbench.judge import Judge
from verifier.workbench.selection import Names, refuse_unsupported, selected

DEFAULT_LIMIT_SECONDS = 60.0

OnStart = Callable[[Design, Claim], None]
"""Told before each claim is judged."""
OnResult = Callable[[Design, ClaimResult], None]
"""Told each verdict as it comes."""


def check(
    source: str | Path | WiringFile,
    circuit: Names = None,
    claim: Names = None,
    view: View | None = None,
    *,
    limit: float = DEFAULT_LIMIT_SECONDS,
    depth: int | None = None,
    allow_outside: bool = False,
    on_start: OnStart | None = None,
    on_result: OnResult | None = None,
) -> FileResult:
    """Judges every claim of every circuit in a wiring file, or only those named.

    `limit` is in seconds, for each claim; `depth` bounds how many instants a counterexample is looked for. An interrupt
    (Ctrl-C) ends the judging: the result then holds what was decided, and its last design is marked `interrupted`.

    Raises:
        SourceError: the file is wrong, its givens contradict each other, or it asks for what cannot be decided yet.
        CallError: no such file, circuit or claim.
        InternalDisagreement: two independent ways of judging differ.
    """
    wiring_file = source if isinstance(source, WiringFile) else load(source, allow_outside=allow_outside)
    results: list[DesignResult] = []
    for design in selected(wiring_file, circuit=circuit, claim=claim, view=view):
        result = check_design(design, limit=limit, depth=depth, on_start=on_start, on_result=on_result)
        results.append(result)
        if result.interrupted:
            break
    return FileResult(path=wiring_file.path, designs=tuple(results), warnings=wiring_file.warnings)


def check_design(
    design: Design,
    *,
    limit: float = DEFAULT_LIMIT_SECONDS,
    depth: int | None = None,
    claims: Iterable[str] | None = None,
    on_start: OnStart | None = None,
    on_result: OnResult | None = None,
) -> DesignResult:
    """Judges the claims of one design (or those named), in order; see `check`."""
    wanted = None if claims is None else set(claims)
    design = dataclasses.replace(design, claims=tuple(c for c in design.claims if wanted is None or c.name in wanted))
    refuse_unsupported([design])
    results: list[ClaimResult] = []
    doubt, interrupted = "", False
    try:
        judge = Judge(design, limit_seconds=limit, depth=depth)
        doubt = judge.refuse_if_nothing_is_permitted()
        for claim in design.claims:
            if on_start is not None:
                on_start(design, claim)
            results.append(judge.judge(claim))
            if on_result is not None:
                on_result(design, results[-1])
    except KeyboardInterrupt:
        interrupted = True
    assumes = (*assumptions(design), doubt) if doubt else assumptions(design)
    return DesignResult(design=design, claims=tuple(results), assumes=assumes, interrupted=interrupted)
