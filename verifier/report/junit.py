"""What `gate --junit` writes: a report in the JUnit XML form that test runners have in common.

One suite a circuit, one case a claim. A claim that is not as expected fails, with its run as text; one without an
answer is an error. A change that keeps the gate shut fails the case of its claim, or a case of its own where the claim
is gone. No case has more than one of these, as many readers look at the first alone. The form is that of
`junit-10.xsd` (xunit plugin; it stands in `tests/report/schemas/`).
"""

from __future__ import annotations

from collections.abc import Iterable
from xml.etree import ElementTree
from xml.etree.ElementTree import Element, SubElement

from verifier.evidence.gate_outcome import Change, CircuitOutcome, ClaimOutcome, FileOutcome, GateResult, Trouble
from verifier.report.pieces import clean

NOT_AS_EXPECTED, UNDECIDED, CHANGED, NOT_JUDGED = "not as expected", "undecided", "changed", "not judged"


def junit_text(result: GateResult) -> str:
    """The whole file. Characters that XML cannot hold are written out, as `\\x1b`."""
    root = Element("testsuites", name="edgewright gate")
    failing = list(result.failing)
    for file in result.files:
        for circuit in file.circuits:
            ours = [change for change in failing if (change.file, change.circuit) == (file.path, circuit.name)]
            _suite(root, file, circuit, ours)
        _troubles(root, file)
    present = {(file.path, circuit.name) for file in result.files for circuit in file.circuits}
    for change in failing:
        if (change.file, change.circuit) not in present:
            suite = SubElement(root, "testsuite", name=_suite_name(change.file, change.circuit))
            _gone(suite, change)
    for suite in root:
        _count(suite)
    ElementTree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


def _suite_name(file: str, circuit: str) -> str:
    return clean(f"{file}: {circuit}")


def _suite(root: Element, file: FileOutcome, circuit: CircuitOutcome, failing: list[Change]) -> None:
    suite = SubElement(root, "testsuite", name=_suite_name(file.path, circuit.name))
    names = {claim.recorded.claim for claim in circuit.claims}
    for claim in circuit.claims:
        _case(suite, claim, [change for change in failing if change.claim == claim.recorded.claim])
    for change in failing:
        if change.claim not in names:
            _gone(suite, change)


def _case(suite: Element, claim: ClaimOutcome, changes: list[Change]) -> None:
    case = _new_case(suite, claim.recorded.claim, float(claim.record.get("seconds", 0.0)))
    said = f"{claim.recorded.kind} {claim.recorded.says}"
    told = [f"{claim.verdict.value}, expected to be {claim.expected.value}: {said}"] if claim.is_surprise else []
    told += [_told(change) for change in changes]
    if claim.is_open:
        _outcome(case, "error", UNDECIDED, "; ".join([claim.reason or "without an answer", *told]), said)
    elif told:
        _outcome(case, "failure", NOT_AS_EXPECTED if claim.is_surprise else CHANGED, "; ".join(told), claim.tells)


def _gone(suite: Element, change: Change) -> None:
    case = _new_case(suite, change.claim or change.circuit, 0.0)
    _outcome(case, "failure", CHANGED, _told(change), "")


def _told(change: Change) -> str:
    return f"{change.kind.value}: {'; '.join(change.why)}"


def _troubles(root: Element, file: FileOutcome) -> None:
    if file.troubles:
        suite = SubElement(root, "testsuite", name=clean(file.path))
        for trouble in file.troubles:
            case = _new_case(suite, trouble.circuit or "the file", 0.0)
            _outcome(case, "error", NOT_JUDGED, f"{trouble.kind.value}: {trouble.text}", _findings(trouble))


def _findings(trouble: Trouble) -> str:
    return "\n".join(
        f"{finding.span.file}:{finding.span.line}:{finding.span.column}: {finding.message}"
        for finding in trouble.findings
    )


def _new_case(suite: Element, name: str, seconds: float) -> Element:
    place = suite.get("name", "").replace(".", "_")
    return SubElement(suite, "testcase", name=clean(name), classname=place, time=f"{seconds:.3f}")


def _outcome(case: Element, tag: str, kind: str, message: str, text: str) -> None:
    element = SubElement(case, tag, type=kind, message=clean(message))
    if text:
        element.text = "\n" + "\n".join(clean(row) for row in text.splitlines()) + "\n"


def _count(suite: Element) -> None:
    cases = list(suite)
    suite.set("tests", str(len(cases)))
    suite.set("failures", str(_with(cases, "failure")))
    suite.set("errors", str(_with(cases, "error")))
    suite.set("skipped", "0")
    suite.set("time", f"{sum(float(case.get('time', '0')) for case in cases):.3f}")


def _with(cases: Iterable[Element], tag: str) -> int:
    return sum(case.find(tag) is not None for case in cases)
