"""What a gate does with one file: recognises what an earlier record knows, judges that again, and decides the rest.

It works in two kinds of orders, so that the files of a call and the circuits in them can be shared out among processes.
Opening a file judges recorded verdicts again and says what is left; each circuit of which something is left is an
order of its own. Orders and answers are plain data.
"""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Iterable, Mapping, Sequence

from verifier.claims.asked_number import Growing, asked_bound, growing
from verifier.claims.claim import Claim, ClaimKind, Design, View, WiringFile
from verifier.claims.support import restricts
from verifier.errors import CallError, EdgewrightError, InternalDisagreement, SourceError
from verifier.evidence.certificate import certificate_text
from verifier.evidence.gate_outcome import (
    CircuitOutcome,
    ClaimOutcome,
    Evidence,
    How,
    Number,
    Recorded,
    Trouble,
    TroubleKind,
)
from verifier.evidence.verdict import ClaimResult, DesignResult, Measured, Verdict
from verifier.language import load
from verifier.report.pieces import plain_text
from verifier.report.records import verdict_record
from verifier.report.verdicts import run_lines
from verifier.report.wording import worded
from verifier.workbench.assumptions import assumptions
from verifier.workbench.certificates import certificate_header
from verifier.workbench.checking import OUT_OF_TIME, check
from verifier.workbench.content_key import ClaimKeys, own_digest
from verifier.workbench.gate_orders import Answer, Decide, Decided, GateTerms, Open, Opened, Order
from verifier.workbench.gate_record import read_record
from verifier.workbench.judge import NOTHING_MORE, PARTS_OF_THE_TIME, Judge, Wishes
from verifier.workbench.rejudging import Rejudging, can_be_rejudged, stored_run
from verifier.workbench.restrictions import IN_DOUBT, restrictions
from verifier.workbench.selection import selected

MOST_SECONDS_A_CHECK = 10.0
TABLE_WIDTH = 80
RECORD_ENGINE = "taken from the record, not judged"
NOT_JUDGED_SETTLED = "settled view: nothing was judged, not even that the circuit settles"


