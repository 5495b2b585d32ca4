"""The page that `faults` prints: the share noticed, then kind by kind, then each fault that nobody would notice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

from verifier.circuit.fault import FaultKind, Technology
from verifier.circuit.faulty import faulty
from verifier.circuit.netlist import Output
from verifier.claims.claim import Design
from verifier.claims.run import Run
from verifier.evidence.fault_outcome import (
    CampaignResult,
    CircuitCampaign,
    FaultOutcome,
    JudgedFault,
    Noticed,
    Standing,
)
from verifier.evidence.telling import Telling
from verifier.evidence.verdict import Verdict
from verifier.report.breach import what_happened
from verifier.report.pieces import Line, Piece, Tone, clean, line, listing, paragraph
from verifier.report.signals import Shown, level, shown_signals
from verifier.report.table import run_table
from verifier.report.verdicts import CAUTION, circuit_heading

TONES = {
    Standing.NOTICED: Tone.GOOD,
    Standing.HARMLESS: Tone.PLAIN,
    Standing.UNNOTICED: Tone.BAD,
    Standing.UNDECIDED: Tone.DOUBTFUL,
}
OPEN_PINS = {
    Technology.TTL: "TTL: an open pin reads high, and of two shorted outputs the low one wins (common practice)",
    Technology.CMOS: "CMOS: an open pin, and two shorted wires that differ, may read either value at any time",
}
NO_SUGGESTION = (
    "none of the claims that were tried notices it and is proved on the good circuit; one of another shape may"
)
MARGIN = "    "
BAR_WIDTH = 20


def progress_told(done: int, total: int, noticed: int) -> str:
    """A bar, how many faults are judged, and how many of them are noticed."""
    filled = BAR_WIDTH * done // max(total, 1)
    return f"[{'#' * filled}{'.' * (BAR_WIDTH - filled)}] {done} of {total} distinct faults judged, {noticed} noticed"


class FaultsPage:
    def __init__(self, *, width: int, every_table: bool) -> None:
        self._width = width
        self._every_table = every_table

    def lines(self, result: CampaignResult, *, resume: str | None = None) -> list[Line]:
        found: list[Line] = []
        for campaign in result.circuits:
            found += [circuit_heading(campaign.design), *self._summary(campaign), line()]
        for campaign in result.circuits:
            found += self._details(campaign)
        return [*found, *self._footer(result, resume)]

    # The answer

    def _summary(self, campaign: CircuitCampaign) -> list[Line]:
        count = _count(campaign.judged)
        total = sum(count.values())
        tone = Tone.BAD if count[Standing.UNNOTICED] else Tone.DOUBTFUL if count[Standing.UNDECIDED] else Tone.GOOD
        told = self._paragraph(clean(_summary_told(campaign, count, total)), first="  ", tone=tone)
        if not campaign.judged:
            return told
        return [*told, line(), *_kinds_table(campaign), *self._claims_table(campaign), *self._not_asked(campaign)]

    def _claims_table(self, campaign: CircuitCampaign) -> list[Line]:
        noticing = Counter(
            one.outcome.noticed.claim
            for one in campaign.judged
            if one.outcome.noticed is not None
            for _ in one.fault.faults
        )
        names = [claim.name for claim in campaign.design.claims]
        if not names:
            return [line(), *self._paragraph("no claim was asked", first="  ", tone=Tone.DOUBTFUL)]
        wide = max(len(clean(name)) for name in names)
        rows = [line("  ", Piece("noticed first by", Tone.HEADING))]
        rows += [line(f"    {clean(name).ljust(wide)}  {noticing[name]:>5}") for name in names if noticing[name]]
        silent = [clean(name) for name in names if not noticing[name]]
        if silent:
            rows += self._paragraph(f"never the first: {listing(silent)}", first="    ", tone=Tone.QUIET)
        return [line(), *rows]

    def _not_asked(self, campaign: CircuitCampaign) -> list[Line]:
        reasons: dict[str, list[str]] = {}
        for name, why in campaign.left_out:
            reasons.setdefault(why, []).append(clean(name))
        found: list[Line] = []
        for why, names in reasons.items():
            found += self._paragraph(f"not asked, as {why}: {', '.join(names)}", first="  ", then="    ")
        return [line(), *found] if found else []

    # Fault by fault

    def _details(self, campaign: CircuitCampaign) -> list[Line]:
        """Unnoticed faults that one claim would notice share a table, unless every table is asked for."""
        found: list[Line] = []
        wanted = [Standing.UNNOTICED, Standing.UNDECIDED]
        if self._every_table:
            wanted += [Standing.HARMLESS, Standing.NOTICED]
        for standing in wanted:
            judged = campaign.with_standing(standing)
            for one, *others in [[one] for one in judged] if self._every_table else _with_one_suggestion(judged):
                found += [*self._fault(campaign, one), *self._noticed_alike(others), line()]
        return found

    def _noticed_alike(self, others: Sequence[JudgedFault]) -> list[Line]:
        if not others:
            return []
        lead = "it also notices (--fault NAME or --all shows the steps):"
        names = [clean(_with_its_like(one)) for one in others]
        listed = [row for name in names for row in self._paragraph(name, first=MARGIN + "  ", then=MARGIN + "      ")]
        return [*self._paragraph(lead), *listed]

    def _fault(self, campaign: CircuitCampaign, one: JudgedFault) -> list[Line]:
        standing = one.outcome.standing
        name = f"{campaign.design.name}: {one.fault.representative.name}"
        heading = paragraph(
            clean(name),
            width=self._width,
            first=f"{standing.value}  ",
            then=" " * (len(standing.value) + 2),
            tone=TONES[standing],
        )
        others = [clean(fault.name) for fault in one.fault.faults[1:]]
        alike = f"nothing tells it from: {'; '.join(others)}"
        return [
            *heading,
            *(self._paragraph(alike, tone=Tone.QUIET) if others else []),
            *self._evidence(campaign.design, one),
        ]

    def _evidence(self, good: Design, one: JudgedFault) -> list[Line]:
        outcome = one.outcome
        if outcome.noticed is not None:
            return self._noticed(good, one, outcome.noticed)
        if outcome.telling is not None:
            return self._telling(good, one, outcome, outcome.telling)
        if outcome.standing is Standing.HARMLESS:
            proved = f"proved: the outputs show nothing that the good circuit cannot show ({clean(outcome.reason)})"
            return self._paragraph(proved)
        return self._paragraph(clean(outcome.reason))

    def _noticed(self, good: Design, one: JudgedFault, noticed: Noticed) -> list[Line]:
        claim = next(claim for claim in good.claims if claim.name == noticed.claim)
        was = Verdict.IMPOSSIBLE if noticed.verdict is Verdict.SHOWN else None
        before = was or (Verdict.SHOWN if noticed.verdict is Verdict.IMPOSSIBLE else Verdict.PROVED)
        told = self._paragraph(f"{clean(claim.name)}, {before.value} on the good circuit, is {noticed.verdict.value}")
        if noticed.run is None:
            return told
        netlist = faulty(good.netlist, one.fault.representative)
        signals = shown_signals(netlist, claim)
        what = f"step {len(noticed.run) - 1}: {clean(what_happened(claim, noticed.run, netlist))}"
        table = run_table(netlist, noticed.run, signals, width=self._width)
        return [*told, line(), *table, line(), *self._paragraph(what, tone=Tone.BAD)]

    def _telling(self, good: Design, one: JudgedFault, outcome: FaultOutcome, telling: Telling) -> list[Line]:
        """The run of the faulty circuit, with what the good one shows beside it."""
        netlist = faulty(good.netlist, one.fault.representative)
        ahead = len(netlist.nets)
        beside = [
            Shown(name=f"good {pin.name}", nets=tuple(ahead + net for net in pin.nets)) for pin in good.netlist.outputs
        ]
        pairs = zip(telling.run.instants, telling.good, strict=True)
        both = Run(tuple((*faulty_one, *good_one) for faulty_one, good_one in pairs), telling.run.events)
        table = run_table(netlist, both, [*shown_signals(netlist), *beside], width=self._width)
        differing = [
            f"{clean(pin.name)} is {_shown_at(both, pin)} and on the good circuit {_shown_at(both, good_pin)}"
            for pin, good_pin in zip(_outputs(good, netlist.outputs), beside, strict=True)
            if _shown_at(both, pin) != _shown_at(both, good_pin)
        ]
        step = f"step {len(both) - 1}" if len(both) > 1 else "power-up"
        several = "; it may show other things there too, but never this" if telling.good_ways > 1 else ""
        told = self._paragraph(f"no claim notices it, yet at {step} {listing(differing)}{several}", tone=Tone.BAD)
        return [line(), *table, line(), *told, *self._advice(outcome)]

    def _advice(self, outcome: FaultOutcome) -> list[Line]:
        if outcome.suggestion:
            text = f"must say_it: {outcome.suggestion}"
            lead = "a claim that notices it (proved on the good circuit, broken by these steps):"
            return [*self._paragraph(lead), *self._paragraph(clean(text), first=MARGIN + "  ", then=MARGIN + "      ")]
        return self._paragraph(NO_SUGGESTION, tone=Tone.QUIET)

    # The end

    def _footer(self, result: CampaignResult, resume: str | None) -> list[Line]:
        notes: list[str] = []
        if result.interrupted:
            on = " (the same call with the same --resume goes on)" if resume else " (with --resume PATH it could go on)"
            notes.append(f"interrupted: faults were left unjudged{on}")
        resumed = sum(campaign.resumed for campaign in result.circuits)
        if resumed:
            notes.append(f"{resumed} judged in an earlier call")
        notes.append(OPEN_PINS[result.technology])
        notes.append("one fault at a time, in the settled view")
        notes.append("faults that nothing can tell apart are judged once and counted each")
        return [
            line(Piece("These outcomes rest on:", Tone.HEADING)),
            *(row for note in notes for row in paragraph(note, width=self._width, first="  - ", then="    ")),
            line(),
            *paragraph(CAUTION, width=self._width, tone=Tone.QUIET),
        ]

    def _paragraph(
        self, text: str, *, first: str = MARGIN, then: str | None = None, tone: Tone = Tone.PLAIN
    ) -> list[Line]:
        return paragraph(text, width=self._width, first=first, then=first if then is None else then, tone=tone)


def _with_one_suggestion(judged: Sequence[JudgedFault]) -> list[list[JudgedFault]]:
    """In the order of the first of each; a fault without a suggestion stays alone."""
    groups: dict[str, list[JudgedFault]] = {}
    for one in judged:
        groups.setdefault(one.outcome.suggestion or f"none for {one.fault.representative.name}", []).append(one)
    return list(groups.values())


def _with_its_like(one: JudgedFault) -> str:
    """`beat: output stuck low, and 2 that nothing tells from it`."""
    others = len(one.fault.faults) - 1
    return one.fault.representative.name + (f", and {others} that nothing tells from it" if others else "")


def _summary_told(campaign: CircuitCampaign, count: Counter[Standing], total: int) -> str:
    listed = sum(len(one.faults) for one in campaign.faults)
    if not campaign.faults:
        return "no faults of the kinds asked for"
    share = f" ({100 * count[Standing.NOTICED] // total} %)" if total else ""
    parts = [f"{count[Standing.NOTICED]} of {total} faults noticed{share}"]
    parts += [f"{count[standing]} {standing.value}" for standing in list(Standing)[1:] if count[standing]]
    parts += [f"{listed - total} not judged"] if listed > total else []
    return ", ".join(parts)


def _count(judged: Sequence[JudgedFault], counts: Callable[[FaultKind], bool] = lambda _: True) -> Counter[Standing]:
    """Each fault by itself, also where nothing tells it from another."""
    return Counter(one.outcome.standing for one in judged for fault in one.fault.faults if counts(fault.kind))


def _kinds_table(campaign: CircuitCampaign) -> list[Line]:
    standings = [Standing.NOTICED, Standing.HARMLESS, Standing.UNNOTICED, Standing.UNDECIDED]
    headings = ["faults", *(standing.value for standing in standings)]
    wide = max(len(kind.value) for kind in FaultKind)
    rows = [
        line("  ", Piece("  ".join(["kind".ljust(wide), *(f"{heading:>9}" for heading in headings)]), Tone.HEADING))
    ]
    for kind in FaultKind:
        count = _count(campaign.judged, lambda other, kind=kind: other is kind)  # type: ignore[misc]
        numbers = [sum(count.values()), *(count[standing] for standing in standings)]
        if numbers[0]:
            cells = [Piece("  " + f"{number or '-':>9}") for number in numbers]
            rows.append(line("  ", kind.value.ljust(wide), *cells))
    return rows


def _outputs(good: Design, outputs: Sequence[Output]) -> list[Shown]:
    """The outputs of the faulty circuit, in the order of the good one's."""
    nets = {pin.name: pin.nets for pin in outputs}
    return [Shown(name=pin.name, nets=nets[pin.name]) for pin in good.netlist.outputs]


def _shown_at(run: Run, shown: Shown) -> str:
    return level(shown, shown.value(run.instants[-1]))
