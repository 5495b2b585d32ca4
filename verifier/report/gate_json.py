"""What `gate --json` writes: the records of all claims, what changed, and what could not be judged."""

from __future__ import annotations

from verifier.errors import Span
from verifier.evidence.gate_outcome import Change, GateResult, Trouble
from verifier.report.gate_page import why_not_passed
from verifier.report.records import Record


def gate_record_json(version: str, result: GateResult) -> Record:
    """`circuits` is as in the record of `check`; each claim also has `how` its verdict came about, and its `key`.

    `troubles` and `interrupted` are there only when there is something to say; `changes` only after a comparison.
    """
    record: Record = {
        "edgewright": version,
        "circuits": [
            {"name": circuit.name, "file": file.path, "claims": [claim.record for claim in circuit.claims]}
            for file in result.files
            for circuit in file.circuits
        ],
        "passed": not why_not_passed(result) and not result.interrupted,
        "why_not": why_not_passed(result),
    }
    if result.against is not None:
        record["against"] = result.against
        record["notices"] = list(result.notices)
        record["changes"] = [_change(change, change.kind in result.fail_on) for change in result.changes]
    if result.troubles:
        record["troubles"] = [_trouble(file.path, trouble) for file in result.files for trouble in file.troubles]
    if result.interrupted:
        record["interrupted"] = True
    return record


def _change(change: Change, fails: bool) -> Record:
    return {
        "kind": change.kind.value,
        "file": change.file,
        "circuit": change.circuit,
        "claim": change.claim or None,
        "why": list(change.why),
        "fails": fails,
        **_place(change.span),
    }


def _trouble(path: str, trouble: Trouble) -> Record:
    findings = [
        {"code": finding.code, "message": finding.message, "file": finding.span.file, **_place(finding.span)}
        for finding in trouble.findings
    ]
    return {
        "file": path,
        "circuit": trouble.circuit or None,
        "kind": trouble.kind.value,
        "text": trouble.text,
        "errors": findings,
    }


def _place(span: Span | None) -> Record:
    return {"line": None, "column": None} if span is None else {"line": span.line, "column": span.column}
