"""The page that `compare` prints."""

from collections.abc import Iterable
from dataclasses import replace
from io import StringIO

from report.sample_runs import NO_FALSE_EDGE, RUN_FROM_TEMPO, SETTLES, judged, multiplexer_design

from verifier.claims.claim import Claim, ClaimKind
from verifier.evidence.verdict import ClaimResult, DesignResult, Measured, Verdict
from verifier.report.matrix import MatrixPage, matrix_lines
from verifier.report.pieces import Line, plain
from verifier.report.progress import LiveLine


def named(circuit: str, *results: ClaimResult) -> DesignResult:
    design = replace(multiplexer_design(), netlist=replace(multiplexer_design().netlist, name=circuit))
    return DesignResult(design=design, claims=results, assumes=())


def matrix(*results: DesignResult, width: int = 80) -> list[str]:
    return [plain(row) for row in matrix_lines(results, width=width)]


def test_circuits_stand_down_and_claims_across() -> None:
    rows = matrix(
        named("plain_mux", judged(NO_FALSE_EDGE, Verdict.BROKEN), judged(SETTLES, Verdict.PROVED)),
        named("two_registers", judged(NO_FALSE_EDGE, Verdict.PROVED), judged(SETTLES, Verdict.PROVED)),
    )
    assert rows == [
        "circuit        no_false_edge  settles",
        "plain_mux      broken         proved",
        "two_registers  proved!        proved",
        "",
        "  !  not what the file expects",
    ]


def test_a_circuit_without_the_claim_has_a_dash_and_an_empty_proof_a_star() -> None:
    rows = matrix(
        named("plain_mux", judged(SETTLES, Verdict.PROVED, empty=True)),
        named("other", judged(RUN_FROM_TEMPO, Verdict.SHOWN)),
    )
    assert rows == [
        "circuit    settles  run_from_tempo",
        "plain_mux  proved*  -",
        "other      -        shown",
        "",
        "  *  proved only because its trigger can never happen",
    ]


def long_named(index: int) -> Claim:
    return replace(SETTLES, name=f"hammer_{index}_never_strikes_twice", text=f"never (hammer_{index} and struck)")


def test_long_names_become_numbers_with_a_legend() -> None:
    results = [judged(long_named(index), Verdict.PROVED) for index in range(5)]
    rows = matrix(named("arbiter", *results), width=60)
    assert rows[:4] == [
        "circuit  1       2       3       4       5",
        "arbiter  proved  proved  proved  proved  proved",
        "",
        "  1  hammer_0_never_strikes_twice: never (hammer_0 and",
    ]
    assert max(map(len, rows)) <= 60


def test_more_claims_than_fit_go_into_further_blocks_and_none_is_lost() -> None:
    results = [judged(long_named(index), Verdict.IMPOSSIBLE) for index in range(30)]
    rows = matrix(named("arbiter", *results))
    assert max(map(len, rows)) <= 80
    numbers = [number for row in rows if row.startswith("circuit") for number in row.split()[1:]]
    assert numbers == [str(index + 1) for index in range(30)]
    assert sum(row.count("impossible!") for row in rows) == 30


def test_a_measured_number_stands_in_its_cell() -> None:
    number = Measured(value=10, unit="ns", beyond=11, run=None)
    measured = replace(judged(replace(SETTLES, name="shortest_pulse"), Verdict.PROVED), measured=number)
    assert matrix(named("plain_mux", measured))[1] == "plain_mux  proved 10 ns"


def test_different_claims_of_one_name_have_columns_of_their_own() -> None:
    stronger = replace(NO_FALSE_EDGE, text="beat changes only when tempo rises")
    rows = matrix(
        named("plain_mux", judged(NO_FALSE_EDGE, Verdict.PROVED), judged(SETTLES, Verdict.PROVED)),
        named("other", judged(stronger, Verdict.PROVED), judged(SETTLES, Verdict.PROVED)),
    )
    assert rows == [
        "circuit    1        2        3",
        "plain_mux  proved!  -        proved",
        "other      -        proved!  proved",
        "",
        f"  1  no_false_edge: {NO_FALSE_EDGE.text}",
        "  2  no_false_edge: beat changes only when tempo rises",
        "  3  settles",
        "",
        "  !  not what the file expects",
    ]


def test_a_must_and_a_can_of_one_name_are_told_apart() -> None:
    possible = replace(RUN_FROM_TEMPO, name="beats", text="beat rises")
    certain = replace(possible, kind=ClaimKind.MUST)
    rows = matrix(named("plain_mux", judged(possible, Verdict.SHOWN)), named("other", judged(certain, Verdict.PROVED)))
    assert rows == [
        "circuit    1      2",
        "plain_mux  shown  -",
        "other      -      proved",
        "",
        "  1  can beats: beat rises",
        "  2  must beats: beat rises",
    ]


def test_what_is_expected_of_a_claim_makes_no_column() -> None:
    expected = replace(NO_FALSE_EDGE, expected_to_break=not NO_FALSE_EDGE.expected_to_break)
    rows = matrix(
        named("plain_mux", judged(NO_FALSE_EDGE, Verdict.BROKEN)), named("other", judged(expected, Verdict.BROKEN))
    )
    assert rows[0] == "circuit    no_false_edge"


class Pages:
    """Keeps what is written."""

    width = 80
    live = False

    def __init__(self) -> None:
        self.rows: list[str] = []

    def write(self, lines: Iterable[Line]) -> None:
        self.rows.extend(plain(row) for row in lines)


def test_the_page_has_the_matrix_the_outcome_the_parts_and_then_what_it_rests_on() -> None:
    pages = Pages()
    results = [named("plain_mux", judged(SETTLES, Verdict.PROVED)), named("other", judged(SETTLES, Verdict.PROVED))]
    MatrixPage(pages, LiveLine(StringIO(), enabled=False, width=80)).finish(results)
    heads = ["circuit    settles", "2 proved: all as expected", "circuit    gates  flip-flops", "A proof speaks"]
    found = [next(index for index, row in enumerate(pages.rows) if row.startswith(head)) for head in heads]
    assert found == sorted(found)
    assert "  plain_mux: 74157 (3 spare)" in pages.rows
