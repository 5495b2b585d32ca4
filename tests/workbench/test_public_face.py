"""`import verifier`: what it offers, and that all of it is there."""

from importlib.metadata import version
from pathlib import Path

import pytest

import verifier

TWO_BELLS = """\
circuit two_bells
    input  low_key, high_key
    output low_bell, high_bell
    must never_both: never (low_bell and high_bell)
    low_bell  = low_key
    high_bell = high_key
"""


def test_every_public_name_is_there() -> None:
    assert sorted([*verifier.__all__, "__version__"]) == dir(verifier)
    for name in verifier.__all__:
        assert getattr(verifier, name).__name__ == name


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'chime'"):
        verifier.chime  # noqa: B018


def test_the_version_is_that_of_the_distribution() -> None:
    assert verifier.__version__ == version("edgewright")


def test_a_file_is_judged_and_its_runs_are_plain_data(tmp_path: Path) -> None:
    path = tmp_path / "two_bells.wiring"
    path.write_text(TWO_BELLS)
    result = verifier.check(path, claim="never_both", view="settled")
    (design,) = result.designs
    (claim,) = design.claims
    assert claim.verdict is verifier.Verdict.BROKEN
    assert not claim.as_expected
    assert claim.run is not None
    assert len(claim.run.instants) == 1
    with pytest.raises(verifier.CallError, match="no view sideways"):
        verifier.check(path, view="sideways")


def test_a_verdict_is_never_taken_for_a_bool() -> None:
    with pytest.raises(TypeError, match="three values"):
        bool(verifier.Verdict.PROVED)
