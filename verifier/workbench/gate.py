"""Every wiring file below some paths, judged side by side, and how the verdicts stand to those of an earlier record.

Files are opened first: what a record knows is judged again then. The circuits of which something is left follow, the
light ones first, each with a fair share of the time that is left; the heavy ones get what the others did not need.
"""

from __future__ import annotations

import dataclasses
import os
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from verifier.errors import CallError
from verifier.evidence.gate_outcome import (
    ChangeKind,
    CircuitOutcome,
    ClaimOutcome,
    FileOutcome,
    GateResult,
    Trouble,
    TroubleKind,
)
from verifier.workbench.gate_orders import Answer, Decide, Decided, GateTerms, Open, Opened, Order
from verifier.workbench.gate_record import GateRecord, read_record
from verifier.workbench.verdict_changes import verdict_changes

SUFFIX = ".wiring"
DEFAULT_LIMIT_SECONDS = 600.0
LEAST_SHARE_SECONDS = 1.0
FAILS = frozenset({ChangeKind.NEWLY_BROKEN, ChangeKind.DISAPPEARED, ChangeKind.WEAKENED})
"""The changes that fail a gate unless the call says otherwise."""

OnFile = Callable[[FileOutcome], None]
"""Told each file when it is done, in any order unless the order was asked for."""
OnDoing = Callable[[str], None]
"""Told what is being worked on."""


def nothing(_: object) -> None:
    """Nobody wants to be told."""


def gate(
    paths: Sequence[str],
    terms: GateTerms,
    *,
    limit: float = DEFAULT_LIMIT_SECONDS,
    processes: int | None = None,
    fail_on: frozenset[ChangeKind] = FAILS,
    on_file: OnFile = nothing,
    in_order: bool = False,
    on_doing: OnDoing = nothing,
) -> GateResult:
    """Judges every wiring file among and below the paths.

    `limit` is in seconds, for the whole call. `processes` says how many files or circuits are worked on side by side
    (default: one a file, and no more than there are processors); with 1 everything happens in this process. An
    interrupt (Ctrl-C) ends the judging; the result then holds the files that were done. What is wrong with a file is
    told in its outcome, and the others are judged. With `in_order`, `on_file` is told the files in their order: one
    that is done waits for those before it.

    Raises:
        CallError: there is no such path, no wiring file below one, or the record cannot be read.
    """
    deadline = time.monotonic() + limit
    files = wiring_files(paths)
    before = read_record(terms.against) if terms.against is not None else None
    crew = processes or min(os.cpu_count() or 1, len(files))
    in_turn = InTurn(files, on_file) if in_order else None
    plan = Plan(files, deadline, crew, in_turn.take if in_turn else on_file, on_doing)
    interrupted = False
    try:
        if crew == 1:
            _alone(plan, terms)
        else:
            from verifier.workbench.gate_crew import work_side_by_side

            work_side_by_side(plan, terms, crew)
    except KeyboardInterrupt:
        interrupted = True
    if in_turn is not None:
        in_turn.tell_the_rest()
    done = plan.outcomes()
    return GateResult(
        files=done,
        changes=() if before is None or interrupted else verdict_changes(before, done, _scope(paths)),
        fail_on=fail_on,
        against=terms.against,
        notices=tuple(_notices(before, terms)),
        interrupted=interrupted,
    )


def _alone(plan: Plan, terms: GateTerms) -> None:
    from verifier.workbench.gate_judging import GateJudging

    judging = GateJudging(terms)
    while (order := plan.next_order()) is not None:
        plan.take(judging.carry_out(order))


def wiring_files(paths: Sequence[str]) -> list[str]:
    """The files named, and those in the folders named and below; hidden folders are left out, and no file comes twice.

    Raises CallError when a path does not exist, or a folder holds no wiring file.
    """
    found: dict[Path, str] = {}
    for path in paths:
        if os.path.isdir(path):
            below = list(_below(path))
            if not below:
                raise CallError(f"there is no wiring file in {path} or below", f"their names end in {SUFFIX}")
        elif os.path.exists(path):
            below = [path]
        else:
            raise CallError(f"there is no file or folder {path}")
        for file in below:
            found.setdefault(Path(file).resolve(), _shown(file))
    return list(found.values())


def _below(folder: str) -> Iterator[str]:
    for inside, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        yield from (os.path.join(inside, name) for name in sorted(names) if name.endswith(SUFFIX))


def _shown(path: str) -> str:
    """With `/` between folders and no detours, so that a record means the same file everywhere."""
    return Path(os.path.normpath(path)).as_posix()


def _scope(paths: Sequence[str]) -> Callable[[str], bool]:
    """Whether a file of a record lies where this call looked."""
    roots = [Path(_shown(path)) for path in paths]

    def within(file: str) -> bool:
        return any(root == Path(".") or Path(file).is_relative_to(root) for root in roots)

    return within


def _notices(before: GateRecord | None, terms: GateTerms) -> Iterator[str]:
    if before is None:
        return
    if before.version != terms.version:
        yield f"the record is of edgewright {before.version}: everything was decided anew"
    if not before.intact:
        yield "the record was altered since it was written"
    if terms.trust_unchanged:
        from verifier.workbench.content_key import own_digest

        if not before.intact:
            yield "an altered record is not trusted"
        elif before.made_by != own_digest():
            yield "the record was written by another build of edgewright, so it is not trusted"