class GateJudging:
    """Carries out orders, one after another. Files stay loaded."""

    def __init__(self, terms: GateTerms) -> None:
        """Raises CallError when the record cannot be read."""
        self._terms = terms
        self._wishes = Wishes(witnesses=True, certificates=True) if terms.keeps_evidence else NOTHING_MORE
        self._loaded: dict[str, tuple[WiringFile, tuple[Design, ...]]] = {}
        self._keys: dict[int, tuple[Design, ClaimKeys]] = {}
        """By identity of the design, which is kept with them."""
        self._known: dict[str, Recorded] = {}
        self._trusted = False
        if terms.against is not None:
            record = read_record(terms.against)
            self._known = record.by_key()
            self._trusted = terms.trust_unchanged and record.intact and record.made_by == own_digest()

    def carry_out(self, order: Order) -> Answer:
        """Raises nothing that is about the file."""
        match order:
            case Open():
                return self._open(order)
            case Decide():
                return self._decide(order)

    # Opening

    def _open(self, order: Open) -> Opened:
        try:
            file, designs = self._designs(order.path)
        except EdgewrightError as error:
            return Opened(path=order.path, troubles=(trouble_of(error),))
        until = time.monotonic() + order.limit
        found: list[CircuitOutcome] = []
        left: list[Decide] = []
        troubles: list[Trouble] = []
        for index, design in enumerate(designs):
            try:
                outcomes = self._recognised(design, until)
            except EdgewrightError as error:
                troubles.append(dataclasses.replace(trouble_of(error), circuit=design.name))
                continue
            pending = tuple(claim for claim in design.claims if claim.name not in outcomes)
            keys = self._keys_of(design)
            stubs = {claim.name: self._outcome(design, keys, _stub(claim), How.JUDGED) for claim in pending}
            found.append(_circuit(design, outcomes | stubs))
            if pending:
                names = tuple(claim.name for claim in pending)
                weight = _weight(design, pending)
                left.append(Decide(path=order.path, circuit=index, name=design.name, claims=names, weight=weight))
        return Opened(
            path=order.path,
            circuits=tuple(found),
            left=tuple(left),
            troubles=tuple(troubles),
            warnings=tuple(warning for warning in file.warnings if designs or warning.code != "no-circuit"),
        )

    def _designs(self, path: str) -> tuple[WiringFile, tuple[Design, ...]]:
        if path not in self._loaded:
            file = load(path, allow_outside=self._terms.allow_outside)
            self._loaded[path] = file, selected(file) if file.designs else ()
        return self._loaded[path]

    def _keys_of(self, design: Design) -> ClaimKeys:
        if id(design) not in self._keys:
            self._keys[id(design)] = design, ClaimKeys(design, self._terms.version)
        return self._keys[id(design)][1]

    def _recognised(self, design: Design, until: float) -> dict[str, ClaimOutcome]:
        """Claims whose content is known, with the verdict that holds of them still.

        Raises SourceError when nothing is permitted, so that every proof would be empty.
        """
        keys = self._keys_of(design)
        known = {claim.name: self._known[key] for claim in design.claims if (key := keys.key(claim)) in self._known}
        found = self._judged_again(design, known, until) if known else {}
        if self._trusted:
            for claim in design.claims:
                if claim.name in known and claim.name not in found:
                    found |= self._believed(design, claim, known[claim.name])
        return found

    def _judged_again(self, design: Design, known: Mapping[str, Recorded], until: float) -> dict[str, ClaimOutcome]:
        """Those of the known claims whose evidence holds."""
        again = [
            claim
            for claim in design.claims
            if claim.name in known and can_be_rejudged(design, claim, known[claim.name])
        ]
        if not again or time.monotonic() >= until:
            return {}
        judge = Judge(
            dataclasses.replace(design, claims=tuple(again)),
            limit_seconds=max(until - time.monotonic(), 0.1) / PARTS_OF_THE_TIME,
            depth=self._terms.depth,
        )  # refuses a circuit under whose givens everything is proved
        keys, rejudging = self._keys_of(design), Rejudging(design, MOST_SECONDS_A_CHECK)
        found: dict[str, ClaimOutcome] = {}
        for claim in judge.design.claims:
            if time.monotonic() >= until:
                break
            started, recorded = time.monotonic(), known[claim.name]
            result = rejudging.result(claim, recorded)
            if result is not None:
                result = dataclasses.replace(result, seconds=time.monotonic() - started)
                found[claim.name] = self._outcome(design, keys, result, How.REJUDGED, judge.doubts, recorded.evidence)
        return found

    def _believed(self, design: Design, claim: Claim, recorded: Recorded) -> dict[str, ClaimOutcome]:
        """A proof taken from the record; nothing where the record has none."""
        if recorded.verdict not in (Verdict.PROVED, Verdict.IMPOSSIBLE):
            return {}
        doubts = tuple(one.words for one in recorded.restrictions if one.subject == IN_DOUBT)
        result = _as_recorded(claim, recorded)
        keys = self._keys_of(design)
        return {claim.name: self._outcome(design, keys, result, How.TRUSTED, doubts, recorded.evidence)}

    # Deciding

    def _decide(self, order: Decide) -> Decided:
        try:
            design = self._designs(order.path)[1][order.circuit]
            claims, doubts = self._decided(design, order)
        except EdgewrightError as error:
            return Decided(order=order, troubles=(dataclasses.replace(trouble_of(error), circuit=order.name),))
        keys = self._keys_of(design)
        outcomes = tuple(self._outcome(design, keys, result, How.JUDGED, doubts) for result in claims)
        return Decided(order=order, claims=outcomes)

    def _decided(self, design: Design, order: Decide) -> tuple[tuple[ClaimResult, ...], tuple[str, ...]]:
        """The results, and doubts that are not among the assumptions of the design."""
        narrowed = dataclasses.replace(
            design, claims=tuple(claim for claim in design.claims if claim.name in order.claims)
        )
        as_written = next(one for one in self._designs(order.path)[0].designs if one.name == design.name)
        try:
            result = check(
                WiringFile(order.path, (as_written,)),  # `check` adds the claims about figures itself
                claim=order.claims,
                limit=order.limit,
                depth=self._terms.depth,
                processes=0,
                wishes=self._wishes,
            )
        except SourceError:
            # The whole circuit may do without its settled view; the claims that are left of it may not.
            if not _only_always_there(narrowed) or len(narrowed.claims) == len(design.claims):
                raise
            return (), (NOT_JUDGED_SETTLED,)
        (of_design,) = result.designs
        said = set(assumptions(narrowed))
        return of_design.claims, tuple(text for text in of_design.assumes if text not in said)

    # Outcomes

    def _outcome(
        self,
        design: Design,
        keys: ClaimKeys,
        result: ClaimResult,
        how: How,
        doubts: Sequence[str] = (),
        evidence: Evidence | None = None,
    ) -> ClaimOutcome:
        claim = result.claim
        about = dataclasses.replace(
            design,
            claims=(claim,),
            givens=tuple(given for given in design.givens if restricts(given, claim.view)),
        )
        whole = DesignResult(design=about, claims=(result,), assumes=(*assumptions(about), *doubts))
        (circuit,) = verdict_record(self._terms.version, [whole])["circuits"]
        shows = result.verdict is Verdict.BROKEN or (result.verdict is Verdict.SHOWN and not result.as_expected)
        if evidence is None:
            evidence = _evidence(whole, result) if self._terms.keeps_evidence else Evidence()
        return ClaimOutcome(
            recorded=Recorded(
                claim=claim.name,
                kind=claim.kind.value,
                view=claim.view.value,
                says=claim.text,
                stated=claim.text if claim.kind is ClaimKind.ALWAYS_THERE else worded(claim.formula),
                key=keys.key(claim),
                verdict=result.verdict,
                empty=result.empty,
                measured=None if result.measured is None else _number(design, claim, result.measured),
                restrictions=restrictions(design, claim, doubts),
                evidence=evidence,
            ),
            expected=result.expected,
            how=how,
            reason=result.reason,
            span=claim.span or design.span,
            tells=plain_text(run_lines(design, result, width=TABLE_WIDTH)) if shows else "",
            record=circuit["claims"][0] | {"how": how.value, "key": keys.key(claim)},
        )


