"""`checklist`: the list in its forms, and what is printed when the board disagrees."""

from __future__ import annotations

import csv
import json
from html.parser import HTMLParser
from pathlib import Path

import pytest

from verifier.cli import main

LAMP = """\
circuit lamp
    input  rope  by hand
    input  night strapped
    output lit
    dark = not night
    lit  = rope and dark
"""

LISTED = """\
lamp  (lamp.wiring)

  2 steps visit all 2 settled states that can be reached and make every flip
  that is permitted there. No list that goes on from the same known state can do
  that in fewer.
  The board may wake as it likes: with these inputs there is only one state to
  wake in.

  * the list visits every state, bad ones too: first disconnect or block
    whatever on the outputs could hurt someone
  * every input is a debounced switch: a bouncing contact is many flips, and the
    board runs ahead of the list
  * after each flip wait until everything rests, then read
  * strapped before power-up: night low; 1 other setting has a list of its own,
    see --strap

    step  what to do                          rope  night  lit
    ----  ----------------------------------  ----  -----  ---
       0  switch on with rope low, night low   0      0     0
       1  flip rope up                        [1]     0    [1]
       2  flip rope down                      [0]     0    [0]

  If the board disagrees, say so and see which faults explain it, for instance:
    --saw "step 1: lit low"
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "lamp.wiring").write_text(LAMP)
    return tmp_path


def test_the_first_screen_says_what_is_covered_and_how_short_it_is(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["checklist", "lamp.wiring"]) == 0
    assert capsys.readouterr().out == LISTED


def test_the_list_is_written_as_markdown_with_a_box_in_each_row(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["checklist", "lamp.wiring", "--led", "dark", "--markdown", "lamp.md"]) == 0
    rows = (folder / "lamp.md").read_text().splitlines()
    assert rows[0] == "# Checklist: lamp"
    assert rows[-5:] == [
        "| step | what to do | rope | night | lit | dark | done |",
        "| ---: | --- | :-: | :-: | :-: | :-: | :-: |",
        "| 0 | switch on with rope low, night low | 0 | 0 | 0 | 1 | [ ] |",
        "| 1 | flip rope up | 1 | 0 | 1 | 1 | [ ] |",
        "| 2 | flip rope down | 0 | 0 | 0 | 1 | [ ] |",
    ]


def test_the_list_is_written_as_comma_separated_values(folder: Path) -> None:
    assert main(["checklist", "lamp.wiring", "--csv", "lamp.csv", "--strap", "night high"]) == 0
    with (folder / "lamp.csv").open(newline="") as stream:
        assert list(csv.reader(stream)) == [
            ["step", "what to do", "rope", "night", "lit", "note"],
            ["0", "switch on with rope low, night high", "0", "1", "0", ""],
            ["1", "flip rope up", "1", "1", "0", ""],
            ["2", "flip rope down", "0", "1", "0", ""],
        ]


class Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.boxes: list[str] = []
        self.tags: list[str] = []
        self.loads: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = dict(attrs)
        self.tags.append(tag)
        self.loads += [name for name in ("src", "href") if name in values]
        if tag == "input":
            self.boxes.append(values["aria-label"] or "")


def test_the_page_has_a_box_for_each_step_loads_nothing_and_runs_no_script(folder: Path) -> None:
    assert main(["checklist", "lamp.wiring", "--page", "lamp.html"]) == 0
    page = Page()
    page.feed((folder / "lamp.html").read_text())
    assert page.boxes == ["step 0 done", "step 1 done", "step 2 done"]
    assert page.loads == []
    assert "script" not in page.tags


def test_text_of_the_file_cannot_become_markup(folder: Path) -> None:
    from workbench.hostile import hostile_checklist

    from verifier.report.checklist_files import as_csv, as_markdown
    from verifier.report.checklist_page import as_page

    made = hostile_checklist()
    assert "<b>" not in as_page(made)
    assert "<b>" not in as_markdown(made)
    assert "\x1b" not in as_page(made) + as_markdown(made) + as_csv(made)


def test_a_record_has_the_steps_and_what_they_cover(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["checklist", "lamp.wiring", "--json", "-"]) == 0
    (circuit,) = json.loads(capsys.readouterr().out)["circuits"]
    assert circuit["coverage"] == {
        "states": 2,
        "states_visited": 2,
        "flips": 2,
        "flips_made": 2,
        "complete": True,
    }
    assert circuit["steps"][1] == {
        "step": 1,
        "do": "flip rope up",
        "either_way": False,
        "readings": {"rope": "1", "night": "0", "lit": "1"},
    }


SAW = ["checklist", "lamp.wiring", "--saw", "step 1: lit low"]


def test_a_board_that_disagrees_is_no_error_and_its_faults_are_named(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(SAW) == 0
    told = capsys.readouterr().out
    assert "single faults (TTL parts) explain every reading up to step 1:" in told
    assert "rope: input pin stuck low" in told
    assert "What tells them apart" in told
    assert max(map(len, told.splitlines())) <= 80


def test_what_was_done_next_leaves_fewer_suspects(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    suspects = []
    for then in ([], ["--then", "probe dark: low"]):
        assert main([*SAW, *then, "--json", "-"]) == 0
        (circuit,) = json.loads(capsys.readouterr().out)["circuits"]
        suspects.append({suspect["fault"] for suspect in circuit["suspects"]})
    assert suspects[1] < suspects[0]
    assert "dark: output stuck low" in suspects[1]


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (["--saw", "lit low"], "names no step"),
        (["--saw", "step 1: lid low"], "no net named lid"),
        (["--saw", "step 1: lit maybe"], "no reading of lit"),
        (["--saw", "step 1:"], "there is no reading"),
        (["--saw", "step 1: lit low, lit high"], "both high and low"),
        (["--saw", "step 9: lit low"], "there is no step 9"),
        (["--then", "flip rope up: lit low"], "goes on from a reading"),
        (["--saw", "step 1: lit low", "--then", "pull rope: lit low"], "no further step"),
        (["--saw", "step 1: lit low", "--then", "flip dark up: lit low"], "is no input"),
        (["--saw", "step 1: lit low", "--then", "flip rope up: lit low"], "is up already"),
        (["--saw", "step 1: lit low", "--then", "probe lid: low"], "no wire and no pin named lid"),
        (["--saw", "step 1: lit low", "--then", "probe dark: warm"], "nothing that a meter finds"),
        (["--led", "lid"], "no net named lid"),
        (["--woke", "lit high"], "cannot wake like this"),
        (["--page", "nowhere/lamp.html"], "there is no folder nowhere"),
    ],
)
def test_a_wrong_reading_is_a_mistake_of_the_call(
    folder: Path, capsys: pytest.CaptureFixture[str], call: list[str], told: str
) -> None:
    assert main(["checklist", "lamp.wiring", *call]) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize(
    ("strap", "told", "hint"),
    [
        ("rope high", "rope is not strapped", "there is night; the list itself says"),
        ("lit high", "lit is not strapped", "there is night; levels of other nets are read, not set"),
        ("nigth high", "no net named nigth", "did you mean night"),
    ],
)
def test_a_strap_of_what_is_not_strapped_is_refused(
    folder: Path, capsys: pytest.CaptureFixture[str], strap: str, told: str, hint: str
) -> None:
    assert main(["checklist", "lamp.wiring", "--strap", strap]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert hint in error


def test_a_strap_of_a_circuit_without_any_says_that_none_is_strapped(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "bell.wiring").write_text("circuit bell\n    input rope by hand\n    output rung\n    rung = rope\n")
    assert main(["checklist", "bell.wiring", "--strap", "rope high"]) == 2
    assert "no input of bell is strapped" in capsys.readouterr().err


def test_a_reading_at_power_up_and_the_straps_cannot_contradict_each_other(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["checklist", "lamp.wiring", "--woke", "night high"]) == 2
    told = capsys.readouterr().err
    assert "night is strapped low" in told
    assert '--strap "night high"' in told
    assert main(["checklist", "lamp.wiring", "--woke", "night high", "--strap", "night high"]) == 0


STRIKER = """\
circuit striker
    input  tempo  by hand
    input  hold_n by hand
    output count[2]
    given ready: hold_n
    count[0] = toggle(1) on rise of tempo
    count[1] = toggle(count[0]) on rise of tempo
