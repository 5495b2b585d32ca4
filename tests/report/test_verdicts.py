"""The lines of the page that `check` prints."""

from dataclasses import replace

from report.sample_runs import (
    FALSE_EDGE,
    NO_FALSE_EDGE,
    RUN_FROM_TEMPO,
    SETTLES,
    judged,
    multiplexer_design,
    run_of,
)

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import GateKind
from verifier.claims.claim import Claim, Design
from verifier.evidence.verdict import ClaimResult, DesignResult, Verdict
from verifier.report.pieces import plain, plain_text
from verifier.report.verdicts import (
    CAUTION,
    circuit_heading,
    claim_lines,
    footer_lines,
    not_judged_line,
    run_lines,
    summary_line,
)

UNEXPECTED = replace(NO_FALSE_EDGE, expected_to_break=False)


def lines_of(result: ClaimResult) -> list[str]:
    return [plain(row) for row in claim_lines(result, name_width=14, width=80)]


def design_result(
    *results: ClaimResult, design: Design | None = None, assumes: tuple[str, ...] = (), interrupted: bool = False
) -> DesignResult:
    return DesignResult(design=design or multiplexer_design(), claims=results, assumes=assumes, interrupted=interrupted)


def test_the_heading_names_circuit_contract_and_file() -> None:
    assert plain(circuit_heading(multiplexer_design())) == "plain_mux, fits beat_source  (beat_source.wiring)"


def test_each_verdict_is_told_on_one_line_with_what_was_expected_only_where_it_matters() -> None:
    assert lines_of(judged(NO_FALSE_EDGE, Verdict.BROKEN)) == ["  broken      no_false_edge   as expected"]
    assert lines_of(judged(UNEXPECTED, Verdict.BROKEN)) == [
        "  broken      no_false_edge   NOT AS EXPECTED: should be proved"
    ]
    assert lines_of(judged(NO_FALSE_EDGE, Verdict.PROVED)) == [
        "  proved      no_false_edge   NOT AS EXPECTED: should be broken"
    ]
    assert lines_of(judged(SETTLES, Verdict.PROVED)) == ["  proved      settles"]
    assert lines_of(judged(RUN_FROM_TEMPO, Verdict.SHOWN)) == ["  shown       run_from_tempo"]
    assert lines_of(judged(RUN_FROM_TEMPO, Verdict.IMPOSSIBLE)) == [
        "  impossible  run_from_tempo  NOT AS EXPECTED: should be shown"
    ]


def test_an_empty_proof_is_flagged() -> None:
    assert lines_of(judged(UNEXPECTED, Verdict.PROVED, empty=True)) == [
        "  proved      no_false_edge   (empty: its trigger can never happen)"
    ]


def test_an_undecided_claim_says_why_and_is_not_called_unexpected() -> None:
    assert lines_of(judged(UNEXPECTED, Verdict.UNDECIDED, reason="no answer within 60 s")) == [
        "  undecided   no_false_edge   after 0.2 s",
        "              no answer within 60 s",
    ]


def test_a_broken_claim_is_shown_with_claim_table_and_what_went_wrong() -> None:
    rows = [
        plain(row)
        for row in run_lines(multiplexer_design(), judged(NO_FALSE_EDGE, Verdict.BROKEN, FALSE_EDGE), width=80)
    ]
    assert rows == [
        "plain_mux: no_false_edge is broken",
        "  must beat changes only when tempo changes or lever changes",
        "",
        "    step  what to do                 tempo  lever  choose  beat",
        "    ----  -------------------------  -----  -----  ------  ----",
        "       0  power up with tempo high,    1      0      0      0",
        "          lever low, choose low",
        "       1  flip choose up               1      0     [1]    [1]",
        "",
        "    broken at step 1: beat changes, but neither tempo changes nor lever changes",
    ]


