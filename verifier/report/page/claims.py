"""What was found of one claim: the sentence, the run to step through, or the proof."""

from __future__ import annotations

from dataclasses import dataclass, field

from verifier.claims.claim import Design
from verifier.evidence.verdict import ClaimResult, DesignResult, Verdict
from verifier.report.measured import amount, tightest
from verifier.report.page.content import Proof
from verifier.report.page.markup import Markup, element, joined
from verifier.report.page.names import badge, claim_id, in_words, view_told
from verifier.report.page.runs import PageRun, page_run
from verifier.report.page.viewer import viewer
from verifier.report.page.widths import measured_width
from verifier.report.told_run import ToldRun, as_claimed, run_of_verdict

STEP_ALONE = (
    "It follows from one step alone: whatever state the circuit is in, reachable or not, no permitted step and no "
    "first instant goes against it."
)
TOO_LONG = 10_000
"""Instants in a run beyond which it is not put on the page."""


@dataclass
class Runs:
    """The runs that the page shows, as they are met."""

    known: list[PageRun] = field(default_factory=list)

    def add(self, run: PageRun) -> PageRun:
        self.known.append(run)
        return run


def claim_article(
    result: DesignResult, circuit: int, place: int, proof: Proof | None, runs: Runs, drawing: str | None
) -> Markup:
    judged = result.claims[place]
    claim = judged.claim
    identity = claim_id(circuit, place)
    told = [part for part in (view_told(claim), in_words(judged)) if part]
    return element(
        "article",
        element(
            "h3",
            badge(judged.verdict),
            " ",
            element("span", claim.name, class_="name"),
            element("span", f" {'; '.join(told)}", class_="quiet") if told else None,
            id=f"{identity}-title",
        ),
        element("p", as_claimed(claim), class_="claim-text"),
        _body(result.design, judged, identity, proof, runs, drawing),
        id=identity,
        class_=f"claim {judged.verdict.value}",
        aria_labelledby=f"{identity}-title",
    )


def _body(
    design: Design, judged: ClaimResult, identity: str, proof: Proof | None, runs: Runs, drawing: str | None
) -> Markup:
    told = run_of_verdict(design, judged)
    if told is not None and judged.run is not None:
        return _with_run(judged, told, identity, runs, drawing)
    if judged.verdict is Verdict.UNDECIDED:
        return element("p", judged.reason or "No reason was given.")
    return joined(_measured(judged, told, identity, runs, drawing), _proof(judged, proof))


def _with_run(judged: ClaimResult, told: ToldRun, identity: str, runs: Runs, drawing: str | None) -> Markup:
    happened = element("p", element("strong", f"{told.headline}: "), told.happened(), class_="happened")
    if len(told.run) > TOO_LONG:
        return joined(happened, element("p", f"The run has {len(told.run)} instants, too many for a page."))
    shown = runs.add(page_run(f"{identity}-run", f"{told.design.name}, {told.claim.name}", told))
    body = viewer(shown, drawing)
    if judged.verdict is Verdict.BROKEN:
        return joined(happened, body)
    return element("details", element("summary", f"The run: {told.headline}"), happened, body, class_="more")


def _measured(
    judged: ClaimResult, told: ToldRun | None, identity: str, runs: Runs, drawing: str | None
) -> Markup | None:
    """The number; where another number breaks the claim, the run that does, with the width that it measures."""
    measured, claim = judged.measured, judged.claim
    if measured is None:
        return None
    number = element("p", element("strong", tightest(measured, claim)), class_="number")
    if told is None or measured.beyond is None or len(told.run) > TOO_LONG:
        return number
    beyond = amount(measured.beyond, measured.unit)
    width = None if measured.of else measured_width(claim, told.run, told.design.netlist)
    text = f"At {beyond} it is broken"
    if width is not None:
        text += f": the run below measures {width.text}, which is marked"
    text += f". At its end: {told.happened()}."
    shown = runs.add(
        page_run(f"{identity}-bound", f"{told.design.name}, {claim.name} at {beyond}", told, f"here {beyond} is broken")
    )
    return joined(number, element("p", text, class_="happened"), viewer(shown, drawing, width))


def _proof(judged: ClaimResult, proof: Proof | None) -> Markup:
    lines: list[Markup] = []
    if judged.empty:
        lines.append(element("p", "It asks for nothing: its trigger can never happen."))
    if proof is not None:
        lines += _invariant(proof)
    if judged.states is not None:
        lines.append(element("p", f"All {judged.states} reachable states were looked at, twice."))
    lines.append(
        element(
            "p",
            f"Decided by {judged.engine} in {judged.seconds:.2f} s, under ",
            element("a", "these assumptions", href="#rests-on"),
            ".",
            class_="quiet",
        )
    )
    why = "Why it holds" if judged.verdict is Verdict.PROVED else f"Why it is {judged.verdict.value}"
    return element("details", element("summary", why), lines, class_="more")


def _invariant(proof: Proof) -> list[Markup]:
    lines = []
    if proof.alone:
        lines.append(element("p", STEP_ALONE))
    if proof.sentences:
        lines.append(element("p", "At every instant of every permitted run:"))
        lines.append(element("ul", (element("li", sentence) for sentence in proof.sentences), class_="invariant"))
    return [*lines, *(element("p", note) for note in proof.notes)]