"""


def test_the_reading_that_a_list_suggests_is_one_that_a_board_can_give(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "striker.wiring").write_text(STRIKER)
    assert main(["checklist", "striker.wiring"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "No flips bring every board to one state" in told
    suggested = told.partition('--woke "')[2].partition('"')[0]
    assert suggested.startswith("hold_n high, count ")
    assert main(["checklist", "striker.wiring", "--woke", suggested]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "a board that woke as you read it: its state is known from the reading." in told
    assert "No flips" not in told
    assert "ask for the list" not in told


def test_inputs_that_no_reading_names_are_said_to_have_been_taken_as_low(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "striker.wiring").write_text(STRIKER)
    assert main(["checklist", "striker.wiring", "--woke", "count 11"]) == 2
    assert "tempo and hold_n were taken as low" in capsys.readouterr().err


def test_a_reading_that_leaves_several_states_says_when_the_state_is_known(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "kept.wiring").write_text(
        "circuit kept\n    input tempo, rope by hand\n    output held\n    held = flipflop(rope) on rise of tempo\n"
    )
    assert main(["checklist", "kept.wiring", "--woke", "rope low"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "a board that woke as you read it: after step 1 its state is known." in told


def test_a_circuit_with_nothing_to_read_says_so_and_names_nets_for_an_led(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "dark.wiring").write_text("circuit dark\n    input rope by hand\n    hidden = not rope\n")
    assert main(["checklist", "dark.wiring"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "There is nothing to read: the circuit has no output." in told
    assert "--led NAME: hidden." in told
    assert main(["checklist", "dark.wiring", "--led", "hidden"]) == 0
    assert "nothing to read" not in capsys.readouterr().out


@pytest.mark.parametrize("form", ["--csv", "--markdown", "--page"])
def test_a_dash_prints_the_list_in_that_form_and_nothing_else(
    folder: Path, capsys: pytest.CaptureFixture[str], form: str
) -> None:
    assert main(["checklist", "lamp.wiring", form, "list.txt"]) == 0
    capsys.readouterr()
    assert main(["checklist", "lamp.wiring", form, "-"]) == 0
    assert capsys.readouterr().out == (folder / "list.txt").read_text()
    assert not (folder / "-").exists()


def test_two_dashes_are_one_too_many(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["checklist", "lamp.wiring", "--csv", "-", "--json", "-"]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "`-` is given twice" in told.err


def test_the_head_says_how_buses_are_read(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "striker.wiring").write_text(STRIKER)
    assert main(["checklist", "striker.wiring"]) == 0
    assert "  * count is in binary, highest bit first\n" in capsys.readouterr().out
