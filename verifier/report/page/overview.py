"""The top of the page: the answer in one line, then everything asked and found in one table, and what it rests on."""

from __future__ import annotations

from collections.abc import Sequence

from verifier.claims.claim import Claim, View
from verifier.evidence.verdict import ClaimResult, DesignResult
from verifier.report.measured import tightest_in_short
from verifier.report.page.content import Content
from verifier.report.page.markup import Markup, element, escaped, joined
from verifier.report.page.names import badge, circuit_id, claim_id, in_words, view_told
from verifier.report.pieces import clean, listing, plain
from verifier.report.told_run import as_claimed
from verifier.report.verdicts import CAUTION, summary_line


def heading(content: Content) -> Markup:
    told = plain(summary_line(content.results))
    counts, _, end = told.rpartition(": ")
    refused = listing([clean(design.name) for design in content.refused])
    return element(
        "header",
        element("p", "Edgewright report", class_="kicker"),
        element("h1", content.path),
        element("p", element("strong", end[:1].upper() + end[1:]), f": {counts}.", class_="answer"),
        element("p", f"Not judged, for an error in the file: {refused}.", class_="answer") if refused else None,
        _contents(content),
    )


def _contents(content: Content) -> Markup:
    links = [("found", "Asked and found")]
    links += [(circuit_id(place), result.design.name) for place, result in enumerate(content.results)]
    if content.sweeps:
        links.append(("sweeps", "Numbers against a given"))
    links.append(("rests-on", "What it rests on"))
    items = [element("li", element("a", text, href=f"#{target}")) for target, text in links]
    return element("nav", element("ul", items), aria_label="Parts of this page")


def found(content: Content) -> Markup:
    """Claims down, circuits across: what was asked in the first column, what was found in the others."""
    rows = _claims(content.results)
    circuits = [
        element("th", element("a", result.design.name, href=f"#{circuit_id(place)}"), scope="col")
        for place, result in enumerate(content.results)
    ]
    head = element("tr", element("th", "Asked", scope="col"), circuits)
    body = [element("tr", _asked(claim), _cells(content.results, claim)) for claim in rows]
    table = element(
        "table",
        element("caption", "Every claim, and what was found for each circuit", class_="unseen"),
        element("thead", head),
        element("tbody", body),
        class_="matrix",
    )
    scrolled = element("div", table, class_="wide", tabindex=0, role="region", aria_label="Claims and verdicts")
    return element(
        "section",
        element("h2", "Asked and found", id="found-title"),
        scrolled,
        id="found",
        aria_labelledby="found-title",
    )


def _claims(results: Sequence[DesignResult]) -> list[Claim]:
    """The claims in the order of the files; those that differ in anything but what is expected have a row each."""
    rows: dict[tuple[str, View, str, str], Claim] = {}
    for result in results:
        for judged in result.claims:
            rows.setdefault(_row_key(judged.claim), judged.claim)
    return list(rows.values())


def _row_key(claim: Claim) -> tuple[str, View, str, str]:
    return claim.name, claim.view, claim.kind.value, claim.text


def _asked(claim: Claim) -> Markup:
    view = view_told(claim)
    return element(
        "th",
        element("span", claim.name, class_="name"),
        element("span", f" {view}", class_="quiet") if view else None,
        element("span", as_claimed(claim), class_="claim-text"),
        scope="row",
    )


def _cells(results: Sequence[DesignResult], claim: Claim) -> list[Markup]:
    cells = []
    for circuit, result in enumerate(results):
        found = [(place, c) for place, c in enumerate(result.claims) if _row_key(c.claim) == _row_key(claim)]
        told = [_cell(circuit, place, judged) for place, judged in found]
        cells.append(element("td", *(told or [escaped("\u2013")])))
    return cells


def _cell(circuit: int, place: int, judged: ClaimResult) -> Markup:
    number = "" if judged.measured is None else f" {tightest_in_short(judged.measured, judged.claim)}"
    told = in_words(judged)
    return joined(
        element("a", badge(judged.verdict), number, href=f"#{claim_id(circuit, place)}"),
        element("span", told, class_="remark") if told else None,
    )


def rests_on(content: Content) -> Markup:
    """Once for all where the circuits agree, by name where they differ; then the caution."""
    results = content.results
    shared = [text for text in results[0].assumes if all(text in r.assumes for r in results)] if results else []
    items = [element("li", text) for text in shared]
    for result in results:
        own = [text for text in result.assumes if text not in shared]
        items += [element("li", element("strong", f"{result.design.name}: "), text) for text in own]
    return element(
        "section",
        element("h2", "What the verdicts rest on", id="rests-title"),
        element("ul", items),
        element("p", CAUTION, class_="caution"),
        id="rests-on",
        aria_labelledby="rests-title",
    )
