"""The SARIF report against the published schema, by a library that is not ours; and where its results point."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import jsonschema
import pytest
from report.sample_gate import HOSTILE, PASSED, gate_result

from verifier.evidence.gate_outcome import GateResult
from verifier.report.sarif import sarif_text

SCHEMA = json.loads((Path(__file__).parent / "schemas" / "sarif-2.1.0-rtm.5.json").read_text())
VALIDATOR = jsonschema.Draft4Validator(SCHEMA)


def log(result: GateResult, folder: Path = Path("/carillon")) -> dict[str, Any]:
    """Valid by the schema of OASIS SARIF 2.1.0 (`schemas/README.md`), or the test fails."""
    content: dict[str, Any] = json.loads(sarif_text(result, "1.2.3", folder))
    VALIDATOR.validate(content)
    return content


def results(result: GateResult) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = log(result)["runs"][0]["results"]
    return found


def test_the_schema_refuses_what_is_no_log() -> None:
    content = log(gate_result("bells"))
    content["runs"][0]["results"][0]["level"] = "terrible"
    assert not VALIDATOR.is_valid(content)


def test_a_passed_gate_has_no_results() -> None:
    run = log(PASSED)["runs"][0]
    assert run["results"] == []
    assert run["invocations"] == [{"executionSuccessful": True}]


def test_every_result_has_its_rule_its_level_and_its_place() -> None:
    run = log(gate_result("bells"))["runs"][0]
    rules = run["tool"]["driver"]["rules"]
    told = []
    for one in run["results"]:
        assert rules[one["ruleIndex"]]["id"] == one["ruleId"]
        assert rules[one["ruleIndex"]]["defaultConfiguration"]["level"] == one["level"]
        place = one["locations"][0]["physicalLocation"]
        told.append((one["ruleId"], place["artifactLocation"]["uri"], place.get("region", {}).get("startLine")))
    assert told == [
        ("not-as-expected", "bells.wiring", 4),
        ("undecided", "bells.wiring", 5),
        ("wrong-input", "wrong.wiring", 7),
        ("not-judged", "wrong.wiring", None),
        ("not-judged", "wrong.wiring", None),
        ("newly-broken", "bells.wiring", 4),
        ("disappeared", "bells.wiring", None),
        ("disappeared", "gone.wiring", None),
    ]


def test_the_region_is_that_of_the_claim() -> None:
    region = results(gate_result("bells"))[0]["locations"][0]["physicalLocation"]["region"]
    assert region == {"startLine": 4, "startColumn": 5, "endLine": 4, "endColumn": 15}


def test_fingerprints_tell_claims_apart_and_stay_the_same() -> None:
    first, again = (results(gate_result("high_bell", "low_bell")) for _ in range(2))
    prints = [one["partialFingerprints"]["claim/v1"] for one in first]
    assert prints == [one["partialFingerprints"]["claim/v1"] for one in again]
    assert len(set(prints)) == len(prints)


@pytest.mark.parametrize(
    ("file", "uri"),
    [
        ("towers/bells.wiring", "towers/bells.wiring"),
        ("./towers/../bells.wiring", "bells.wiring"),
        ("/carillon/bells.wiring", "bells.wiring"),
        ("50% of bells#1?.wiring", "50%25%20of%20bells%231%3F.wiring"),
    ],
)
def test_paths_below_the_folder_are_relative(file: str, uri: str) -> None:
    artifact = results(gate_result("bells", file=file))[0]["locations"][0]["physicalLocation"]["artifactLocation"]
    assert artifact == {"uri": uri, "uriBaseId": "SRCROOT"}


def test_a_path_elsewhere_is_absolute() -> None:
    artifact = results(gate_result("bells", file="/tower/a bell.wiring"))[0]["locations"][0]["physicalLocation"]
    found = urlsplit(artifact["artifactLocation"]["uri"])
    assert (found.scheme, unquote(found.path)) == ("file", "/tower/a bell.wiring")


@pytest.mark.parametrize("name", HOSTILE)
def test_no_name_can_break_the_log_or_become_a_link(name: str) -> None:
    for one in results(gate_result(name)):
        text = one["message"]["text"]
        assert re.search(r"(?<!\\)\[[^]]*\]\(", text) is None
        assert "{0}" not in text.replace("{{0}}", "")
        assert "\x1b" not in text
