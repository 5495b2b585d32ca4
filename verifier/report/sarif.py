"""What `gate --sarif` writes: the findings of a gate in the Static Analysis Results Interchange Format.

Published form: OASIS, SARIF Version 2.1.0 (2020, with Errata 01 of 2023). One result for each claim that is not as
expected or has no answer, for each change that keeps the gate shut, and for each mistake in a file; each at the line
and column of the claim. Columns count characters. Paths below the working folder are relative to it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from urllib.parse import quote

from verifier.errors import Severity, Span
from verifier.evidence.gate_outcome import Change, ChangeKind, CircuitOutcome, ClaimOutcome, GateResult, Trouble
from verifier.report.gate_page import name_of, why_not_passed
from verifier.report.pieces import clean
from verifier.report.records import Record

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
BASE = "SRCROOT"

RULES = {
    "not-as-expected": ("error", "A claim's verdict is not the one that the wiring file expects."),
    "undecided": ("warning", "A claim has no answer within the time."),
    "wrong-input": ("error", "A wiring file, or a circuit in it, cannot be judged."),
    "not-judged": ("error", "Edgewright itself failed, or disagreed with itself, on a file."),
    "newly-broken": ("error", "A claim held in the earlier revision, and holds no more."),
    "no-longer-decided": ("error", "A claim had an answer in the earlier revision, and has none now."),
    "disappeared": ("error", "A claim or circuit of the earlier revision is gone."),
    "weakened": ("error", "A claim says less than in the earlier revision."),
    "reworded": ("error", "A claim says something else than in the earlier revision."),
    "strengthened": ("error", "A claim says more than in the earlier revision."),
    "newly-proved": ("error", "A claim did not hold in the earlier revision, and does now."),
    "appeared": ("error", "A claim or circuit was not there in the earlier revision."),
}
"""Level and description. Changes are results only where they keep the gate shut, so all of them are errors."""


def sarif_text(result: GateResult, version: str, folder: Path) -> str:
    """The whole file; `folder` is what relative paths are relative to."""
    log = _Log(folder.resolve())
    rules = [
        {
            "id": name,
            "shortDescription": {"text": described},
            "defaultConfiguration": {"level": level},
        }
        for name, (level, described) in RULES.items()
    ]
    run = {
        "tool": {"driver": {"name": "Edgewright", "version": version, "rules": rules}},
        "invocations": [{"executionSuccessful": not result.interrupted and not result.troubles}],
        "columnKind": "unicodeCodePoints",
        "originalUriBaseIds": {BASE: {"description": {"text": "The folder in which the gate was run."}}},
        "results": list(log.results(result)),
        "properties": {"passed": not why_not_passed(result) and not result.interrupted},
    }
    return json.dumps({"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}, indent=2) + "\n"


class _Log:
    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def results(self, result: GateResult) -> Iterator[Record]:
        for file in result.files:
            for circuit in file.circuits:
                for claim in circuit.claims:
                    yield from self._of_claim(circuit, claim)
            for trouble in file.troubles:
                yield from self._of_trouble(file.path, trouble)
        for change in result.failing:
            yield self._of_change(change)

    def _of_claim(self, circuit: CircuitOutcome, claim: ClaimOutcome) -> Iterator[Record]:
        if not (claim.is_surprise or claim.is_open):
            return
        recorded = claim.recorded
        told = f"{circuit.name}: {recorded.claim} is {claim.verdict.value}"
        if claim.is_surprise:
            told += f", expected to be {claim.expected.value}"
        told += f".\n{recorded.kind} {recorded.says}"
        told += f"\n{claim.reason}" if claim.reason else ""
        told += f"\n\n{claim.tells}" if claim.tells else ""
        rule = "undecided" if claim.is_open else "not-as-expected"
        span = claim.span or circuit.span
        prints = {
            "claim/v1": _fingerprint(rule, circuit.name, recorded.claim, recorded.view),
            "content/v1": recorded.key,
        }
        yield self._result(rule, told, circuit.file, span, f"{circuit.name}.{recorded.claim}", prints)

    def _of_change(self, change: Change) -> Record:
        rule = "no-longer-decided" if change.kind is ChangeKind.UNDECIDED else change.kind.value
        told = f"{change.kind.value}: {name_of(change)}.\n" + "\n".join(change.why)
        name = f"{change.circuit}.{change.claim}" if change.claim else change.circuit
        prints = {"claim/v1": _fingerprint(rule, change.circuit, change.claim)}
        return self._result(rule, told, change.file, change.span, name, prints)

    def _of_trouble(self, path: str, trouble: Trouble) -> Iterator[Record]:
        rule = "wrong-input" if trouble.kind.value == "wrong input" else "not-judged"
        for finding in trouble.findings:
            if finding.severity is Severity.ERROR:
                told = f"{finding.message}.\n{finding.hint}" if finding.hint else f"{finding.message}."
                prints = {"claim/v1": _fingerprint(rule, finding.code, finding.message)}
                yield self._result(rule, told, finding.span.file, finding.span, trouble.circuit, prints)
        if not trouble.findings:
            prints = {"claim/v1": _fingerprint(rule, path, trouble.circuit)}
            yield self._result(rule, f"{trouble.kind.value}: {trouble.text}", path, None, trouble.circuit, prints)

    def _result(self, rule: str, told: str, file: str, span: Span | None, name: str, prints: dict[str, str]) -> Record:
        location: Record = {"physicalLocation": {"artifactLocation": self._artifact(span.file if span else file)}}
        if span is not None:
            location["physicalLocation"]["region"] = {
                "startLine": span.line,
                "startColumn": span.column,
                "endLine": span.end_line,
                "endColumn": span.end_column,
            }
        if name:
            location["logicalLocations"] = [{"fullyQualifiedName": clean(name)}]
        return {
            "ruleId": rule,
            "ruleIndex": list(RULES).index(rule),
            "level": RULES[rule][0],
            "message": {"text": _message(told)},
            "locations": [location],
            "partialFingerprints": prints,
        }

    def _artifact(self, path: str) -> Record:
        """Relative to the folder where that is possible (OASIS 3.4.4), else absolute."""
        absolute = (self._folder / path).resolve()
        if absolute.is_relative_to(self._folder):
            return {"uri": _quoted(absolute.relative_to(self._folder)), "uriBaseId": BASE}
        return {"uri": f"file://{_quoted(absolute)}"}


def _quoted(path: PurePosixPath | Path) -> str:
    return quote(path.as_posix().encode("utf-8", "surrogateescape"))


def _message(text: str) -> str:
    """Braces stand for arguments in such a text, and `[..](..)` for a link (OASIS 3.11.5, 3.11.6): neither is meant."""
    rows = (clean(row).replace("{", "{{").replace("}", "}}") for row in text.splitlines())
    return "\n".join(row.replace("[", "\\[") if "](" in row else row for row in rows)


def _fingerprint(*parts: str) -> str:
    """The same for the same parts, and for no others: each goes in with its length."""
    encoded = [part.encode("utf-8", "surrogatepass") for part in parts]
    return hashlib.sha256(b"".join(b"%d:%b" % (len(part), part) for part in encoded)).hexdigest()
