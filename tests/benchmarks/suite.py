"""The questions of the benchmark as transition systems: every claim of the shelf, and the families size by size."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from benchmarks.families import FAMILIES, Family
from verifier.claims.claim import Claim, ClaimKind, Design, View
from verifier.claims.formula import Settles
from verifier.claims.support import restricts
from verifier.language import load, loads
from verifier.logic.transition_system import TransitionSystem
from verifier.views.settled import SettledModel
from verifier.workbench.equality import equality_design

SHELF = "shelf"
SPECS = Path(__file__).resolve().parent.parent.parent / "specs"


@dataclass(frozen=True, kw_only=True)
class Question:
    family: str
    size: int | None
    """None on the shelf."""
    name: str
    """What stays the same from size to size."""
    system: TransitionSystem
    expected: bool
    """Whether the circuit's author says that a bad frame (or endless run) exists."""

    @property
    def title(self) -> str:
        return self.name if self.size is None else f"{self.name}, n = {self.size}"


def shelf_questions() -> Iterator[Question]:
    for path in sorted(SPECS.glob("*.wiring")):
        for design in load(path).designs:
            yield from _questions(design, SHELF, None, prefix=f"{path.stem}, ")


def family_questions(family: Family, size: int) -> Iterator[Question]:
    """The family's claims at one size, or the equality of two of its circuits (and the difference of a third)."""
    designs = loads(family.text(size), f"{family.name}.wiring").designs
    if family.compares is None:
        for design in designs:
            yield from _questions(design, family.name, size)
        return
    by_name = {design.name: design for design in designs}
    left = by_name.pop(family.compares[0])
    for name, right in by_name.items():
        together = equality_design(left, right)
        yield from _questions(together, family.name, size, differs=name != family.compares[1])


def _questions(
    design: Design, family: str, size: int | None, *, differs: bool = False, prefix: str = ""
) -> Iterator[Question]:
    givens = tuple(given for given in design.givens if restricts(given, View.SETTLED))
    model = SettledModel(replace(design, givens=givens))
    for claim in design.claims:
        if claim.view is not View.SETTLED or (size is not None and isinstance(claim.formula, Settles)):
            continue
        yield Question(
            family=family,
            size=size,
            name=f"{prefix}{design.name}: {claim.name}",
            system=model.system(claim).cone_of_influence(),
            expected=differs or _expects_a_run(claim),
        )


def _expects_a_run(claim: Claim) -> bool:
    return (claim.kind is ClaimKind.CAN) != claim.expected_to_break


def families_named(part: str | None) -> tuple[Family, ...]:
    return tuple(family for family in FAMILIES if part is None or part in family.name)


def is_in_suite(part: str | None) -> bool:
    return part is None or part == SHELF or bool(families_named(part))
