"""`draw`: one circuit into one SVG file."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest

from verifier.cli import main

ADDER = """\
part half_adder(a, b) gives (sum, carry)
    sum = a xor b
    carry = a and b

circuit adder
    input  a, b, c
    output sum, carry
    first, first_carry = half_adder(a, b)
    sum, late_carry = half_adder(first, c)
    carry = first_carry or late_carry

circuit striker
    input  lever
    output strike
    strike = not lever
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "adder.wiring").write_text(ADDER)
    return tmp_path


def test_the_drawing_is_written_and_where_is_said(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["draw", "adder.wiring", "--circuit", "adder", "-o", "adder.svg"]) == 0
    assert capsys.readouterr().out.startswith("adder is drawn in adder.svg  (")
    root = ElementTree.parse(folder / "adder.svg").getroot()
    assert root.tag == "{http://www.w3.org/2000/svg}svg"


def test_a_dash_puts_the_drawing_and_nothing_else_on_standard_output(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["draw", "adder.wiring", "--circuit", "striker", "-o", "-"]) == 0
    assert ElementTree.fromstring(capsys.readouterr().out).get("class") == "circuit-drawing"


@pytest.mark.parametrize(
    ("fold", "boxes"), [(["first"], 1), (["first,sum"], 2), (["first", "--fold", "sum"], 2), (["all"], 2)]
)
def test_parts_are_folded_by_name(
    folder: Path, capsys: pytest.CaptureFixture[str], fold: list[str], boxes: int
) -> None:
    assert main(["draw", "adder.wiring", "--circuit", "adder", "-o", "-", "--fold", *fold]) == 0
    assert capsys.readouterr().out.count('class="element part"') == boxes


def test_the_record_says_where_each_net_is_found(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["draw", "adder.wiring", "--circuit", "striker", "-o", "s.svg", "--json", "-"]) == 0
    (circuit,) = json.loads(capsys.readouterr().out)["circuits"]
    svg = (folder / "s.svg").read_text(encoding="utf-8")
    assert set(circuit["drawing"]["nets"]) == {"lever", "strike"}
    for identity in (*circuit["drawing"]["nets"].values(), *circuit["drawing"]["elements"].values()):
        assert f'id="{identity}"' in svg


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["-o", "x.svg"], "has 2 circuits"),
        (["--circuit", "adder", "-o", "x.svg", "--fold", "frist"], "did you mean first?"),
        (["--circuit", "striker", "-o", "x.svg", "--fold", "first"], "no part is used in it"),
        (["--circuit", "adder", "-o", "nowhere/x.svg"], "there is no folder nowhere"),
        (["--circuit", "adder", "-o", "adder.wiring"], "would overwrite adder.wiring"),
        (["--circuit", "adder", "-o", "adder.PNG"], "adder.PNG is named as another kind"),
        (["--circuit", "adder", "-o", "x.svg", "--fold", "half"], "by the name they are used under"),
        (["--circuit", "adder", "-o", "-", "--json", "-"], "cannot both go to standard output"),
    ],
)
def test_a_wrong_call_is_explained_and_writes_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str], options: list[str], told: str
) -> None:
    assert main(["draw", "adder.wiring", *options]) == 2
    caught = capsys.readouterr()
    assert told in caught.err
    assert caught.out == ""
    assert [path.name for path in folder.iterdir()] == ["adder.wiring"]
    assert (folder / "adder.wiring").read_text() == ADDER


def test_a_circuit_that_is_too_large_is_refused_unless_its_parts_are_folded(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = "".join(f"    n{number + 1} = not n{number}\n" for number in range(450))
    part = f"part row(n0) gives (n450)\n{rows}"
    (folder / "long.wiring").write_text(f"{part}circuit long\n    input a\n    output b\n    b = row(a)\n")
    assert main(["draw", "long.wiring", "-o", "-"]) == 2
    assert "long has 450 elements" in capsys.readouterr().err
    assert main(["draw", "long.wiring", "-o", "-", "--fold", "all"]) == 0
    assert capsys.readouterr().out.count('class="element part"') == 1
