"""Which circuits and claims of a file a call is about, and whether every one of them can be decided.

Wrong names are refused with the nearest right one. A claim of a kind that has no engine yet is refused too: never left
out.
"""

from __future__ import annotations

import dataclasses
import difflib
from collections.abc import Iterable, Sequence
from pathlib import Path

from verifier.claims.claim import Claim, Design, Given, View, WiringFile
from verifier.claims.formula import Settles
from verifier.claims.support import unsupported
from verifier.claims.timing_claims import timing_claims
from verifier.errors import CallError, Diagnostic, SourceError, Span

Names = str | Sequence[str] | None
"""One name, several, or None for all."""
NAMED_AT_MOST = 5


def selected(
    wiring_file: WiringFile, *, circuit: Names = None, claim: Names = None, view: View | None = None
) -> tuple[Design, ...]:
    """The designs asked for, each with only the claims asked for; a design without any is left out.

    Raises:
        CallError: a name fits nothing, or nothing is left.
        SourceError: something selected cannot be decided yet.
    """
    circuits, claims = _as_names(circuit), _as_names(claim)
    designs = wiring_file.designs
    if not designs:
        raise CallError(f"{wiring_file.path} describes no circuit, so there is nothing to do")
    _known(circuits, [design.name for design in designs], "circuit", wiring_file.path)
    designs = tuple(design for design in designs if circuits is None or design.name in circuits)
    designs = tuple(with_timing_claims(design, view is View.TIMED) for design in designs)
    _known(claims, [claim.name for design in designs for claim in design.claims], "claim", wiring_file.path)
    asked = [_named(design, claims) for design in designs]
    kept = tuple(design for design in (_in_view(design, view) for design in asked) if design.claims)
    if not kept and view is not None:
        raise CallError(f"nothing in {wiring_file.path} can be judged in the {view.value} view", _left_out(asked, view))
    if not kept:
        raise CallError(f"no claim is selected in {wiring_file.path}")
    refuse_unsupported(kept)
    return kept


def of_circuits(wiring_file: WiringFile, names: Names) -> tuple[Design, ...]:
    """The designs of these names, with all their claims. Raises CallError for a name that fits nothing."""
    circuits = _as_names(names)
    _known(circuits, [design.name for design in wiring_file.designs], "circuit", wiring_file.path)
    return tuple(design for design in wiring_file.designs if circuits is None or design.name in circuits)


def one_circuit(wiring_file: WiringFile, name: str | None) -> Design:
    """The circuit of this name, or the only one there is. Raises CallError otherwise."""
    designs = wiring_file.designs
    names = [design.name for design in designs]
    if name is None and len(designs) > 1:
        raise CallError(
            f"{wiring_file.path} has {len(designs)} circuits", f"choose one with --circuit: {', '.join(names)}"
        )
    if not designs:
        raise CallError(f"{wiring_file.path} describes no circuit, so there is nothing to do")
    _known([name] if name is not None else [], names, "circuit", wiring_file.path)
    return next(design for design in designs if name in (None, design.name))


def _as_names(names: Names) -> tuple[str, ...] | None:
    if names is None:
        return None
    return (names,) if isinstance(names, str) else tuple(names)


def _known(asked: Iterable[str] | None, known: Sequence[str], what: str, path: str) -> None:
    for name in asked or ():
        if name not in known:
            raise CallError(f"there is no {what} named {name} in {path}", nearest_hint(name, known))


def nearest_hint(name: str, known: Iterable[str]) -> str:
    """Points at names close to a wrong one, or lists what there is when that is short."""
    known = list(dict.fromkeys(known))
    close = difflib.get_close_matches(name, known, n=3)
    if close:
        return f"did you mean {' or '.join(close)}?"
    return f"there is {', '.join(known)}" if 0 < len(known) <= 12 else ""


def _in_view(design: Design, view: View | None) -> Design:
    """With a view asked for, the claims that name it; and in that view those that name none (the settled ones)."""
    if view is None:
        return design
    claims = tuple(
        dataclasses.replace(claim, view=view)
        for claim in design.claims
        if claim.view in (view, View.SETTLED) and not _never_judged(claim, view)
    )
    return dataclasses.replace(design, claims=claims)


def _never_judged(claim: Claim, view: View) -> bool:
    return view is View.TIMED and isinstance(claim.formula, Settles)


def _left_out(designs: Sequence[Design], view: View) -> str:
    """Why none of these claims is judged in that view: what each of them is for."""
    claims = {claim.name: claim for design in designs for claim in design.claims}.values()
    others = [claim for claim in claims if claim.view not in (view, View.SETTLED)]
    told = [f"{claim.name} is about the {claim.view.value} view" for claim in others[:NAMED_AT_MOST]]
    if len(others) > NAMED_AT_MOST:
        told.append(f"{len(others) - NAMED_AT_MOST} more are about another view, too")
    if any(_never_judged(claim, view) for claim in claims):
        told.append("settles is not asked there, and no other claim is selected")
    return "; ".join(told)


def with_timing_claims(design: Design, asked: bool = False) -> Design:
    """With the claims that the figures of storage parts bring along, where any claim is about time or it is asked."""
    if not asked and not any(claim.view is View.TIMED for claim in design.claims):
        return design
    last = tuple(claim for claim in design.claims if isinstance(claim.formula, Settles))
    others = tuple(claim for claim in design.claims if not isinstance(claim.formula, Settles))
    figures = tuple(
        dataclasses.replace(claim, expected_to_break=claim.name in design.broken_figures)
        for claim in timing_claims(design.netlist)
    )
    return dataclasses.replace(design, claims=(*others, *figures, *last))


def _named(design: Design, claims: Sequence[str] | None) -> Design:
    if claims is None:
        return design
    return dataclasses.replace(design, claims=tuple(claim for claim in design.claims if claim.name in claims))


def refuse_unsupported(designs: Iterable[Design]) -> None:
    """Raises SourceError with one finding for each claim and given that no engine can decide yet."""
    findings: dict[tuple[Span, str], Diagnostic] = {}
    for design in designs:
        stated_here: list[Given | Claim] = [*design.givens, *design.claims]
        for stated in stated_here:
            found = unsupported(stated)
            if found is not None:
                phrase, place = found
                span = place or stated.span or design.span or Span(design.file, 1, 1, 1, 1)
                findings.setdefault((span, stated.name), _cannot_yet(stated, phrase, span))
    if findings:
        raise SourceError(list(findings.values()))


def _cannot_yet(stated: Claim | Given, phrase: str, span: Span) -> Diagnostic:
    what = "given" if isinstance(stated, Given) else "claim"
    effect = "no claim under it was judged" if isinstance(stated, Given) else "it was NOT judged"
    return Diagnostic(
        code="cannot-decide-yet",
        message=f"the {what} {stated.name} uses `{phrase}`, which cannot be decided yet; {effect}",
        span=span,
        excerpt=source_line(span),
        hint="" if isinstance(stated, Given) else "judge the other claims by naming them with --claim",
    )


def source_line(span: Span) -> str:
    """The line that the span starts on, or nothing when the file cannot be read any more."""
    try:
        with Path(span.file).open(encoding="utf-8", errors="replace") as stream:
            return next((text.rstrip("\r\n") for number, text in enumerate(stream, 1) if number == span.line), "")
    except OSError:
        return ""
