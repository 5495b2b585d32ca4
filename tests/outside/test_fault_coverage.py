"""Faults whose outcome is known: a circuit without redundancy, and the redundant term of a hazard cover."""

from __future__ import annotations

import pytest

import verifier
from outside.test_c17 import VECTORS, c17
from verifier.circuit.fault import FaultKind
from verifier.evidence.fault_outcome import CircuitCampaign, Standing
from verifier.language import loads

# The term a c of a b' + b c + a c is the textbook's redundancy: with it there is no static hazard, and no input vector
# shows whether it is there (J. F. Wakerly, Digital Design: Principles and Practices, the section on
# static hazards; from memory). A redundant line is one whose stuck-at fault no test detects (M. Abramovici,
# M. A. Breuer, A. D. Friedman, Digital Systems Testing and Testable Design, the section on detectability; from memory).
HAZARD_COVER = """\
circuit hazard_cover
    inputs may change together
    input  a, b, c
    output f
    must is_right: f == (if b then c else a)
    first  = a and not b
    second = b and c
    cover  = a and c
    f      = first or second or cover
"""


def campaign_on(text: str, **options: object) -> CircuitCampaign:
    (campaign,) = verifier.faults(loads(text, "outside.wiring"), processes=1, **options).circuits  # type: ignore[arg-type]
    return campaign


def names_with(campaign: CircuitCampaign, standing: Standing) -> set[str]:
    return {fault.name for one in campaign.with_standing(standing) for fault in one.fault.faults}


@pytest.mark.parametrize("technology", ["ttl", "cmos"])
def test_a_claim_of_the_full_function_of_c17_notices_every_stuck_at_fault(technology: str) -> None:
    """Every single stuck-at fault of c17 is detectable: it has no redundancy (from memory). Brglez, Fujiwara 1985."""
    functions = [
        f"must {output}_right: {output} == "
        f"({' or '.join(f'row == {index}' for index in range(32) if vector >> index & 1)})"
        for output, vector in VECTORS.items()
    ]
    text = c17(functions).replace("    input N1", "    inputs may change together\n    input N1")
    campaign = campaign_on(text, kinds=["stuck"], technology=technology)
    total = sum(len(one.faults) for one in campaign.faults)
    assert total >= 34
    assert len(names_with(campaign, Standing.NOTICED)) == total


def test_the_redundant_term_of_a_hazard_cover_hides_its_stuck_at_fault() -> None:
    campaign = campaign_on(HAZARD_COVER, kinds=[FaultKind.STUCK])
    harmless = names_with(campaign, Standing.HARMLESS)
    assert "cover: output stuck low" in harmless
    assert {fault.partition(":")[0] for fault in harmless} <= {"cover", "f"}
    assert names_with(campaign, Standing.UNNOTICED) == names_with(campaign, Standing.UNDECIDED) == set()


def test_without_the_redundant_term_every_stuck_at_fault_is_noticed() -> None:
    text = HAZARD_COVER.replace("    cover  = a and c\n", "").replace(" or cover", "")
    campaign = campaign_on(text, kinds=[FaultKind.STUCK])
    assert len(names_with(campaign, Standing.NOTICED)) == sum(len(one.faults) for one in campaign.faults)


def test_a_claim_about_glitches_notices_what_a_claim_about_levels_cannot() -> None:
    """The cover is there against the static 1 hazard at a change of b with a and c high."""
    text = HAZARD_COVER.replace("inputs may change together\n    ", "")
    text = text.replace("    first ", "    must clean: f never glitches\n    first ", 1)
    assert "cover: output stuck low" in names_with(campaign_on(text, kinds=[FaultKind.STUCK]), Standing.NOTICED)
