"""The command `report`: what it prints, what it writes, how it ends."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from verifier.cli import main

BELLS = """
circuit two_bells
    input  low_key, high_key
    output low_bell, high_bell
    must never_both: never (low_bell and high_bell)
    can  low_rings:  low_bell
    low_bell  = low_key
    high_bell = high_key and not low_key
"""


@pytest.fixture
def bells(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    file = tmp_path / "bells.wiring"
    file.write_text(BELLS, encoding="utf-8")
    return file


def test_the_page_and_the_record_are_written_and_the_sums_printed(
    bells: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", bells.name, "-o", "page.html", "--json", "record.json"]) == 0
    printed = capsys.readouterr().out
    assert "2 proved, 1 shown: all as expected" in printed
    assert "page.html: " in printed
    page = Path("page.html").read_text(encoding="utf-8")
    assert page.startswith("<!DOCTYPE html>")
    assert page.count('<section id="circuit-') == 1
    claims = json.loads(Path("record.json").read_text(encoding="utf-8"))["circuits"][0]["claims"]
    assert [claim["verdict"] for claim in claims] == ["proved", "shown", "proved"]


def test_a_broken_claim_ends_the_call_like_check_and_the_page_is_there(bells: Path) -> None:
    bells.write_text(BELLS.replace(" and not low_key", ""), encoding="utf-8")
    assert main(["report", bells.name, "-o", "page.html"]) == 1
    assert "Not as expected" in Path("page.html").read_text(encoding="utf-8") or "NOT AS EXPECTED" in Path(
        "page.html"
    ).read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["-o", "nowhere/page.html"], "there is no folder nowhere"),
        (["-o", "."], "is a folder"),
        (["-o", "page.html", "--sweep", "lots"], "`lots` is no sweep"),
        ([], "-o"),
    ],
)
def test_a_wrong_call_is_refused_before_any_work(
    bells: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], told: str
) -> None:
    try:
        code = main(["report", bells.name, *arguments])
    except SystemExit as ended:
        code = int(ended.code or 0)
    assert code == 2
    assert told in capsys.readouterr().err
    assert not Path("page.html").exists()
