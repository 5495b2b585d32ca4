"""The JUnit report against a published XML schema, by a library that is not ours; and what a reader finds in it."""

from __future__ import annotations

from pathlib import Path

import pytest
from lxml import etree
from report.sample_gate import HOSTILE, PASSED, gate_result

from verifier.evidence.gate_outcome import GateResult
from verifier.report.junit import junit_text

SCHEMA = etree.XMLSchema(etree.parse(str(Path(__file__).parent / "schemas" / "junit-10.xsd")))


def report(result: GateResult) -> etree._Element:
    """Valid by the schema (xunit plugin, `schemas/README.md`), or the test fails."""
    root = etree.fromstring(junit_text(result).encode())
    SCHEMA.assertValid(root)
    return root


def test_the_schema_refuses_what_is_no_report() -> None:
    assert not SCHEMA.validate(etree.fromstring(b"<testsuites><testsuite/></testsuites>"))


def test_a_passed_gate_is_a_report_without_a_failure() -> None:
    root = report(PASSED)
    assert [case.get("name") for case in root.iter("testcase")] == ["never_both"]
    assert root.findall(".//failure") == root.findall(".//error") == []


def test_one_suite_a_circuit_and_one_case_a_claim_with_the_run_as_text() -> None:
    root = report(gate_result("bells"))
    suites = {suite.get("name"): suite for suite in root}
    assert set(suites) == {"bells.wiring: bells", "wrong.wiring", "gone.wiring: bells 5"}
    suite = suites["bells.wiring: bells"]
    assert [suite.get(name) for name in ("tests", "failures", "errors")] == ["4", "2", "1"]
    holds, broken, undecided, gone = suite
    assert len(holds) == 0
    assert broken[0].tag == "failure"
    assert "expected to be proved" in broken[0].get("message")
    assert "newly-broken" in broken[0].get("message")
    assert "step  what to do" in broken[0].text
    assert (undecided[0].tag, undecided[0].get("type")) == ("error", "undecided")
    assert "disappeared" in gone[0].get("message")


def test_no_case_has_two_outcomes() -> None:
    assert all(len(case) <= 1 for case in report(gate_result("bells")).iter("testcase"))


def test_a_file_that_is_wrong_is_an_error_with_its_findings() -> None:
    (suite,) = (suite for suite in report(gate_result("bells")) if suite.get("name") == "wrong.wiring")
    assert suite.get("errors") == "3"
    assert "wrong.wiring:7:3: nothing is called bells" in suite[0][0].text


@pytest.mark.parametrize("name", HOSTILE)
def test_no_name_can_break_the_report(name: str) -> None:
    root = report(gate_result(name))
    assert len(list(root.iter("testcase"))) == 8
    assert len(list(root.iter("failure"))) == 3
    assert "\x1b" not in etree.tostring(root, encoding="unicode")
