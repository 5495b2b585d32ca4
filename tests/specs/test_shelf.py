"""The shelf of specs: every file checks as it expects, and together they are what the shelf promises to be.

The promise: at least fifteen files, at least a third of them with a broken variant, and a README that tells of each.
"""

from __future__ import annotations

from pathlib import Path

import pytest

import verifier
from verifier import Verdict

SHELF = Path(__file__).resolve().parents[2] / "specs"
FILES = sorted(path.name for path in SHELF.glob("*.wiring"))
EXPECTED = {
    ("must", False): Verdict.PROVED,
    ("must", True): Verdict.BROKEN,
    ("can", False): Verdict.SHOWN,
    ("can", True): Verdict.IMPOSSIBLE,
    ("always there", False): Verdict.PROVED,
    ("always there", True): Verdict.BROKEN,
}


@pytest.mark.parametrize("file_name", FILES)
def test_every_verdict_is_as_expected_nothing_is_warned_of_and_no_claim_is_empty_in_all_circuits(
    file_name: str,
) -> None:
    result = verifier.check(SHELF / file_name, limit=600.0)
    assert result.warnings == ()
    assert result.designs
    for design in result.designs:
        found = {claim.claim.name: claim.verdict for claim in design.claims}
        assert found == {c.name: EXPECTED[c.kind.value, c.expected_to_break] for c in design.design.claims}
        assert len(found) > 1, "a circuit of which nothing is claimed but that it settles"
    empty: dict[str, set[bool]] = {}
    for design in result.designs:
        for claim in design.claims:
            empty.setdefault(claim.claim.name, set()).add(claim.empty)
    assert not [name for name, found in empty.items() if found == {True}]


def test_there_are_at_least_fifteen_files() -> None:
    assert len(FILES) >= 15


def test_at_least_a_third_of_the_files_have_a_broken_variant_beside_a_right_one() -> None:
    with_both = []
    for file_name in FILES:
        designs = verifier.load(SHELF / file_name).designs
        breaks = {any(claim.expected_to_break for claim in design.claims) for design in designs}
        if breaks == {True, False}:
            with_both.append(file_name)
    assert 3 * len(with_both) >= len(FILES)


def test_the_readme_of_the_shelf_tells_of_every_file_and_of_no_other() -> None:
    readme = (SHELF / "README.md").read_text()
    told = {word.strip("[]()`,.") for word in readme.replace("](", " ").replace("specs/", " ").split()}
    assert {word for word in told if word.endswith(".wiring")} == set(FILES)
