"""The record of a gate: verdicts of one revision with what they can be judged by again, as one JSON file.

It is written whole or not at all, the same bytes for the same content, with proofs compressed. Reading believes no
more than the shapes: what a record says is judged again before anything rests on it (`rejudging.py`). Only where the
caller wants a record trusted does its checksum count. That finds damage, not malice: whoever can write the file can
make the sum anew.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
import zlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from verifier.errors import CallError
from verifier.evidence.gate_outcome import Evidence, FileOutcome, Number, Recorded, Restriction, StoredRun
from verifier.evidence.verdict import Verdict
from verifier.report.pieces import clean

Raw = TypeVar("Raw")
Kept = TypeVar("Kept")

FORM = 1
LARGEST_PROOF_BYTES = 64 * 2**20


@dataclass(frozen=True, kw_only=True)
class RecordedCircuit:
    name: str
    file: str
    claims: tuple[Recorded, ...]


@dataclass(frozen=True, kw_only=True)
class GateRecord:
    version: str
    """Of the Edgewright that wrote it."""
    made_by: str
    """Digest of the sources of that Edgewright."""
    circuits: tuple[RecordedCircuit, ...]
    intact: bool = True
    """Whether its checksum is that of its content."""

    def by_key(self) -> dict[str, Recorded]:
        """Every claim by the key of its content; of equal ones any, as what it says holds for all."""
        return {claim.key: claim for circuit in self.circuits for claim in circuit.claims}


def record_of(files: Iterable[FileOutcome], version: str, made_by: str) -> GateRecord:
    circuits = tuple(
        RecordedCircuit(name=circuit.name, file=file.path, claims=tuple(claim.recorded for claim in circuit.claims))
        for file in files
        for circuit in file.circuits
    )
    return GateRecord(version=version, made_by=made_by, circuits=circuits)


def record_text(record: GateRecord) -> str:
    """The file. Nothing in it changes as long as nothing in the record does."""
    content = {
        "edgewright": record.version,
        "made_by": record.made_by,
        "gate_record": FORM,
        "circuits": [
            {"name": circuit.name, "file": circuit.file, "claims": [_claim(claim) for claim in circuit.claims]}
            for circuit in record.circuits
        ],
    }
    return json.dumps(content | {"sum": _sum(content)}, indent=1) + "\n"


def _sum(content: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def _claim(claim: Recorded) -> dict[str, Any]:
    evidence, number = claim.evidence, claim.measured
    written: dict[str, Any] = {
        "claim": claim.claim,
        "kind": claim.kind,
        "view": claim.view,
        "says": claim.says,
        "verdict": claim.verdict.value,
        "empty": claim.empty,
        "key": claim.key,
        "stated": claim.stated,
        "restrictions": [
            {"subject": one.subject, "words": one.words, "spans": [list(span) for span in one.spans]}
            for one in claim.restrictions
        ],
    }
    if number is not None:
        written["measured"] = {
            "value": number.value,
            "unit": number.unit,
            "beyond": number.beyond,
            "of": number.of,
            "smaller_is_better": number.smaller_is_better,
        }
    if evidence.proof:
        written["proof"] = base64.b64encode(zlib.compress(evidence.proof.encode(), 9)).decode()
    for name, run in (("run", evidence.run), ("witness", evidence.witness), ("run_beyond", evidence.beyond)):
        if run is not None:
            written[name] = {"instants": list(run.instants), "times": run.times, "loop_from": run.loop_from}
    return written


def read_record(path: str) -> GateRecord:
    """Raises CallError when there is no such file, or it is no record of a gate."""
    shown = clean(path)
    try:
        text = Path(path).read_text(encoding="utf-8")
    except OSError as error:
        raise CallError(f"cannot read the record {shown}: {error.strerror or error}") from error
    except ValueError as error:
        raise CallError(f"{shown} is no record of a gate: it is not UTF-8 text") from error
    try:
        return _read(json.loads(text))
    except RecursionError as error:
        raise CallError(f"{shown} is no record of a gate: it is nested too deep") from error
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        hint = "`gate PATH... --record FILE` writes one"
        raise CallError(f"{shown} is no record of a gate, or a damaged one", hint) from error


def _read(content: Any) -> GateRecord:
    """Raises ValueError, TypeError, KeyError or AttributeError for whatever is no record."""
    found_sum = content.pop("sum")
    if content["gate_record"] != FORM:
        raise ValueError("another form of record")
    circuits = tuple(
        RecordedCircuit(
            name=_text(circuit["name"]),
            file=_text(circuit["file"]),
            claims=tuple(_read_claim(claim) for claim in circuit["claims"]),
        )
        for circuit in content["circuits"]
    )
    return GateRecord(
        version=_text(content["edgewright"]),
        made_by=_text(content["made_by"]),
        circuits=circuits,
        intact=_sum(content) == found_sum,
    )


def _read_claim(claim: Mapping[str, Any]) -> Recorded:
    return Recorded(
        claim=_text(claim["claim"]),
        kind=_text(claim["kind"]),
        view=_text(claim["view"]),
        says=_text(claim["says"]),
        stated=_text(claim["stated"]),
        key=_text(claim["key"]),
        verdict=Verdict(claim["verdict"]),
        empty=_flag(claim["empty"]),
        measured=_optional(claim.get("measured"), _read_number),
        restrictions=tuple(_read_restriction(one) for one in claim["restrictions"]),
        evidence=Evidence(
            proof=_proof(claim.get("proof")),
            run=_optional(claim.get("run"), _read_run),
            witness=_optional(claim.get("witness"), _read_run),
            beyond=_optional(claim.get("run_beyond"), _read_run),
        ),
    )


def _read_number(number: Mapping[str, Any]) -> Number:
    return Number(
        value=_whole(number["value"]),
        unit=_text(number["unit"]),
        beyond=_optional(number["beyond"], _whole),
        of=_text(number["of"]),
        smaller_is_better=_flag(number["smaller_is_better"]),
    )


def _read_restriction(one: Mapping[str, Any]) -> Restriction:
    spans = tuple((_whole(low), _optional(high, _whole)) for low, high in one["spans"])
    return Restriction(subject=_text(one["subject"]), words=_text(one["words"]), spans=spans)


def _read_run(run: Mapping[str, Any]) -> StoredRun:
    times = run["times"]
    return StoredRun(
        instants=tuple(_text(instant) for instant in run["instants"]),
        times=None if times is None else tuple(_whole(time) for time in times),
        loop_from=_optional(run["loop_from"], _whole),
    )


def _proof(packed: object) -> str:
    """The certificate; nothing where it cannot be unpacked, so that the claim is proved again."""
    if packed is None:
        return ""
    try:
        unpacking = zlib.decompressobj()
        return unpacking.decompress(base64.b64decode(_text(packed), validate=True), LARGEST_PROOF_BYTES).decode("ascii")
    except (binascii.Error, zlib.error, UnicodeDecodeError):
        return ""


def _optional(value: Raw | None, read: Callable[[Raw], Kept]) -> Kept | None:
    return None if value is None else read(value)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError("a text is missing")
    return value


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise TypeError("a yes or no is missing")
    return value


def _whole(value: object) -> int:
    if not isinstance(value, int) or isinstance(value, bool):
        raise TypeError("a whole number is missing")
    return value
