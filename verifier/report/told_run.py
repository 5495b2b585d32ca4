"""A run that a verdict comes with, and the words it is introduced by: the same in tables, diagrams, pages and files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from verifier.claims.claim import Claim, ClaimKind, Design, View
from verifier.claims.formula import Settles
from verifier.claims.lasso_meaning import first_failure
from verifier.claims.run import Run
from verifier.claims.trigger import trigger_claim
from verifier.evidence.verdict import ClaimResult, Verdict
from verifier.report.breach import what_happened
from verifier.report.changes import moment
from verifier.report.measured import amount, text_at
from verifier.report.pieces import clean
from verifier.report.signals import Shown, shown_signals
from verifier.report.wording import worded

if TYPE_CHECKING:
    from verifier.report.wave_layout import Mark, WaveDiagram

ALWAYS_SETTLES = {
    View.SETTLED: "no power-up and no step is a race or oscillates",
    View.ANY_DELAY: "after power-up and after each input change it comes to rest, and in one state alone",
    View.TIMED: "after power-up and after each input change it comes to rest",
}
IT_HAPPENS = "it happens"


@dataclass(frozen=True, kw_only=True)
class ToldRun:
    design: Design
    claim: Claim
    """What the last instant breaks or shows; for a trigger, that it happens."""
    run: Run
    title: str
    says: str
    """The claim as it is put below the title."""
    word: str
    """What the run does to the claim: `broken`, `shown`, `it happens`."""

    @property
    def headline(self) -> str:
        """`broken at step 4`; about an endless run without a place, as all of it counts."""
        return self.word + (f" at {moment(self.run, len(self.run) - 1)}" if self.run.loop_from is None else "")

    @property
    def signals(self) -> tuple[Shown, ...]:
        return shown_signals(self.design.netlist, self.claim)

    def marks(self) -> tuple[Mark, ...]:
        """The instant at which it happens; on an endless run that breaks a claim, the one whose future breaks it."""
        from verifier.report.wave_layout import Mark

        if self.run.loop_from is None:
            return (Mark(instant=len(self.run) - 1, text=self.headline),)
        fails_at = None if self.claim.kind is ClaimKind.CAN else first_failure(self.claim.formula, self.run)
        if fails_at is None or fails_at >= len(self.run):
            return ()
        return (Mark(instant=fails_at, text=f"{self.word} by what begins at {moment(self.run, fails_at)}"),)

    def happened(self) -> str:
        """What happens at the last instant, or on the endless run: one sentence without a full stop."""
        return clean(what_happened(self.claim, self.run, self.design.netlist))

    def diagram(self) -> WaveDiagram:
        from verifier.report.wave_layout import wave_diagram

        return wave_diagram(
            self.design.netlist, self.run, self.signals, title=self.title, view=self.claim.view, marks=self.marks()
        )


def in_view(view: View) -> str:
    """Where the claim was judged, with a space in front; empty for the view that goes without saying."""
    return "" if view is View.SETTLED else f" in {view.value} view"


def run_of_verdict(design: Design, result: ClaimResult) -> ToldRun | None:
    """The run that breaks or shows the claim; for a proved claim with a `?`, the one that breaks the next number."""
    claim, word, run, measured = result.claim, result.verdict, result.run, result.measured
    title = f"{clean(design.name)}: {clean(claim.name)} is {word.value}"
    if run is None and measured is not None and measured.beyond is not None:
        word, run = Verdict.BROKEN, measured.run
        with_number = f" with {measured.of} at" if measured.of else " at"
        title += f"{with_number} {amount(measured.value, measured.unit)}{in_view(claim.view)}"
        title += f"; at {amount(measured.beyond, measured.unit)} it is broken"
    else:
        title += in_view(claim.view)
    if run is None:
        return None
    says = as_claimed(claim)
    if measured is not None and measured.beyond is not None and not measured.of:
        says = text_at(says, measured.beyond)
    return ToldRun(design=design, claim=claim, run=run, title=title, says=says, word=word.value)


def run_of_trigger(design: Design, result: ClaimResult) -> ToldRun | None:
    """The run that shows that the trigger of a claim can happen."""
    claim = trigger_claim(result.claim)
    if result.witness is None or claim is None:
        return None
    title = f"{clean(design.name)}: the trigger of {clean(claim.name)} can happen{in_view(claim.view)}"
    says = clean(worded(claim.formula))
    return ToldRun(design=design, claim=claim, run=result.witness, title=title, says=says, word=IT_HAPPENS)


def as_claimed(claim: Claim) -> str:
    """The kind of the claim and its text; for `settles`, what that means in its view."""
    if claim.kind is ClaimKind.ALWAYS_THERE:
        return (
            f"always there: {ALWAYS_SETTLES[claim.view] if isinstance(claim.formula, Settles) else clean(claim.text)}"
        )
    return f"{claim.kind.value} {clean(claim.text)}"
