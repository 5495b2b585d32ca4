"""A campaign: what would the claims of a file notice, if its circuits were miswired?

Every single fault of every circuit is judged (`fault_judge.py`), wherever the executor does that, except those whose
outcome is in the store already. Asked are the claims of the settled view whose verdict on the good circuit is the
expected one and says something: a `must` that is broken anyway notices nothing.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, nullcontext
from dataclasses import dataclass, field, replace
from enum import Enum
from pathlib import Path
from typing import TypeVar

from verifier.circuit.fault import FaultClass, FaultKind, Technology
from verifier.circuit.netlist import NetId
from verifier.circuit.single_faults import single_faults
from verifier.claims.asked_number import with_amount
from verifier.claims.claim import Claim, Design, View, WiringFile
from verifier.claims.formula import Signal, walk
from verifier.errors import CallError
from verifier.evidence.fault_outcome import (
    CampaignResult,
    CircuitCampaign,
    FaultOutcome,
    JudgedFault,
    Standing,
)
from verifier.evidence.verdict import ClaimResult, DesignResult, Verdict
from verifier.language import load
from verifier.workbench.campaign_store import CampaignStore, Keys
from verifier.workbench.checking import OnRefused, check
from verifier.workbench.executors import Executor, InThisProcess
from verifier.workbench.fault_judge import Batch
from verifier.workbench.selection import Names, nearest_hint, selected

DEFAULT_LIMIT_SECONDS = 10.0
"""For one fault."""
GOOD_LIMIT_SECONDS = 60.0
"""For all claims of the good circuits together."""
WORTH_A_PROCESS = 24
"""To start two processes takes as long as to judge about so many faults of a small circuit."""
MOST_IN_A_BATCH = 12
BATCHES_A_PROCESS = 6

BROKEN_ANYWAY = "broken on the good circuit too"
NOT_AS_EXPECTED = "not as the file expects on the good circuit"
UNDECIDED = "undecided on the good circuit"


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """Which faults, and how much time for each."""

    technology: Technology = Technology.TTL
    kinds: tuple[FaultKind, ...] = tuple(FaultKind)
    fault: str | None = None
    """The one fault of this name."""
    limit_seconds: float = DEFAULT_LIMIT_SECONDS


Choice = TypeVar("Choice", bound=Enum)
OnProgress = Callable[[int, int, int], None]
"""Told how many faults are judged, how many there are, and how many are noticed."""


def faults(
    source: str | Path | WiringFile,
    circuit: Names = None,
    *,
    technology: Technology | str = Technology.TTL,
    kinds: Sequence[FaultKind | str] | None = None,
    fault: str | None = None,
    limit: float = DEFAULT_LIMIT_SECONDS,
    processes: int | None = None,
    cluster: str | None = None,
    resume: str | Path | None = None,
    allow_outside: bool = False,
    on_progress: OnProgress | None = None,
    on_refused: OnRefused | None = None,
) -> CampaignResult:
    """Judges every single fault of the circuits of a file, or of those named.

    `limit` is in seconds, for each fault. The work is done in so many `processes` (None: one for each processor; 1: in
    this one), or on the `cluster` whose scheduler has that address. With `resume`, outcomes are kept in that file as
    they come, and those that it has already are not worked out again. An interrupt (Ctrl-C) ends the campaign; the
    result then holds what was judged, and is marked.

    Raises:
        SourceError: the file is wrong, or nothing can be judged about a circuit and nobody wants to be told.
        CallError: no such file, circuit, kind or fault; the store or the cluster cannot be used.
        InternalDisagreement: two independent ways of judging differ.
    """
    wanted = Wanted(
        technology=_member(Technology, technology, "technology"),
        kinds=tuple(FaultKind) if kinds is None else tuple(_kind(kind) for kind in kinds),
        fault=fault,
        limit_seconds=limit,
    )
    wiring_file = source if isinstance(source, WiringFile) else load(source, allow_outside=allow_outside)
    with CampaignStore(Path(resume)) if resume is not None else nullcontext() as store:
        circuits = _planned(selected(wiring_file, circuit=circuit), wanted, store, on_refused)
        waiting = sum(len(planned.waiting) for planned in circuits)
        with _executor(processes, cluster, waiting) as executor:
            interrupted = _carry_out(circuits, wanted, executor, store, on_progress)
    return CampaignResult(
        path=wiring_file.path,
        technology=wanted.technology,
        circuits=tuple(planned.result() for planned in circuits),
        interrupted=interrupted,
    )


def _member(choices: type[Choice], chosen: Choice | str, what: str) -> Choice:
    try:
        return choices(chosen)
    except ValueError as error:
        raise CallError(f"there is no {what} {chosen}", f"there is {', '.join(c.value for c in choices)}") from error


def _kind(kind: FaultKind | str) -> FaultKind:
    """A hyphen may stand for a space, and a space for a hyphen."""
    if isinstance(kind, str):
        spaced = {one.value.replace("-", " "): one for one in FaultKind}
        kind = spaced.get(kind.replace("-", " "), kind)
    return _member(FaultKind, kind, "kind of fault")


@dataclass(kw_only=True)
class _Planned:
    """One circuit, and what is known of its faults."""

    design: Design
    """With the claims that are asked."""
    verdicts: tuple[Verdict, ...]
    left_out: tuple[tuple[str, str], ...]
    faults: tuple[FaultClass, ...]
    keys: Keys
    known: dict[int, FaultOutcome] = field(default_factory=dict)
    """Place of the fault to its outcome."""
    resumed: int = 0

    @property
    def waiting(self) -> list[int]:
        return [place for place in range(len(self.faults)) if place not in self.known]

    def result(self) -> CircuitCampaign:
        judged = [JudgedFault(fault, self.known[at]) for at, fault in enumerate(self.faults) if at in self.known]
        return CircuitCampaign(
            design=self.design,
            left_out=self.left_out,
            faults=self.faults,
            judged=tuple(judged),
            resumed=self.resumed,
        )


# What there is to do


def _planned(
    designs: Sequence[Design], wanted: Wanted, store: CampaignStore | None, on_refused: OnRefused | None
) -> list[_Planned]:
    narrowed = tuple(_settled(design) for design in designs)
    file = WiringFile(narrowed[0].file, narrowed)
    good = check(file, limit=GOOD_LIMIT_SECONDS, on_refused=on_refused).designs
    others = {design.name: design for design in designs}
    circuits = [_of_circuit(result, others[result.design.name], wanted) for result in good]
    if wanted.fault is not None and not any(planned.faults for planned in circuits):
        known = [f.name for result in good for c in _fault_classes(result.design, wanted.technology) for f in c.faults]
        raise CallError(f"there is no fault named {wanted.fault}", nearest_hint(wanted.fault, known))
    for planned in circuits:
        _resume(planned, store)
    return circuits


def _settled(design: Design) -> Design:
    return replace(design, claims=tuple(claim for claim in design.claims if claim.view is View.SETTLED))


def _of_circuit(result: DesignResult, whole: Design, wanted: Wanted) -> _Planned:
    kept: list[ClaimResult] = []
    left_out = [
        (claim.name, f"of the {claim.view.value} view") for claim in whole.claims if claim.view is not View.SETTLED
    ]
    for judged in result.claims:
        why = _why_not_asked(judged)
        if why:
            left_out.append((judged.claim.name, why))
        else:
            kept.append(judged)
    design = replace(result.design, claims=tuple(_asked(judged) for judged in kept))
    verdicts = tuple(judged.verdict for judged in kept)
    faults = _chosen(_fault_classes(design, wanted.technology), wanted)
    return _Planned(
        design=design,
        verdicts=verdicts,
        left_out=tuple(left_out),
        faults=faults,
        keys=Keys(design, verdicts),
    )


def _why_not_asked(judged: ClaimResult) -> str:
    if judged.verdict is Verdict.UNDECIDED:
        return UNDECIDED
    if not judged.as_expected:
        return NOT_AS_EXPECTED
    return BROKEN_ANYWAY if judged.verdict is Verdict.BROKEN else ""


def _asked(judged: ClaimResult) -> Claim:
    """A `?` stands for the number that holds on the good circuit."""
    return judged.claim if judged.measured is None else with_amount(judged.claim, judged.measured.value)


def _fault_classes(design: Design, technology: Technology) -> tuple[FaultClass, ...]:
    return single_faults(design.netlist, technology, _observed(design))


def _observed(design: Design) -> frozenset[NetId]:
    """The nets that claims and givens speak of; the outputs are looked at anyway."""
    formulas = [*(claim.formula for claim in design.claims), *(given.formula for given in design.givens)]
    nodes = [node for formula in formulas for node in walk(formula)]
    return frozenset(net for node in nodes if isinstance(node, Signal) for net in node.nets)


def _chosen(classes: Sequence[FaultClass], wanted: Wanted) -> tuple[FaultClass, ...]:
    if wanted.fault is not None:
        return tuple(one for one in classes if any(fault.name == wanted.fault for fault in one.faults))
    narrowed = (tuple(fault for fault in one.faults if fault.kind in wanted.kinds) for one in classes)
    return tuple(FaultClass(kept) for kept in narrowed if kept)


def _resume(planned: _Planned, store: CampaignStore | None) -> None:
    if store is not None:
        found = {place: store.known(planned.keys.of(fault)) for place, fault in enumerate(planned.faults)}
        planned.known = {place: outcome for place, outcome in found.items() if outcome is not None}
        planned.resumed = len(planned.known)


# Doing it


@contextmanager
def _executor(processes: int | None, cluster: str | None, waiting: int) -> Iterator[Executor]:
    if cluster is not None:
        from verifier.workbench.fault_cluster import Cluster

        with Cluster(cluster) as executor:
            yield executor
        return
    many = processes if processes is not None else _processors()
    if many <= 1 or (processes is None and waiting < WORTH_A_PROCESS):
        yield InThisProcess()
    else:
        from verifier.workbench.fault_processes import WorkerProcesses

        yield WorkerProcesses(many)


def _processors() -> int:
    """Those that this process may use, where the system tells."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _carry_out(
    circuits: Sequence[_Planned],
    wanted: Wanted,
    executor: Executor,
    store: CampaignStore | None,
    on_progress: OnProgress | None,
) -> bool:
    """Whether it was interrupted."""
    work = list(_batches(circuits, wanted, executor.processes))
    total = sum(len(planned.faults) for planned in circuits)
    _tell(circuits, total, on_progress)
    try:
        with closing(executor.answers([batch for _, _, batch in work])) as answers:
            for answer in answers:
                planned, places, _ = work[answer.batch]
                place = places[answer.place]
                planned.known[place] = answer.outcome
                if store is not None:
                    fault = planned.faults[place]
                    store.put(planned.keys.of(fault), planned.design.name, fault, answer.outcome)
                _tell(circuits, total, on_progress)
    except KeyboardInterrupt:
        return True
    return False


def _batches(
    circuits: Sequence[_Planned], wanted: Wanted, processes: int
) -> Iterator[tuple[_Planned, list[int], Batch]]:
    """The work, with the place of each fault; circuit by circuit, many enough to keep everybody busy to the end."""
    waiting = sum(len(planned.waiting) for planned in circuits)
    size = min(max(waiting // (processes * BATCHES_A_PROCESS), 1), MOST_IN_A_BATCH)
    for planned in circuits:
        places = planned.waiting
        for start in range(0, len(places), size):
            here = places[start : start + size]
            yield (
                planned,
                here,
                Batch(
                    design=planned.design,
                    verdicts=planned.verdicts,
                    faults=tuple(planned.faults[place] for place in here),
                    limit_seconds=wanted.limit_seconds,
                ),
            )


def _tell(circuits: Sequence[_Planned], total: int, on_progress: OnProgress | None) -> None:
    if on_progress is not None:
        known = [outcome for planned in circuits for outcome in planned.known.values()]
        noticed = sum(outcome.standing is Standing.NOTICED for outcome in known)
        on_progress(len(known), total, noticed)
