"""What the page of a report is made of beside the verdicts: a machine for each circuit, and proofs in words."""

from __future__ import annotations

from collections.abc import Sequence

from verifier.claims.claim import Design
from verifier.evidence.verdict import FileResult
from verifier.report.page.content import Content
from verifier.workbench.try_it import machine_of


def page_content(version: str, found: FileResult, refused: Sequence[Design] = ()) -> Content:
    """Gathers the page. Takes about as long as reading the file did."""
    designs = [result.design for result in found.designs]
    machines = {(design.file, design.name): machine_of(design) for design in designs}
    return Content(
        version=version,
        path=found.path,
        results=found.designs,
        refused=refused,
        machines={key: machine for key, machine in machines.items() if machine is not None},
    )
