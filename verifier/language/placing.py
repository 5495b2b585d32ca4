"""Which statements may stand in which block."""

from __future__ import annotations

from verifier.language.findings import Findings
from verifier.language.syntax import Block, BlockKind

_ALLOWED = {
    BlockKind.CONTRACT: {"input", "together", "output", "let", "given", "claim"},
    BlockKind.CIRCUIT: {
        "input", "together", "output", "net", "delays", "assignment", "let", "given", "claim",
    },
    BlockKind.PART: {"net", "assignment"},
    BlockKind.FAMILY: {"delay"},
}  # fmt: skip
_SHOWN = {"together": "inputs may change together", "claim": "must and can", "assignment": "=", "delay": "takes"}


def report_misplaced(block: Block, findings: Findings) -> None:
    """Reports every statement that the block does not take."""
    for statement in block.statements:
        if statement.rule in _ALLOWED[block.kind]:
            continue
        word = _SHOWN.get(statement.rule, statement.rule)
        kinds = [kind.value for kind, rules in _ALLOWED.items() if statement.rule in rules]
        message = f"`{word}` cannot stand in a {block.kind.value}"
        findings.error("wrong-place", message, block.place(statement), f"it stands in a {' or '.join(kinds)}")
