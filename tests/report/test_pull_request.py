"""The Markdown for a pull request, rendered by a library that is not ours and read back as a reader would see it."""

from __future__ import annotations

import pytest
from lxml import html
from markdown_it import MarkdownIt
from report.sample_gate import HOSTILE, PASSED, TABLE, gate_result

from verifier.evidence.gate_outcome import GateResult
from verifier.report.pieces import clean
from verifier.report.pull_request import MOST_RUNS, pull_request_text


def page(result: GateResult) -> html.HtmlElement:
    """As a forge shows it: tables, and HTML let through."""
    renderer = MarkdownIt("commonmark", {"html": True}).enable(["table", "strikethrough"])
    return html.fromstring(f"<div>{renderer.render(pull_request_text(result))}</div>")


def rows(table: html.HtmlElement) -> list[list[str]]:
    return [[cell.text_content() for cell in row.iter("td")] for row in table.iter("tr")][1:]


def test_a_passed_gate_says_so_first() -> None:
    shown = page(PASSED)
    assert shown[0].text_content() == "Edgewright: passed, all as expected"
    assert rows(shown.findall(".//table")[0]) == [["files", "2"], ["proved", "1"]]


def test_the_first_line_says_what_keeps_the_gate_shut() -> None:
    assert "1 not as expected, 1 newly-broken, 2 disappeared" in page(gate_result("bells"))[0].text_content()


def test_changes_and_claims_are_tables_and_runs_are_folded() -> None:
    shown = page(gate_result("bells"))
    _, changes, claims, troubles = (rows(table) for table in shown.iter("table"))
    assert changes[0] == ["newly-broken, fails", "bells: bells 2", "was proved, is broken"]
    assert [change[0] for change in changes].count("appeared") == 1
    assert claims == [
        ["bells: bells 2", "broken", "proved", "must never bells 2"],
        ["bells: bells 3", "undecided", "proved", "no time for bells"],
    ]
    assert troubles[0] == ["wrong.wiring", "wrong input", "line 7: nothing is called bells"]
    (folded,) = shown.iter("details")
    assert folded.find("summary").text_content() == "bells: bells 2"
    assert folded.find("pre").text_content() == TABLE + "bells\n"


def test_changes_that_do_not_fail_stand_below_those_that_do() -> None:
    changes = rows(page(gate_result("bells")).findall(".//table")[1])
    assert [", fails" in change[0] for change in changes] == [True, True, True, False]


@pytest.mark.parametrize("name", HOSTILE)
def test_every_name_is_read_back_as_it_was_and_makes_no_markup(name: str) -> None:
    shown = page(gate_result(name))
    assert {element.tag for element in shown.iter()} <= {
        *("div", "h3", "h4", "p", "table", "thead", "tbody", "tr", "th", "td", "code", "strong", "br"),
        *("details", "summary", "pre"),
    }
    _, changes, claims, _ = (rows(table) for table in shown.iter("table"))
    assert changes[0][1] == clean(f"{name}: {name} 2")
    assert claims[0][0] == clean(f"{name}: {name} 2")
    assert [len(row) for row in claims] == [4, 4]


def test_a_fence_is_longer_than_any_row_of_backticks_in_a_run() -> None:
    (folded,) = page(gate_result("bell ````` bell")).iter("details")
    assert "bell ````` bell" in folded.find("pre").text_content()


def test_more_runs_than_there_is_room_for_are_counted() -> None:
    shown = page(gate_result(*(f"bell_{number}" for number in range(MOST_RUNS + 3))))
    assert len(list(shown.iter("details"))) == MOST_RUNS
    assert "3 more runs are not shown here" in shown.text_content()
