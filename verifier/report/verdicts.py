"""The page that `check` prints: verdicts first, one line a claim; then the runs; last the sums and what they rest on.

Lines only. The order in which they are printed, and when, is the caller's business, so that a terminal can show each
verdict as it comes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from verifier.circuit.loops import components
from verifier.circuit.netlist import FlipFlop, Gate, Latch, NetId, Netlist, SetReset
from verifier.claims.claim import Claim, ClaimKind, Design, View
from verifier.claims.run import Run
from verifier.evidence.verdict import ClaimResult, DesignResult, Trigger, Verdict
from verifier.report.measured import tightest
from verifier.report.pieces import Line, Piece, Tone, clean, line, listing, paragraph
from verifier.report.shown_run import RunStyle, shown_run
from verifier.report.told_run import IT_HAPPENS, ToldRun, in_view, run_of_trigger, run_of_verdict

CAUTION = (
    "A proof speaks of the model: the parts as described, the inputs as assumed. "
    "It is no safety certification; what can hurt needs independent review first."
)
VERDICT_WIDTH = max(len(verdict.value) for verdict in Verdict)

TRIGGER_TOLD = {
    Trigger.NONE: "no trigger: it asks at every instant",
    Trigger.HAPPENS: "its trigger can happen",
    Trigger.NEVER: "its trigger can never happen",
    Trigger.OPEN: "whether its trigger can happen was not found out",
}

TONES = {
    Verdict.PROVED: Tone.GOOD,
    Verdict.SHOWN: Tone.GOOD,
    Verdict.BROKEN: Tone.BAD,
    Verdict.IMPOSSIBLE: Tone.BAD,
    Verdict.UNDECIDED: Tone.DOUBTFUL,
}


def circuit_heading(design: Design) -> Line:
    fits = f", fits {clean(design.contract)}" if design.contract else ""
    return line(Piece(clean(design.name), Tone.HEADING), fits, Piece(f"  ({clean(design.file)})", Tone.QUIET))


def claim_lines(result: ClaimResult, *, name_width: int, width: int, triggers: bool = False) -> list[Line]:
    """The verdict on one claim; an undecided one says why, and how long it was worked on.

    With `triggers`, also what is known of its trigger.
    """
    verdict = Piece(result.verdict.value.ljust(VERDICT_WIDTH), TONES[result.verdict])
    name = clean(result.claim.name).ljust(name_width)
    rest = [Piece("  " + text, tone) for text, tone in _remarks(result)]
    if triggers and result.trigger is not None and not result.empty:
        rest.append(Piece(f"  ({TRIGGER_TOLD[result.trigger]})", Tone.QUIET))
    lines = [line("  ", verdict, "  ", name, *rest)]
    if result.reason:
        margin = " " * (4 + VERDICT_WIDTH)
        lines += paragraph(clean(result.reason), width=width, first=margin, then=margin, tone=Tone.QUIET)
    return lines


def _remarks(result: ClaimResult) -> list[tuple[str, Tone]]:
    remarks: list[tuple[str, Tone]] = []
    if result.claim.view is not View.SETTLED:
        remarks.append((in_view(result.claim.view).strip(), Tone.QUIET))
    if result.measured is not None:
        remarks.append((tightest(result.measured, result.claim), Tone.PLAIN))
    if result.empty:
        remarks.append(("(empty: its trigger can never happen)", Tone.DOUBTFUL))
    if result.verdict is Verdict.UNDECIDED:
        return [*remarks, (f"after {result.seconds:.1f} s", Tone.QUIET)]
    if not result.as_expected:
        remarks.append((f"NOT AS EXPECTED: should be {result.expected.value}", Tone.BAD))
    elif result.claim.expected_to_break:
        remarks.append(("as expected", Tone.PLAIN))
    return remarks


def not_judged_line(claim: Claim, *, name_width: int) -> Line:
    """A claim that an interrupted judging never came to an end with."""
    verdict = Piece("-".ljust(VERDICT_WIDTH), Tone.DOUBTFUL)
    where = in_view(claim.view).strip()
    told = f"  {where}  not judged" if where else "  not judged"
    return line("  ", verdict, "  ", clean(claim.name).ljust(name_width), told)


def run_lines(design: Design, result: ClaimResult, *, width: int, style: RunStyle = RunStyle.TABLE) -> list[Line]:
    """The run that breaks or shows a claim: title, claim, table or diagram, what happened, how the parts powered up.

    For a proved claim with a `?`, the run that breaks the next number.
    """
    told = run_of_verdict(design, result)
    return [] if told is None else _told_run(told, width, style)


def witness_lines(design: Design, result: ClaimResult, *, width: int, style: RunStyle = RunStyle.TABLE) -> list[Line]:
    """The run that shows that the trigger of a claim can happen."""
    told = run_of_trigger(design, result)
    return [] if told is None else _told_run(told, width, style)


def _told_run(told: ToldRun, width: int, style: RunStyle) -> list[Line]:
    shown = shown_run(
        told.design.netlist,
        told.run,
        told.signals,
        style=style,
        width=width,
        view=told.claim.view,
        marks=() if style is RunStyle.TABLE else told.marks(),
    )
    tone = Tone.GOOD if told.word == IT_HAPPENS else TONES[Verdict(told.word)]
    happened = f"{told.headline}: {told.happened()}"
    shows = {signal.name for signal in told.signals}
    return [
        *paragraph(told.title, width=width, then="  ", tone=Tone.HEADING),
        *paragraph(told.says, width=width, first="  ", then="      ", tone=Tone.QUIET),
        line(),
        *shown,
        line(),
        *paragraph(happened, width=width, first="    ", then="    ", tone=tone),
        *power_up_lines(told.design, told.run, claim_shows=shows, width=width),
    ]


def power_up_lines(design: Design, run: Run, *, claim_shows: set[str], width: int) -> list[Line]:
    """Values that the circuit happened to power up with and that no column shows."""
    netlist = design.netlist
    values = [
        f"{netlist.nets[net].name} {int(run.instants[0][net])}"
        for net in free_at_power_up(netlist)
        if netlist.nets[net].name not in claim_shows
    ]
    if not values:
        return []
    text = clean("it powered up with " + ", ".join(values))
    return paragraph(text, width=width, first="    ", then="      ", tone=Tone.QUIET)


def free_at_power_up(netlist: Netlist) -> list[NetId]:
    """Named nets whose first value the file leaves open: storage of unknown start, and gates in loops."""
    looped = {member.output for part in components(netlist) if part.is_loop for member in part.members}
    storage = (FlipFlop, Latch, SetReset)
    return [
        net
        for net, driver in sorted(netlist.drivers.items())
        if driver.start is None
        and not netlist.nets[net].anonymous
        and (isinstance(driver, storage) or (isinstance(driver, Gate) and net in looped))
    ]


def summary_lines(
    results: Sequence[DesignResult], refused: Sequence[Design], unclaimed: Sequence[str] = (), *, width: int
) -> list[Line]:
    """The sums; the circuits that errors say nothing can be judged about; and those that nothing was claimed about."""
    lines = [summary_line(results)]
    if refused:
        names = listing([clean(design.name) for design in refused])
        why = f"NOT judged, for the error{'s' if len(refused) > 1 else ''} reported: {names}"
        lines += paragraph(why, width=width, tone=Tone.BAD)
    if unclaimed:
        names = listing([clean(name) for name in unclaimed])
        why = f"no claim is written for {names}: only what is asked of every circuit was judged"
        lines += paragraph(why, width=width, tone=Tone.DOUBTFUL)
    return lines


def unclaimed(designs: Sequence[Design], results: Sequence[DesignResult]) -> list[str]:
    """The names of the judged circuits for which the file has no claim; `designs` are as the file has them."""
    judged = {(result.design.file, result.design.name) for result in results}
    return [
        design.name
        for design in designs
        if (design.file, design.name) in judged and all(claim.kind is ClaimKind.ALWAYS_THERE for claim in design.claims)
    ]


def summary_line(results: Sequence[DesignResult]) -> Line:
    """How many verdicts of each kind, and how many are not as expected."""
    claims = [claim for result in results for claim in result.claims]
    counts = Counter(claim.verdict for claim in claims)
    counted = ", ".join(f"{counts[verdict]} {verdict.value}" for verdict in Verdict if counts[verdict])
    surprises = sum(not claim.as_expected and claim.verdict is not Verdict.UNDECIDED for claim in claims)
    open_count = counts[Verdict.UNDECIDED]
    if any(result.interrupted for result in results):
        end = Piece("interrupted: not every claim was judged", Tone.DOUBTFUL)
    elif surprises:
        end = Piece(f"{surprises} NOT AS EXPECTED", Tone.BAD)
    elif open_count:
        end = Piece(f"{open_count} without an answer, the others as expected", Tone.DOUBTFUL)
    else:
        end = Piece("all as expected", Tone.GOOD)
    return line(f"{counted or 'nothing judged'}: ", end)


def footer_lines(results: Sequence[DesignResult], *, width: int) -> list[Line]:
    """What the verdicts rest on: once for all where the circuits agree, by name where they differ. Then the caution."""
    shared = (
        [text for text in results[0].assumes if all(text in result.assumes for result in results)] if results else []
    )
    lines = [line(Piece("These verdicts rest on:", Tone.HEADING))] if results else []
    for text in shared:
        lines += paragraph(clean(text), width=width, first="  - ", then="    ")
    for result in results:
        for text in result.assumes:
            if text not in shared:
                name = clean(result.design.name)
                lines += paragraph(f"{name}: {clean(text)}", width=width, first="  - ", then="    ")
    return [*lines, line(), *paragraph(CAUTION, width=width)]
