"""`draw`: draws a circuit as an SVG file."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from verifier.commands.common import ExitCode, loaded, put_record, refuse_unwritable, writer_of
from verifier.errors import CallError

if TYPE_CHECKING:
    from verifier.claims.claim import Design
    from verifier.report.drawing import Drawing
    from verifier.report.records import Record


def run(call: argparse.Namespace) -> int:
    """Draws one circuit. No claim is judged, so it ends well unless the call is wrong."""
    from verifier.report.pieces import line
    from verifier.workbench.selection import one_circuit

    _refuse_output(call)
    design = one_circuit(loaded([call.file], call.allow_outside), call.circuit)
    drawing = _drawn(design, _folded(design, call.fold))
    if call.output == "-":
        sys.stdout.write(drawing.svg)
    else:
        _put(drawing.svg, call.output)
        size = f"{drawing.width:.0f} x {drawing.height:.0f}"
        writer_of(call.json).write([line(f"{design.name} is drawn in {call.output}  ({size} pixels)")])
    if call.json is not None:
        put_record(_record(design, drawing), call.json)
    return ExitCode.AS_EXPECTED


def _refuse_output(call: argparse.Namespace) -> None:
    if call.output == "-":
        if call.json == "-":
            raise CallError("the drawing and the record cannot both go to standard output")
        return
    if Path(call.output).absolute() == Path(call.file).absolute():
        raise CallError(f"the drawing would overwrite {call.file}", "name another file with -o")
    if Path(call.output).suffix.lower() not in ("", ".svg"):
        raise CallError(f"a drawing is an SVG file, and {call.output} is named as another kind", "let it end in .svg")
    refuse_unwritable(call.json)
    refuse_unwritable(call.output)


def _folded(design: Design, asked: Sequence[str]) -> frozenset[str]:
    """The parts to fold: names, several in one word with commas, or `all`."""
    from verifier.report.drawing.graph import members_of_parts, top_parts
    from verifier.workbench.selection import nearest_hint

    known = members_of_parts(design.netlist)
    names = [name.strip() for word in asked for name in word.split(",") if name.strip()]
    found: set[str] = set()
    for name in names:
        if name in known:
            found.add(name)
        elif name == "all":
            found.update(top_parts(design.netlist))
        else:
            used = f"parts are folded by the name they are used under; {nearest_hint(name, known)}".removesuffix("; ")
            hint = used if known else "no part is used in it"
            raise CallError(f"there is no part named {name} in {design.name}", hint)
    return frozenset(found)


def _drawn(design: Design, folded: frozenset[str]) -> Drawing:
    from verifier.report.drawing import TooMuchToDraw, draw
    from verifier.report.progress import LiveLine
    from verifier.report.writer import PIPE_WIDTH

    with LiveLine(sys.stderr, enabled=sys.stderr.isatty(), width=PIPE_WIDTH) as live:
        live.now(f"drawing {design.name}")
        try:
            return draw(design.netlist, folded)
        except TooMuchToDraw as error:
            raise CallError(str(error), "draw its parts as one box each: --fold all") from error


def _put(svg: str, path: str) -> None:
    from verifier.report.records import write_whole

    try:
        write_whole(Path(path), svg)
    except OSError as error:
        raise CallError(f"cannot write {path}: {error.strerror or error}") from error


def _record(design: Design, drawing: Drawing) -> Record:
    """Where each net is found in the drawing: the `id` of its wires and of what drives it."""
    import verifier

    names = design.netlist.nets
    found = {
        "width": drawing.width,
        "height": drawing.height,
        "nets": {names[net].name: identity for net, identity in drawing.nets.items()},
        "elements": {names[net].name: identity for net, identity in drawing.elements.items()},
    }
    return {
        "edgewright": verifier.__version__,
        "circuits": [{"name": design.name, "file": design.file, "drawing": found}],
    }
