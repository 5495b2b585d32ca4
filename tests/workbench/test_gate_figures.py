"""Claims that figures of storage parts bring along: each is there once, whatever the record knows of the others."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import verifier
from verifier.evidence.gate_outcome import GateResult
from verifier.workbench import gate_record

REGISTER = """\
family brisk
    flipflop  takes 2..3 ns, set-up 2 ns, hold 1 ns, settling 5 ns

circuit one_register breaks safe.set_up, safe.hold
    delays from brisk
    input  tempo free running high 12 ns, low 12 ns
    input  lever by hand apart 40 ns
    output safe
    must short_pulses: pulses of safe last at least 1 ns
    can  rings: safe rises
    safe = flipflop(lever) on rise of tempo start 0
"""


def gated(path: Path, against: str | None = None) -> GateResult:
    terms = verifier.GateTerms(version="1", against=against, keeps_evidence=True)
    return verifier.gate([str(path)], terms, processes=1)


def test_each_figure_is_claimed_once_with_and_without_a_record(tmp_path: Path) -> None:
    path = tmp_path / "register.wiring"
    path.write_text(REGISTER)
    first = gated(path)
    names = Counter(claim.recorded.claim for claim in first.claims)
    assert set(names) == {"short_pulses", "rings", "safe.set_up", "safe.hold", "settles"}
    assert set(names.values()) == {1}
    whole = verifier.check(path)
    assert {claim.claim.name: claim.verdict for design in whole.designs for claim in design.claims} == {
        claim.recorded.claim: claim.verdict for claim in first.claims
    }
    record = tmp_path / "record.json"
    record.write_text(gate_record.record_text(gate_record.record_of(first.files, "1", "")))
    again = gated(path, str(record))
    assert [claim.recorded for claim in again.claims] == [claim.recorded for claim in first.claims]
    hows = Counter(claim.how.value for claim in again.claims)
    assert hows == {"re-judged": 4, "judged": 1}