class InTurn:
    """Holds back each file that is done until those before it have been told."""

    def __init__(self, files: Sequence[str], on_file: OnFile) -> None:
        self._waited_for = list(reversed(files))
        self._on_file = on_file
        self._held: dict[str, FileOutcome] = {}

    def take(self, file: FileOutcome) -> None:
        self._held[file.path] = file
        while self._waited_for and self._waited_for[-1] in self._held:
            self._on_file(self._held.pop(self._waited_for.pop()))

    def tell_the_rest(self) -> None:
        """After an interrupt: the files that are done although some before them are not."""
        for path in reversed(self._waited_for):
            if path in self._held:
                self._on_file(self._held.pop(path))


class Plan:
    """Which orders are to be given, and what has come of them so far."""

    def __init__(self, files: Sequence[str], deadline: float, crew: int, on_file: OnFile, on_doing: OnDoing) -> None:
        self._files = files
        self._deadline = deadline
        self._crew = crew
        self._on_file, self._on_doing = on_file, on_doing
        self._unopened = list(reversed(files))
        self._left: list[Decide] = []
        """Heaviest first."""
        self._under_way = 0
        """Circuits that are being decided."""
        self._outcomes: dict[str, FileOutcome] = {}
        self._open_orders: dict[str, int] = {}
        """For each opened file that is not done, how many of its circuits are not."""

    @property
    def time_left(self) -> float:
        return max(self._deadline - time.monotonic(), 0.0)

    def next_order(self) -> Order | None:
        """None when there is none now; while others are under way, there may be again."""
        if self._unopened:
            path = self._unopened.pop()
            self._doing(path)
            return Open(path=path, limit=self.time_left)
        while self._left:
            share = self._share()
            order = dataclasses.replace(self._left.pop(), limit=share)
            if share > 0:
                self._doing(f"{order.path}: {order.name}")
                self._under_way += 1
                return order
            self._one_less(order.path)
        return None

    def _doing(self, what: str) -> None:
        done = sum(count == 0 for count in self._open_orders.values())
        self._on_doing(f"{done} of {len(self._files)} files done, at {what}")

    def _share(self) -> float:
        fair = self._crew * self.time_left / (len(self._left) + self._under_way)
        return min(self.time_left, max(fair, LEAST_SHARE_SECONDS))

    def take(self, answer: Answer) -> None:
        match answer:
            case Opened():
                self._outcomes[answer.path] = FileOutcome(
                    path=answer.path, circuits=answer.circuits, troubles=answer.troubles, warnings=answer.warnings
                )
                self._left = sorted([*self._left, *answer.left], key=lambda order: -order.weight)
                self._open_orders[answer.path] = len(answer.left)
                self._finish_if_done(answer.path)
            case Decided():
                self._under_way -= 1
                self._put(answer)
                self._one_less(answer.order.path)

    def _put(self, answer: Decided) -> None:
        path, order = answer.order.path, answer.order
        outcome = self._outcomes[path]
        lost = next((trouble for trouble in answer.troubles if trouble.kind is TroubleKind.LOST), None)
        troubles = tuple(trouble for trouble in answer.troubles if trouble.kind is not TroubleKind.LOST)
        circuits = tuple(
            (_lost(circuit, order, lost) if lost else _merged(circuit, answer))
            if circuit.name == order.name
            else circuit
            for circuit in outcome.circuits
        )
        if troubles:
            circuits = tuple(circuit for circuit in circuits if circuit.name != order.name)
        self._outcomes[path] = dataclasses.replace(outcome, circuits=circuits, troubles=(*outcome.troubles, *troubles))

    def _one_less(self, path: str) -> None:
        self._open_orders[path] -= 1
        self._finish_if_done(path)

    def _finish_if_done(self, path: str) -> None:
        if self._open_orders[path] == 0:
            self._on_file(self._outcomes[path])

    def outcomes(self) -> tuple[FileOutcome, ...]:
        """Of the files that are done, in their order."""
        return tuple(self._outcomes[path] for path in self._files if self._open_orders.get(path) == 0)


def _merged(circuit: CircuitOutcome, answer: Decided) -> CircuitOutcome:
    """With the verdicts in place of the claims that were left; what has none now (it cannot be judged) is left out."""
    known = {claim.recorded.claim: claim for claim in answer.claims}
    claims = tuple(
        known.get(name, claim)
        for claim in circuit.claims
        if (name := claim.recorded.claim) in known or name not in answer.order.claims
    )
    return dataclasses.replace(circuit, claims=claims)


def _lost(circuit: CircuitOutcome, order: Decide, trouble: Trouble) -> CircuitOutcome:
    def undecided(claim: ClaimOutcome) -> ClaimOutcome:
        return dataclasses.replace(claim, reason=trouble.text) if claim.recorded.claim in order.claims else claim

    return dataclasses.replace(circuit, claims=tuple(undecided(claim) for claim in circuit.claims))