def test_values_at_power_up_that_no_column_shows_are_told_below_the_table() -> None:
    builder = NetlistBuilder("pair")
    builder.input("strike")
    builder.flip_flop("held", data="strike", clock="strike")
    builder.set_reset("given", set_pin="strike", reset_pin="held", start=False)
    builder.gate("first", GateKind.NAND, ["strike", "second"])
    builder.gate("second", GateKind.NAND, ["strike", "first"])
    builder.gate("outside", GateKind.NOT, ["first"])
    builder.output("outside")
    netlist = builder.build()
    design = Design(netlist=netlist, file="pair.wiring", claims=(SETTLES,))
    values = {"strike": "1", "held": "1", "given": "0", "first": "0", "second": "1", "outside": "1"}
    row = "".join(values[net.name] for net in netlist.nets)
    rows = [plain(r) for r in run_lines(design, judged(SETTLES, Verdict.BROKEN, run_of(row)), width=80)]
    assert rows[-1].startswith("    it powered up with ")
    told = set(rows[-1].removeprefix("    it powered up with ").split(", "))
    assert told == {"held 1", "first 0", "second 1"}


def test_a_proved_claim_has_no_run_to_show() -> None:
    assert run_lines(multiplexer_design(), judged(SETTLES, Verdict.PROVED), width=80) == []


def test_the_sums_say_whether_all_is_as_expected() -> None:
    fine = design_result(judged(NO_FALSE_EDGE, Verdict.BROKEN), judged(SETTLES, Verdict.PROVED))
    surprise = design_result(judged(UNEXPECTED, Verdict.BROKEN), judged(SETTLES, Verdict.UNDECIDED))
    unclear = design_result(judged(SETTLES, Verdict.UNDECIDED))
    cut_short = design_result(judged(SETTLES, Verdict.PROVED), interrupted=True)
    assert plain(summary_line([fine])) == "1 proved, 1 broken: all as expected"
    assert plain(summary_line([fine, surprise])) == "1 proved, 2 broken, 1 undecided: 1 NOT AS EXPECTED"
    assert plain(summary_line([unclear])) == "1 undecided: 1 without an answer, the others as expected"
    assert plain(summary_line([cut_short])) == "1 proved: interrupted: not every claim was judged"
    assert plain(summary_line([])) == "nothing judged: all as expected"


def test_a_claim_that_an_interrupt_left_open_is_named() -> None:
    assert plain(not_judged_line(SETTLES, name_width=14)) == "  -           settles         not judged"


def test_the_footer_tells_shared_assumptions_once_and_others_by_circuit_and_ends_with_the_caution() -> None:
    other = replace(multiplexer_design(), netlist=replace(multiplexer_design().netlist, name="other_mux"))
    results = [
        design_result(assumes=("tempo: free running", "one at a time")),
        design_result(design=other, assumes=("tempo: free running", "power-up: any")),
    ]
    text = plain_text(footer_lines(results, width=80))
    assert text.splitlines()[:4] == [
        "These verdicts rest on:",
        "  - tempo: free running",
        "  - plain_mux: one at a time",
        "  - other_mux: power-up: any",
    ]
    assert text.splitlines()[4] == ""
    assert " ".join(text.splitlines()[5:]) == CAUTION


def test_nothing_that_a_file_says_can_steer_the_terminal() -> None:
    nasty = "\x1b[2Jbell\u202e"
    claim = Claim(name=nasty, kind=NO_FALSE_EDGE.kind, formula=NO_FALSE_EDGE.formula, text=nasty)
    design = replace(multiplexer_design(claim), file=nasty, contract=nasty)
    result = judged(claim, Verdict.BROKEN, FALSE_EDGE, reason=nasty)
    lines = [
        circuit_heading(design),
        *claim_lines(result, name_width=3, width=80),
        *run_lines(design, result, width=80),
    ]
    lines += footer_lines([design_result(design=design, assumes=(nasty,))], width=80)
    text = plain_text(lines)
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert text.count("\\x1b[2Jbell\\u202e") == 7
