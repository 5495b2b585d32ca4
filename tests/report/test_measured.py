"""How the answer to a `?` and the view of a claim are told: verdict lines, tables, the matrix, records."""

from dataclasses import replace

import pytest
from report.timed_runs import HAZARD, HIGH, NAND_MUX, claim_of, design_of, run_in_time

from verifier.claims.claim import View
from verifier.claims.run import Run
from verifier.evidence.verdict import ClaimResult, DesignResult, Measured, Verdict
from verifier.report.matrix import matrix_lines
from verifier.report.pieces import plain
from verifier.report.records import verdict_record
from verifier.report.verdicts import claim_lines, not_judged_line, run_lines

DESIGN = design_of(NAND_MUX)
BEYOND = run_in_time(DESIGN, HIGH, *HAZARD)


def result(name: str, verdict: Verdict = Verdict.PROVED, measured: Measured | None = None) -> ClaimResult:
    return ClaimResult(claim=claim_of(DESIGN, name), verdict=verdict, engine="by hand", seconds=0.5, measured=measured)


def measured(value: int, beyond: int | None, run: Run | None = BEYOND, unit: str = "ns") -> Measured:
    return Measured(value=value, unit=unit, beyond=beyond, run=run)


def verdict_line(judged: ClaimResult) -> str:
    (row,) = claim_lines(judged, name_width=10, width=80)
    return plain(row)


def test_the_line_of_a_verdict_has_its_view_unless_that_goes_without_saying() -> None:
    assert verdict_line(result("clean_anyhow")) == "  proved      clean_anyhow  in any delay view"
    assert verdict_line(result("clean")) == "  proved      clean       in timed view"
    assert verdict_line(result("settled_one")) == "  proved      settled_one"
    assert plain(not_judged_line(claim_of(DESIGN, "clean"), name_width=5)) == (
        "  -           clean  in timed view  not judged"
    )


def test_the_view_stands_before_what_was_expected() -> None:
    assert verdict_line(result("clean", Verdict.BROKEN)) == (
        "  broken      clean       in timed view  NOT AS EXPECTED: should be proved"
    )


@pytest.mark.parametrize(
    ("name", "found", "said"),
    [
        ("clean_beat", measured(11, 12), "clean_beat  in timed view  tightest: 11 ns"),
        ("clean_beat", measured(16384, None, None), "clean_beat  in timed view  tightest: 16384 ns or more"),
        ("quickest", measured(0, None, None), "quickest    in timed view  tightest: 0 ns"),
        ("quickest", measured(1, 0, unit="steps"), "quickest    in timed view  tightest: 1 step"),
        ("quickest", measured(2, 1, unit="rises"), "quickest    in timed view  tightest: 2 rises"),
    ],
)
def test_the_tightest_number_stands_on_the_line_of_the_verdict(name: str, found: Measured, said: str) -> None:
    assert verdict_line(result(name, measured=found)) == f"  proved      {said}"


def test_a_measured_claim_shows_the_run_that_breaks_the_next_number() -> None:
    rows = [plain(row) for row in run_lines(DESIGN, result("clean_beat", measured=measured(11, 12)), width=80)]
    assert rows[:3] == [
        "nand_mux: clean_beat is proved at 11 ns in timed view; at 12 ns it is broken",
        "  must pulses of beat last at least 12 ns",
        "",
    ]
    assert rows[-1] == "    broken at 18 ns: beat was low for 11 ns"
    assert "    18  beat rises (from_lever fell 5 ns ago)      1      1      0     [1]" in rows


def test_a_claim_that_no_number_breaks_has_no_run_to_show() -> None:
    assert run_lines(DESIGN, result("clean_beat", measured=measured(16384, None, None)), width=80) == []


def test_the_number_stands_in_the_cell_of_the_matrix_and_the_views_below() -> None:
    results = (
        result("clean_beat", measured=measured(11, 12)),
        result("clean_anyhow", Verdict.UNDECIDED),
        result("quickest", measured=measured(17, 16)),
        result("settled_one"),
    )
    rows = [plain(row) for row in matrix_lines([DesignResult(design=DESIGN, claims=results, assumes=())])]
    assert rows == [
        "circuit   clean_beat    clean_anyhow  quickest      settled_one",
        "nand_mux  proved 11 ns  undecided!    proved 17 ns  proved",
        "",
        "  in any delay view: clean_anyhow",
        "  in timed view: clean_beat and quickest",
        "",
        "  !  not what the file expects",
    ]


def test_a_numbered_matrix_has_the_views_in_its_legend() -> None:
    results = (
        result("clean_beat", measured=measured(16384, None, None)),
        result("clean_anyhow"),
        result("settled_one"),
    )
    rows = [plain(row) for row in matrix_lines([DesignResult(design=DESIGN, claims=results, assumes=())], width=50)]
    assert rows == [
        "circuit   1                 2       3",
        "nand_mux  proved 16384 ns+  proved  proved",
        "",
        "  1  clean_beat in timed view: pulses of beat",
        "         last at least ? ns",
        "  2  clean_anyhow in any delay view: beat",
        "         never glitches",
        "  3  settled_one: never (beat and lever)",
    ]


def test_a_record_has_the_number_the_next_one_and_the_run_that_breaks_it_with_its_times() -> None:
    judged = replace(result("clean_beat", measured=measured(11, 12)), states=1234)
    record = verdict_record("0.1.0", [DesignResult(design=DESIGN, claims=(judged, result("clean")), assumes=())])
    found, other = record["circuits"][0]["claims"]
    assert found["view"] == "timed"
    assert found["trace"] is None
    assert found["states"] == 1234
    assert list(found["measured"]) == ["value", "unit", "beyond", "trace_beyond"]
    assert (found["measured"]["value"], found["measured"]["unit"], found["measured"]["beyond"]) == (11, "ns", 12)
    steps = found["measured"]["trace_beyond"]["steps"]
    assert [(step["at"], step["ns"]) for step in steps] == [(0, 0), (1, 3), (2, 5), (3, 7), (4, 8), (5, 13), (6, 18)]
    assert steps[-1] == {"at": 6, "ns": 18, "values": {"tempo": 1, "lever": 1, "choose": 0, "beat": 1}}
    assert other["measured"] is None
    assert "states" not in other


def test_a_trace_without_delays_has_no_times() -> None:
    run = run_in_time(DESIGN, HIGH, *HAZARD[:3], timed=False)
    shown = replace(result("drops", Verdict.SHOWN), run=run)
    record = verdict_record("0.1.0", [DesignResult(design=DESIGN, claims=(shown,), assumes=())])
    (claim,) = record["circuits"][0]["claims"]
    assert claim["view"] == View.ANY_DELAY.value
    assert [list(step) for step in claim["trace"]["steps"]] == [["at", "values"]] * 4
