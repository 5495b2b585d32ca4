"""The records that `--json` writes: their fields, and how the file comes to be."""

import json
import os
import stat
from pathlib import Path

import pytest
from report.sample_runs import FALSE_EDGE, NO_FALSE_EDGE, SETTLES, judged, multiplexer_design, run_of

from verifier.circuit.builder import NetlistBuilder
from verifier.claims.claim import Design
from verifier.claims.run import Run
from verifier.evidence.verdict import DesignResult, Verdict
from verifier.report.records import as_json, run_record, verdict_record, write_whole
from verifier.report.signals import shown_signals


def test_a_record_has_the_promised_fields_in_the_promised_order() -> None:
    results = (judged(NO_FALSE_EDGE, Verdict.BROKEN, FALSE_EDGE), judged(SETTLES, Verdict.PROVED))
    record = verdict_record(
        "0.1.0", [DesignResult(design=multiplexer_design(), claims=results, assumes=("one at a time",))]
    )
    assert json.loads(as_json(record)) == record
    assert list(record) == ["edgewright", "circuits"]
    assert record["edgewright"] == "0.1.0"
    (circuit,) = record["circuits"]
    assert list(circuit) == ["name", "file", "claims"]
    broken, proved = circuit["claims"]
    assert list(broken.items()) == [
        ("name", "no_false_edge"),
        ("kind", "must"),
        ("view", "settled"),
        ("verdict", "broken"),
        ("empty", False),
        ("expected", "broken"),
        ("as_expected", True),
        ("engine", "by hand"),
        ("seconds", 0.25),
        ("assumes", ["one at a time"]),
        ("measured", None),
        (
            "trace",
            {
                "signals": ["tempo", "lever", "choose", "beat"],
                "loop_from": None,
                "steps": [
                    {"at": 0, "values": {"tempo": 1, "lever": 0, "choose": 0, "beat": 0}},
                    {"at": 1, "values": {"tempo": 1, "lever": 0, "choose": 1, "beat": 1}},
                ],
            },
        ),
    ]
    assert (proved["kind"], proved["verdict"], proved["trace"]) == ("always there", "proved", None)


def test_a_bus_is_one_number_in_a_trace() -> None:
    builder = NetlistBuilder("bells")
    builder.input_bus("pattern", 4)
    design = Design(netlist=builder.build(), file="bells.wiring", claims=(SETTLES,))
    record = run_record("0.1.0", design, run_of("1011"), shown_signals(design.netlist))
    assert record["circuits"][0]["trace"]["steps"] == [{"at": 0, "values": {"pattern": 0b1101}}]


def test_an_interrupted_judging_says_so_in_its_record() -> None:
    result = DesignResult(design=multiplexer_design(), claims=(), assumes=(), interrupted=True)
    assert verdict_record("0.1.0", [result])["interrupted"] is True


def test_a_record_is_plain_ascii() -> None:
    assert as_json({"name": "\x1b[31m鐘"}).isascii()


def test_a_written_file_is_whole_and_has_ordinary_permissions(tmp_path: Path) -> None:
    target = tmp_path / "verdicts.json"
    target.write_text("old")
    mask = os.umask(0o022)
    try:
        write_whole(target, "new\n")
    finally:
        os.umask(mask)
    assert target.read_text() == "new\n"
    assert stat.S_IMODE(target.stat().st_mode) == 0o644
    assert [entry.name for entry in tmp_path.iterdir()] == ["verdicts.json"]


def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(tmp_path: Path) -> None:
    target = tmp_path / "verdicts.json"
    target.write_text("old")
    with pytest.raises(UnicodeEncodeError):
        write_whole(target, "x" * 100_000 + "\ud800")
    assert target.read_text() == "old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["verdicts.json"]


def test_a_link_is_followed_and_stays_a_link(tmp_path: Path) -> None:
    target, link = tmp_path / "real.json", tmp_path / "link.json"
    target.write_text("old")
    link.symlink_to(target)
    write_whole(link, "new")
    assert link.is_symlink()
    assert target.read_text() == "new"


def test_a_device_is_written_to_and_not_replaced() -> None:
    write_whole(Path(os.devnull), "nothing to keep")
    assert stat.S_ISCHR(Path(os.devnull).stat().st_mode)


def test_an_endless_run_says_from_which_step_on_it_repeats() -> None:
    endless = Run(FALSE_EDGE.instants, FALSE_EDGE.events, loop_from=1)
    result = judged(NO_FALSE_EDGE, Verdict.BROKEN, endless)
    record = verdict_record("0.1.0", [DesignResult(design=multiplexer_design(), claims=(result,), assumes=())])
    assert record["circuits"][0]["claims"][0]["trace"]["loop_from"] == 1
