"""The files of a gate told in their order, however they finish."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations
from pathlib import Path

import pytest

import verifier
from verifier.evidence.gate_outcome import FileOutcome
from verifier.workbench.gate import InTurn

FILES = ("a.wiring", "b.wiring", "c.wiring", "d.wiring")


def outcome(path: str) -> FileOutcome:
    return FileOutcome(path=path, circuits=())


@pytest.mark.parametrize("done", list(permutations(FILES)))
def test_files_are_told_in_their_order_in_whatever_order_they_are_done(done: Sequence[str]) -> None:
    told: list[str] = []
    in_turn = InTurn(FILES, lambda file: told.append(file.path))
    for number, path in enumerate(done, 1):
        in_turn.take(outcome(path))
        ready = [file for place, file in enumerate(FILES) if set(FILES[: place + 1]) <= set(done[:number])]
        assert told == ready


def test_after_an_interrupt_what_was_done_is_told_although_a_file_before_it_was_not() -> None:
    told: list[str] = []
    in_turn = InTurn(FILES, lambda file: told.append(file.path))
    for path in ("d.wiring", "a.wiring", "c.wiring"):
        in_turn.take(outcome(path))
    assert told == ["a.wiring"]
    in_turn.tell_the_rest()
    assert told == ["a.wiring", "c.wiring", "d.wiring"]


def test_a_gate_with_several_processes_tells_a_heavy_first_file_first(tmp_path: Path) -> None:
    bits = 5
    lines = [
        "circuit heavy",
        "    input  tempo free running",
        f"    output count[{bits}]",
        "    must wraps: count == 31 leads to count == 0",
        "    count[0] = toggle(1) on rise of tempo",
        *(
            f"    count[{bit}] = toggle(and({', '.join(f'count[{low}]' for low in range(bit))})) on rise of tempo"
            for bit in range(1, bits)
        ),
    ]
    heavy = "\n".join(lines).replace("and(count[0])", "count[0]") + "\n"
    light = "circuit light\n    input rope\n    output rung\n    must answers: rung == rope\n    rung = rope\n"
    for name, text in (("a", heavy), ("b", light), ("c", light.replace("light", "lighter"))):
        (tmp_path / f"{name}.wiring").write_text(text)
    told: list[str] = []
    verifier.gate(
        [str(tmp_path)],
        verifier.GateTerms(version="test"),
        processes=2,
        in_order=True,
        on_file=lambda file: told.append(Path(file.path).name),
    )
    assert told == ["a.wiring", "b.wiring", "c.wiring"]
