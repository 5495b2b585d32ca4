"""What changed between the verdicts of a record and those of now, claim by claim.

Circuits are matched by file and name; one whose file has changed its name or place, by its name if only one is left of
it on either side. A claim can change in several ways at once, and each is told.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator

from verifier.evidence.gate_outcome import (
    FAILING,
    FULFILLED,
    Change,
    ChangeKind,
    CircuitOutcome,
    FileOutcome,
    Number,
    Recorded,
)
from verifier.evidence.verdict import Verdict
from verifier.report.measured import amount
from verifier.workbench.gate_record import GateRecord, RecordedCircuit
from verifier.workbench.restrictions import added

PROOFS = frozenset({Verdict.PROVED, Verdict.IMPOSSIBLE})

Place = tuple[str, str]
"""File and name of a circuit."""


def verdict_changes(
    before: GateRecord, now: Iterable[FileOutcome], in_scope: Callable[[str], bool]
) -> tuple[Change, ...]:
    """In the order of the files of now, what has disappeared last; of circuits that could not be judged, nothing.

    `in_scope` says of a recorded file whether it lies where was looked.
    """
    files = list(now)
    present = {(file.path, circuit.name): circuit for file in files for circuit in file.circuits}
    recorded = {(circuit.file, circuit.name): circuit for circuit in before.circuits}
    matched = _matched(recorded, present)
    changes: list[Change] = []
    for place, circuit in present.items():
        old = matched.get(place)
        if old is None:
            changes.append(
                Change(
                    kind=ChangeKind.APPEARED,
                    file=place[0],
                    circuit=place[1],
                    why=(_claims(len(circuit.claims)),),
                    span=circuit.span,
                )
            )
        else:
            changes += _of_circuit(place, old, circuit)
    unjudged = {file.path for file in files if any(not trouble.circuit for trouble in file.troubles)}
    unjudged_circuits = {(file.path, trouble.circuit) for file in files for trouble in file.troubles}
    used = {(circuit.file, circuit.name) for circuit in matched.values()}
    for place, old in recorded.items():
        if place not in used and place[0] not in unjudged and place not in unjudged_circuits and in_scope(place[0]):
            why = (_claims(len(old.claims)),)
            changes.append(Change(kind=ChangeKind.DISAPPEARED, file=place[0], circuit=place[1], why=why))
    return tuple(changes)


def _claims(count: int) -> str:
    return f"{count} claim{'' if count == 1 else 's'}"


def _matched(
    recorded: dict[Place, RecordedCircuit], present: dict[Place, CircuitOutcome]
) -> dict[Place, RecordedCircuit]:
    """Place of each present circuit to the recorded one."""
    found = {place: recorded[place] for place in present if place in recorded}
    lost = [place for place in recorded if place not in found]
    new = [place for place in present if place not in found]
    lost_names, new_names = Counter(name for _, name in lost), Counter(name for _, name in new)
    moved = {name: recorded[file, name] for file, name in lost if lost_names[name] == new_names[name] == 1}
    return found | {place: moved[place[1]] for place in new if place[1] in moved}


def _of_circuit(place: Place, old: RecordedCircuit, circuit: CircuitOutcome) -> Iterator[Change]:
    before = {claim.claim: claim for claim in old.claims}
    for outcome in circuit.claims:
        name = outcome.recorded.claim
        if name in before:
            differences = list(_differences(before[name], outcome.recorded))
        else:
            differences = [(ChangeKind.APPEARED, (outcome.verdict.value,))]
        for kind, why in differences:
            yield Change(
                kind=kind,
                file=place[0],
                circuit=place[1],
                claim=name,
                why=tuple(why),
                span=outcome.span or circuit.span,
            )
    now = {outcome.recorded.claim for outcome in circuit.claims}
    for name, claim in before.items():
        if name not in now:
            yield Change(
                kind=ChangeKind.DISAPPEARED,
                file=place[0],
                circuit=place[1],
                claim=name,
                why=(f"was {claim.verdict.value}: {claim.says}" if claim.says else f"was {claim.verdict.value}",),
                span=circuit.span,
            )


def _differences(old: Recorded, new: Recorded) -> Iterator[tuple[ChangeKind, tuple[str, ...]]]:
    """Assumptions matter to proofs alone: a run that breaks or shows something does so under fewer of them as well."""
    turned = f"was {old.verdict.value}, is {new.verdict.value}"
    both_proofs = old.verdict in PROOFS and new.verdict in PROOFS
    weaker, stronger = [*_weaker(old, new)], [*_weaker(new, old, now_weaker=False)]
    if new.verdict is Verdict.UNDECIDED:
        if old.verdict is not Verdict.UNDECIDED:
            yield ChangeKind.UNDECIDED, (turned,)
    elif new.verdict in FAILING and old.verdict not in FAILING:
        yield ChangeKind.NEWLY_BROKEN, (turned, *(stronger if new.verdict is Verdict.BROKEN else weaker))
    elif new.verdict in FULFILLED and old.verdict not in FULFILLED:
        yield ChangeKind.NEWLY_PROVED, (turned, *(weaker if new.verdict is Verdict.PROVED else stronger))
    if (old.stated, old.kind, old.view) != (new.stated, new.kind, new.view):
        yield ChangeKind.REWORDED, _reworded(old, new)
    if weaker and both_proofs:
        yield ChangeKind.WEAKENED, tuple(weaker)
    if stronger and both_proofs:
        yield ChangeKind.STRENGTHENED, tuple(stronger)


def _reworded(old: Recorded, new: Recorded) -> tuple[str, ...]:
    def told(claim: Recorded) -> str:
        view = "" if claim.view == new.view == old.view else f" in {claim.view} view"
        return f"{claim.kind} {claim.says}{view}"

    if told(old) == told(new):
        return (f"a `let` in it means something else now; says: {new.stated}",)
    return (f"said: {told(old)}", f"says: {told(new)}")


def _weaker(old: Recorded, new: Recorded, *, now_weaker: bool = True) -> Iterator[str]:
    """How `new` says less than `old`; told from the other end where that is what was so before."""
    for one in added(old.restrictions, new.restrictions):
        yield f"{'now assumes' if now_weaker else 'no longer assumes'} {one.told}"
    if new.empty and not old.empty and old.verdict in FULFILLED:
        yield "its trigger can never happen any more" if now_weaker else "its trigger can happen now"
    if old.measured is not None and new.measured is not None and _is_worse(old.measured, new.measured):
        told = [amount(number.value, number.unit) for number in (old.measured, new.measured)]
        was, now = told if now_weaker else reversed(told)
        yield f"measured {was}, now {now}"
    if old.measured is not None and new.measured is None and new.verdict in FULFILLED:
        told_number = amount(old.measured.value, old.measured.unit)
        yield f"a number is no longer measured; it was {told_number}" if now_weaker else f"measured now: {told_number}"


def _is_worse(old: Number, new: Number) -> bool:
    if (old.unit, old.of, old.smaller_is_better) != (new.unit, new.of, new.smaller_is_better):
        return False
    return new.value > old.value if new.smaller_is_better else new.value < old.value