def trouble_of(error: EdgewrightError) -> Trouble:
    """What a file's error comes to."""
    match error:
        case SourceError(diagnostics=findings):
            return Trouble(kind=TroubleKind.INPUT, text=str(error), findings=findings)
        case InternalDisagreement():
            return Trouble(kind=TroubleKind.DISAGREEMENT, text=str(error))
        case CallError(hint=hint):
            return Trouble(kind=TroubleKind.INPUT, text=str(error), hint=hint)
        case _:
            return Trouble(kind=TroubleKind.FAILURE, text=f"{type(error).__name__}: {error}")


def _circuit(design: Design, outcomes: dict[str, ClaimOutcome]) -> CircuitOutcome:
    claims = tuple(outcomes[claim.name] for claim in design.claims if claim.name in outcomes)
    return CircuitOutcome(name=design.name, file=design.file, claims=claims, span=design.span)


def _stub(claim: Claim) -> ClaimResult:
    return ClaimResult(claim=claim, verdict=Verdict.UNDECIDED, engine="none", seconds=0.0, reason=OUT_OF_TIME)


def _as_recorded(claim: Claim, recorded: Recorded) -> ClaimResult:
    number = recorded.measured
    measured = None
    if number is not None:
        measured = Measured(value=number.value, unit=number.unit, beyond=number.beyond, run=None, of=number.of)
    return ClaimResult(
        claim=claim,
        verdict=Verdict.IMPOSSIBLE if claim.kind is ClaimKind.CAN else Verdict.PROVED,
        engine=RECORD_ENGINE,
        seconds=0.0,
        empty=recorded.empty,
        measured=measured,
    )


def _evidence(whole: DesignResult, result: ClaimResult) -> Evidence:
    proof = ""
    if result.invariant is not None and result.certified is not None:
        proof = certificate_text(
            result.certified, result.invariant, certificate_header(whole, result, result.certified)
        )
    measured = result.measured
    return Evidence(
        proof=proof,
        run=stored_run(result.run),
        witness=stored_run(result.witness) if proof else None,
        beyond=None if measured is None else stored_run(measured.run),
    )


def _number(design: Design, claim: Claim, measured: Measured) -> Number:
    """With the side on which the better numbers lie: where the claim asks more, or the world is asked less."""
    if asked_bound(claim.formula) is not None:
        smaller = growing(claim.formula) is Growing.MORE
    else:
        asked = [growing(given.formula) for given in design.givens if restricts(given, claim.view)]
        smaller = Growing.MORE not in asked
    return Number(
        value=measured.value,
        unit=measured.unit,
        beyond=measured.beyond,
        of=measured.of,
        smaller_is_better=smaller,
    )


def _only_always_there(design: Design) -> bool:
    return all(claim.kind is ClaimKind.ALWAYS_THERE and claim.view is View.SETTLED for claim in design.claims)


def _weight(design: Design, pending: Iterable[Claim]) -> int:
    """A rough order: claims about time first of all, then the size of the circuit."""
    parts = len(design.netlist.drivers)
    return sum(100 * parts if claim.view is View.TIMED else parts for claim in pending)
