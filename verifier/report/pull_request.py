"""What `gate --markdown` writes: a summary to put under a pull request, in GitHub Flavored Markdown (spec 0.29).

What came of it first, then what changed, then what is not as expected, with the runs folded away. Whatever comes from
a wiring file is made harmless: in cells and lines as code with character references, in runs by a fence that is longer
than any row of backticks in them.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence

from verifier.evidence.gate_outcome import ChangeKind, GateResult, How, TroubleKind
from verifier.evidence.verdict import Verdict
from verifier.report.gate_page import name_of, why_not_passed
from verifier.report.pieces import clean
from verifier.report.verdicts import CAUTION

MOST_RUNS = 20
"""A comment has room for so many; the others are counted."""
MARKUP = re.compile(r"[^A-Za-z0-9 ,.;/()=:-]")
TOLD_ELSEWHERE = "see the log of the run for the others"


def pull_request_text(result: GateResult) -> str:
    """The whole file."""
    blocks = [
        *_summary(result),
        *_changes(result),
        *_claims(result),
        *_troubles(result),
        *_runs(result),
        CAUTION,
    ]
    return "\n\n".join(blocks) + "\n"


def harmless(text: str) -> str:
    """As code on one line, every character that Markdown or HTML could take for markup as a character reference.

    Inside `code` no forge makes links of addresses, names of people (`@`) or numbers of issues (`#`) either.
    """
    return "<code>" + MARKUP.sub(lambda found: f"&#{ord(found[0])};", clean(text)) + "</code>"


def _summary(result: GateResult) -> Iterator[str]:
    why = why_not_passed(result)
    if result.interrupted:
        yield "### Edgewright: interrupted, not every file was judged"
    else:
        yield f"### Edgewright: not passed, {why}" if why else "### Edgewright: passed, all as expected"
    counts = Counter(claim.verdict for claim in result.claims)
    hows = Counter(claim.how for claim in result.claims)
    rows = [["files", str(len(result.files))]]
    rows += [[verdict.value, str(counts[verdict])] for verdict in Verdict if counts[verdict]]
    rows += [[how.value, str(hows[how])] for how in (How.REJUDGED, How.TRUSTED) if hows[how]]
    yield _table(["", "count"], rows)
    for notice in result.notices:
        yield f"Note: {harmless(notice)}"


def _changes(result: GateResult) -> Iterator[str]:
    if result.against is None or result.interrupted:
        return
    yield f"#### Against {harmless(result.against)}"
    if not result.changes:
        yield "No change."
        return
    rows = [
        [
            f"{'**' if change.kind in result.fail_on else ''}{change.kind.value}"
            f"{'**, fails' if change.kind in result.fail_on else ''}",
            harmless(name_of(change)),
            "<br>".join(harmless(why) for why in change.why),
        ]
        for change in sorted(result.changes, key=lambda one: list(ChangeKind).index(one.kind))
    ]
    yield _table(["change", "claim", "what"], rows)


def _claims(result: GateResult) -> Iterator[str]:
    rows = [
        [
            harmless(f"{circuit.name}: {claim.recorded.claim}"),
            claim.verdict.value,
            claim.expected.value,
            harmless(claim.reason or f"{claim.recorded.kind} {claim.recorded.says}"),
        ]
        for file in result.files
        for circuit in file.circuits
        for claim in circuit.claims
        if claim.is_surprise or claim.is_open
    ]
    if rows:
        yield "#### Not as expected, or without an answer"
        yield _table(["claim", "verdict", "expected", "what"], rows)


def _troubles(result: GateResult) -> Iterator[str]:
    rows: list[list[str]] = []
    for file in result.files:
        for trouble in file.troubles:
            name = f"{file.path}: {trouble.circuit}" if trouble.circuit else file.path
            is_input = trouble.kind is TroubleKind.INPUT
            texts = [f"line {found.span.line}: {found.message}" for found in trouble.findings] if is_input else []
            rows.append(
                [harmless(name), trouble.kind.value, "<br>".join(harmless(text) for text in texts or [trouble.text])]
            )
    if rows:
        yield "#### Not judged"
        yield _table(["file", "", "why"], rows)


def _runs(result: GateResult) -> Iterator[str]:
    newly_broken = {(c.file, c.circuit, c.claim) for c in result.changes if c.kind is ChangeKind.NEWLY_BROKEN}
    told = [
        (f"{circuit.name}: {claim.recorded.claim}", claim.tells)
        for file in result.files
        for circuit in file.circuits
        for claim in circuit.claims
        if claim.tells and (claim.is_surprise or (file.path, circuit.name, claim.recorded.claim) in newly_broken)
    ]
    for name, text in told[:MOST_RUNS]:
        yield f"<details><summary>{harmless(name)}</summary>"
        yield _fenced(text)
        yield "</details>"
    if len(told) > MOST_RUNS:
        yield f"{len(told) - MOST_RUNS} more runs are not shown here; {TOLD_ELSEWHERE}."


def _fenced(text: str) -> str:
    rows = [clean(row) for row in text.splitlines()]
    longest = max((len(found) for row in rows for found in re.findall(r"`+", row)), default=0)
    fence = "`" * max(3, longest + 1)
    return "\n".join([f"{fence}text", *rows, fence])


def _table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [headings, ["---"] * len(headings), *rows]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in lines)
