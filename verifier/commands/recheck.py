"""`recheck`: do saved certificates still prove their claims about the present circuits?"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.commands.common import ExitCode, loaded, put_record, refuse_unwritable, tell, writer_of
from verifier.errors import EdgewrightError, InternalDisagreement

if TYPE_CHECKING:
    from verifier.evidence.verdict import Rechecked


def run(call: argparse.Namespace) -> int:
    """Judges saved proofs against the circuits as they are now; what cannot be judged is told, and the rest goes on."""
    import verifier
    from verifier.report.recheck_page import recheck_lines, recheck_record

    refuse_unwritable(call.json)
    wiring_file = loaded(call.files, call.allow_outside)
    troubles: list[EdgewrightError] = []

    def trouble(error: EdgewrightError) -> None:
        troubles.append(error)
        tell(error)

    found = verifier.recheck_saved(
        Path(call.folder), wiring_file, circuit=call.circuit, limit=call.limit, on_trouble=trouble
    )
    writer = writer_of(call.json)
    writer.write(recheck_lines(found, troubles=len(troubles), width=writer.width))
    if call.json is not None:
        put_record(recheck_record(verifier.__version__, found, troubles), call.json)
    if any(isinstance(trouble, InternalDisagreement) for trouble in troubles):
        return ExitCode.DISAGREEMENT
    return ExitCode.BAD_INPUT if troubles else recheck_exit_code(found)


def recheck_exit_code(found: Sequence[Rechecked]) -> ExitCode:
    from verifier.evidence.verdict import Fit

    fits = {entry.fit for entry in found}
    if fits & {Fit.NO_LONGER, Fit.MISSING}:
        return ExitCode.NOT_AS_EXPECTED
    return ExitCode.UNDECIDED if Fit.OPEN in fits else ExitCode.AS_EXPECTED
