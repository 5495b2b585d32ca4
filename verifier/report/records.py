"""Verdicts and runs as machine-readable records: what `--json` writes. The fields and their order are fixed.

Plain dictionaries and text. Nothing here opens a file for reading or decides anything.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from verifier.circuit.measures import measures
from verifier.claims.claim import Claim, Design
from verifier.claims.run import Run
from verifier.errors import SourceError
from verifier.evidence.verdict import ClaimResult, DesignResult, Measured
from verifier.report.parts_table import parts_record
from verifier.report.signals import Shown, shown_signals

LONGEST_NAME, KEPT_OF_LONGER = 119, 100
"""Of a file, in characters."""

Record = dict[str, Any]

Refused = tuple[Design, SourceError]
"""A circuit of which nothing was judged, and why."""


def verdict_record(
    version: str,
    results: Sequence[DesignResult],
    refused: Sequence[Refused] = (),
    *,
    witnesses: bool = False,
    parts: bool = False,
) -> Record:
    """Everything that was judged. `interrupted` is there only when the judging was cut short, `refused` only when
    errors say of some circuits that nothing can be judged about them.

    With `witnesses` each claim also says whether its trigger can happen, and has the run that shows it. With `parts`
    each circuit also says how large it is and which packages it needs.
    """
    record: Record = {"edgewright": version, "circuits": [_circuit(result, witnesses) for result in results]}
    if parts:
        for circuit, result in zip(record["circuits"], results, strict=True):
            circuit["parts"] = parts_record(measures(result.design.netlist))
    if any(result.interrupted for result in results):
        record["interrupted"] = True
    if refused:
        record["refused"] = [refused_record(design, error) for design, error in refused]
    return record


def refused_record(design: Design, error: SourceError) -> Record:
    errors = [
        {
            "code": finding.code,
            "message": finding.message,
            "file": finding.span.file,
            "line": finding.span.line,
            "column": finding.span.column,
        }
        for finding in error.diagnostics
    ]
    return {"name": design.name, "file": design.file, "errors": errors}


def run_record(
    version: str,
    design: Design,
    run: Run,
    signals: Sequence[Shown],
    *,
    notes: Sequence[Sequence[str]] = (),
    broken_givens: Sequence[Sequence[str]] = (),
) -> Record:
    """One played run, its trace in the form that verdicts have, and the notes and broken givens of each instant."""
    circuit = {
        "name": design.name,
        "file": design.file,
        "trace": trace_record(run, signals),
        "broken_givens": [{"at": at, "given": name} for at, names in enumerate(broken_givens) for name in names],
        "notes": [{"at": at, "note": note} for at, texts in enumerate(notes) for note in texts],
    }
    return {"edgewright": version, "circuits": [circuit]}


def trace_record(run: Run, signals: Sequence[Shown]) -> Record:
    """The values at every instant; with its time where the run has times."""
    return {
        "signals": [signal.name for signal in signals],
        "loop_from": run.loop_from,
        "steps": [
            {"at": index, **_time(run, index), "values": {signal.name: signal.value(instant) for signal in signals}}
            for index, instant in enumerate(run.instants)
        ],
    }


def _time(run: Run, index: int) -> Record:
    return {} if run.times is None else {"ns": run.times[index]}


def _circuit(result: DesignResult, witnesses: bool) -> Record:
    claims = [_claim(result, claim) | (_trigger(result, claim) if witnesses else {}) for claim in result.claims]
    return {"name": result.design.name, "file": result.design.file, "claims": claims}


def _claim(result: DesignResult, judged: ClaimResult) -> Record:
    claim, run = judged.claim, judged.run
    record = {
        "name": claim.name,
        "kind": claim.kind.value,
        "view": claim.view.value,
        "verdict": judged.verdict.value,
        "empty": judged.empty,
        "expected": judged.expected.value,
        "as_expected": judged.as_expected,
        "engine": judged.engine,
        "seconds": round(judged.seconds, 3),
        "assumes": list(result.assumes),
        "measured": None if judged.measured is None else _measured(result, claim, judged.measured),
        "trace": None if run is None else trace_record(run, shown_signals(result.design.netlist, claim)),
    }
    return record if judged.states is None else record | {"states": judged.states}


def _measured(result: DesignResult, claim: Claim, measured: Measured) -> Record:
    """The number, the next one, at which the claim is broken, and the run that breaks it there."""
    signals = shown_signals(result.design.netlist, claim)
    return {
        "value": measured.value,
        "unit": measured.unit,
        "beyond": measured.beyond,
        "trace_beyond": None if measured.run is None else trace_record(measured.run, signals),
    }


def _trigger(result: DesignResult, judged: ClaimResult) -> Record:
    signals = shown_signals(result.design.netlist, judged.claim)
    return {
        "trigger": None if judged.trigger is None else judged.trigger.value,
        "witness": None if judged.witness is None else trace_record(judged.witness, signals),
    }


def as_json(record: Record) -> str:
    """The record as text. Characters that are not plain ASCII are escaped, so no name can steer a terminal."""
    return json.dumps(record, indent=2) + "\n"


def safe_name(plain: str) -> str:
    """A file name that is safe everywhere; what does not go into one is replaced and told apart by a digest."""
    safe = re.sub(r"[^A-Za-z0-9_.-]", "_", plain).lstrip(".")
    if safe == plain and len(safe) <= LONGEST_NAME:
        return safe
    return f"{safe[:KEPT_OF_LONGER]}-{hashlib.sha256(plain.encode()).hexdigest()[:8]}"


def write_whole(path: Path, text: str) -> None:
    """The file has the whole text or is left as it was: written beside it first, then moved into place.

    Raises OSError when that cannot be done; nothing is left behind then.
    """
    path = path.resolve()
    if path.exists() and not path.is_file():
        path.write_text(text, encoding="utf-8")  # a device or a pipe: there is nothing to move into its place
        return
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    beside = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(text)
        beside.chmod(0o666 & ~_umask())
        beside.replace(path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


def _umask() -> int:
    """The process's mask for new files; it can only be read by setting it."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
