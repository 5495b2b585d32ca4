"""What the page of a report is made of beside the verdicts: a machine for each circuit, and proofs in words."""

from __future__ import annotations

import time
from collections.abc import Sequence

from verifier.claims.claim import Design
from verifier.evidence.verdict import FileResult
from verifier.report.page.content import Content, Sweep
from verifier.workbench.proofs_in_words import proofs_in_words
from verifier.workbench.try_it import machine_of

SECONDS_FOR_WORDS = 10.0


def page_content(
    version: str,
    found: FileResult,
    refused: Sequence[Design] = (),
    *,
    swept: Sequence[Sweep] = (),
    seconds_for_words: float = SECONDS_FOR_WORDS,
) -> Content:
    """Gathers the page; words for proofs are sought for so long, or a little longer."""
    designs = [result.design for result in found.designs]
    machines = {(design.file, design.name): machine_of(design) for design in designs}
    return Content(
        version=version,
        path=found.path,
        results=found.designs,
        refused=refused,
        sweeps=swept,
        proofs=proofs_in_words(found.designs, time.monotonic() + seconds_for_words),
        machines={key: machine for key, machine in machines.items() if machine is not None},
    )
