"""Outcomes of faults in a file, so that a campaign that was interrupted goes on where it stopped.

One line of JSON for each outcome, written as soon as it is known. Its key is made of all that the outcome hangs on: the
circuit, the claims with their verdicts, the givens, the fault, and the version of this program. So a change of any of
these makes the faults it touches be judged again, and one file may serve many circuits. What stayed undecided is not
kept: there may be more time in the next call.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from verifier.circuit.fault import FaultClass
from verifier.claims.claim import Claim, Design, Given
from verifier.claims.formula import Signal, walk
from verifier.claims.run import Instant, Run, StepEvents
from verifier.errors import CallError
from verifier.evidence.fault_outcome import FaultOutcome, Noticed, Standing
from verifier.evidence.telling import Telling
from verifier.evidence.verdict import Verdict
from verifier.report.wording import worded

Record = dict[str, Any]


class CampaignStore:
    """Read when it is entered, appended to until it is left."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._known: dict[str, FaultOutcome] = {}
        self._stream: IO[str] | None = None

    def __enter__(self) -> CampaignStore:
        """Raises CallError: it cannot be read or written, or is something else."""
        try:
            text = self._path.read_text(encoding="utf-8") if self._path.exists() else ""
            self._read(text)
            self._stream = self._path.open("a", encoding="utf-8")
            if text and not text.endswith("\n"):
                self._stream.write("\n")  # the end of a line that was being written when somebody pulled the plug
        except OSError as error:
            raise CallError(f"cannot use {self._path}: {error.strerror or error}") from error
        except UnicodeDecodeError as error:
            raise CallError(f"{self._path} is not UTF-8 text") from error
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if self._stream is not None:
            self._stream.close()

    def known(self, key: str) -> FaultOutcome | None:
        return self._known.get(key)

    def put(self, key: str, circuit: str, fault: FaultClass, outcome: FaultOutcome) -> None:
        if outcome.standing is Standing.UNDECIDED or self._stream is None:
            return
        record = {"key": key, "circuit": circuit, "fault": fault.representative.name, **_record(outcome)}
        self._stream.write(json.dumps(record) + "\n")
        self._stream.flush()

    def _read(self, text: str) -> None:
        lines = text.splitlines()
        for number, line in enumerate(lines, 1):
            try:
                record = json.loads(line)
                self._known[record["key"]] = _outcome(record)
            except (ValueError, KeyError, TypeError) as error:
                if self._known or (number == len(lines) and line.startswith('{"key"')):
                    continue  # a line that was cut short
                raise CallError(
                    f"{self._path}, line {number}: this is no store of outcomes",
                    "--resume takes the file that an earlier call wrote, or one that is not there yet",
                ) from error


class Keys:
    """The keys of one circuit's faults: two are equal only where the outcomes must be."""

    def __init__(self, design: Design, verdicts: tuple[Verdict, ...]) -> None:
        netlist = design.netlist
        asked = zip(design.claims, verdicts, strict=True)
        parts = [
            version("edgewright"),
            repr([net.name for net in netlist.nets]),
            repr(replace(netlist, nets=())),
            *(f"{claim.kind.value} {claim.name}: {_formula_text(claim)} {verdict.value}" for claim, verdict in asked),
            *(f"given {given.name}: {_formula_text(given)}" for given in design.givens),
        ]
        self._circuit = "\n".join(parts).encode()

    def of(self, fault: FaultClass) -> str:
        what = repr(replace(fault.representative, name=""))
        return hashlib.sha256(self._circuit + b"\n" + what.encode()).hexdigest()


def _formula_text(stated: Claim | Given) -> str:
    """Its words, with the numbers of its nets."""
    nets = [node.nets for node in walk(stated.formula) if isinstance(node, Signal)]
    return f"{worded(stated.formula)} {nets}"


# Outcomes as records, and back


def _record(outcome: FaultOutcome) -> Record:
    noticed, telling = outcome.noticed, outcome.telling
    return {
        "standing": outcome.standing.value,
        "seconds": round(outcome.seconds, 3),
        "reason": outcome.reason,
        "suggestion": outcome.suggestion,
        "noticed": None
        if noticed is None
        else {
            "claim": noticed.claim,
            "verdict": noticed.verdict.value,
            "run": None if noticed.run is None else _run_record(noticed.run),
        },
        "telling": None
        if telling is None
        else {
            "run": _run_record(telling.run),
            "good": [_bits(instant) for instant in telling.good],
            "good_ways": telling.good_ways,
        },
    }


def _outcome(record: Record) -> FaultOutcome:
    noticed, telling = record["noticed"], record["telling"]
    return FaultOutcome(
        standing=Standing(record["standing"]),
        seconds=float(record["seconds"]),
        reason=str(record["reason"]),
        suggestion=str(record["suggestion"]),
        noticed=None
        if noticed is None
        else Noticed(
            claim=str(noticed["claim"]),
            verdict=Verdict(noticed["verdict"]),
            run=None if noticed["run"] is None else _run(noticed["run"]),
        ),
        telling=None
        if telling is None
        else Telling(
            run=_run(telling["run"]),
            good=tuple(map(_instant, telling["good"])),
            good_ways=int(telling["good_ways"]),
        ),
    )


def _run_record(run: Run) -> Record:
    return {
        "instants": [_bits(instant) for instant in run.instants],
        "events": [[event.raced, event.oscillated, sorted(event.may_glitch)] for event in run.events],
        "loop_from": run.loop_from,
    }


def _run(record: Record) -> Run:
    events = tuple(
        StepEvents(raced=bool(raced), oscillated=bool(oscillated), may_glitch=frozenset(map(int, nets)))
        for raced, oscillated, nets in record["events"]
    )
    return Run(tuple(map(_instant, record["instants"])), events, record["loop_from"])


def _bits(instant: Instant) -> str:
    return "".join("01"[value] for value in instant)


def _instant(bits: str) -> Instant:
    return tuple(bit == "1" for bit in bits)
