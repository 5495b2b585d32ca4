"""What is said where a claim in time meets a gate without a delay."""

from __future__ import annotations

import pytest
from workbench.bell_tower import bell_tower

import verifier
from verifier import SourceError

CLAIM = "must clean: pulses of spike last at least 3 ns"


@pytest.mark.parametrize(
    ("gates", "hint"),
    [
        ("spike = not rope", "write `takes 3..15 ns` behind it"),
        ("spike = tempo and not rope takes 1 ns", "give this gate a net of its own with `takes 3..15 ns`"),
    ],
)
def test_a_gate_without_a_delay_is_pointed_at_with_what_to_write(gates: str, hint: str) -> None:
    with pytest.raises(SourceError) as caught:
        verifier.check_design(bell_tower(gates, CLAIM))
    (finding,) = caught.value.diagnostics
    assert finding.code == "no-delay"
    assert finding.span.line == 7
    assert hint in (finding.hint or "")
