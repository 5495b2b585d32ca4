"""Which claims in time are said to be about whole ns alone."""

from __future__ import annotations

import pytest
from workbench.bell_tower import bell_tower

import verifier
from verifier.claims.open_bounds import whole_ns_stand_for_real_time


@pytest.mark.parametrize(
    ("rows", "is_exact"),
    [
        ("must c: pulses of bell last at least 3 ns", True),
        ("must c: rope rises leads to chime within 3 ns", True),
        ("must c: bell rises only when tempo falls within the last 2 ns", True),
        (
            "must c: never (bell rises and (rope changes within the last 2 ns) and (tempo falls within the last 2 ns))",
            True,
        ),
        ("can  c: bell rises and (rope changes within the last 2 ns)", True),
        ("must c in timed view: bell == not chime".replace("not chime", "(not chime)"), True),
        ("can  c: bell rises and not (rope changes within the last 2 ns)", True),
        ("can  c: not (bell rises within the last 2 ns) and not (rope changes within the last 2 ns)", False),
        ("must c: bell rises only when (rope rises within the last 2 ns) or (tempo falls within the last 2 ns)", False),
        ("must c: bell rises only when once (rope rises within the last 2 ns)", False),
        ("must c: pulses of bell last at least 3 ns\ngiven g: never (rope rises within the last 2 ns)", False),
        (
            "must c: pulses of bell last at least 3 ns\ngiven g: rope rises only when tempo rises within the last 2 ns",
            True,
        ),
    ],
)
def test_whole_ns_stand_for_real_time_while_one_distance_at_most_is_strict(rows: str, is_exact: bool) -> None:
    design = bell_tower(rows)
    claim = next(claim for claim in design.claims if claim.name == "c")
    assert whole_ns_stand_for_real_time(claim, design.givens) is is_exact


def test_a_report_names_the_claims_that_are_about_whole_ns_alone() -> None:
    given = "given g: never (rope rises and (tempo rises within the last 2 ns))"
    design = bell_tower(given, "must c: pulses of bell last at least 3 ns")
    told = " ".join(verifier.check_design(design, limit=60.0).assumes)
    assert "timed view: c: whole ns alone were looked at" in told
