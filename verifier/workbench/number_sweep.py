"""Tightest numbers against a given number that is varied: `apart of lever 20..120 step 20`.

Every point is a circuit of its own, judged like any other; what was not decided in time is said to be so, and nothing
is concluded about the numbers between two points.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from verifier.circuit.netlist import Input, Range
from verifier.claims.asked_number import asked_bound
from verifier.claims.claim import Claim, Design, Given
from verifier.claims.formula import Bound, Formula, Unit, walk
from verifier.errors import CallError, SourceError
from verifier.evidence.verdict import ClaimResult, Measured, Verdict
from verifier.report.measured import amount
from verifier.report.page.content import Sweep, SweepPoint
from verifier.workbench.checking import check_design, nothing
from verifier.workbench.selection import nearest_hint

POINTS_AT_MOST = 60
HOW = "write it as `apart of lever 20..120 step 20`, `high of tempo 10..20`, or `given settled_long_ago 5..9`"
_ASKED = re.compile(
    r"(?:(?P<figure>apart|high|low) of|(?P<given>given)) (?P<name>\S+) "
    r"(?P<first>\d{1,9})\.\.(?P<last>\d{1,9})(?: ns)?(?: step (?P<step>\d{1,9}))?"
)

OnPoint = Callable[[str], None]
"""Told what is being judged, in a few words."""


@dataclass(frozen=True, kw_only=True)
class AskedSweep:
    """One number of the file, and the values it is to take."""

    figure: str
    """`apart`, `high`, `low` or `given`."""
    name: str
    """Of the input or the given."""
    values: tuple[int, ...]

    @property
    def told(self) -> str:
        return f"given {self.name}" if self.figure == "given" else f"{self.figure} of {self.name}"


def asked_sweep(text: str) -> AskedSweep:
    """Reads a sweep from the call. Raises CallError when it is none."""
    found = _ASKED.fullmatch(" ".join(text.split()))
    if found is None:
        raise CallError(f"`{text}` is no sweep", HOW)
    first, last, step = int(found["first"]), int(found["last"]), int(found["step"] or 1)
    if step < 1 or first > last:
        raise CallError(f"`{text}` has no numbers in it", HOW)
    values = tuple(range(first, last + 1, step))
    if len(values) > POINTS_AT_MOST:
        raise CallError(f"`{text}` has {len(values)} points, more than {POINTS_AT_MOST}", "give it a larger step")
    return AskedSweep(figure=found["figure"] or "given", name=found["name"], values=values)


def sweeps(
    designs: Sequence[Design], asked: Sequence[AskedSweep], *, limit: float, on_point: OnPoint = nothing
) -> tuple[Sweep, ...]:
    """For each sweep and each circuit that has this number, one `Sweep` for each claim with a `?`; in `limit` seconds.

    Raises CallError when no circuit has the number, or none of these has a claim with a `?`.
    """
    deadline = time.monotonic() + limit
    jobs = [job for one in asked for job in _jobs(designs, one)]
    left = sum(len(one.values) for one, _, _ in jobs)
    found: list[Sweep] = []
    for one, design, claims in jobs:
        points: dict[str, list[SweepPoint]] = {claim.name: [] for claim in claims}
        measured: dict[str, Measured] = {}
        for value in one.values:
            on_point(f"{design.name}: {one.told} {value}")
            share = max((deadline - time.monotonic()) / left, 0.05)
            left -= 1
            for name, point, number in _judged(_varied(design, one, value), claims, value, share):
                points[name].append(point)
                if number is not None:
                    measured[name] = number
        found += [_sweep(one, design, claim, points[claim.name], measured.get(claim.name)) for claim in claims]
    return tuple(found)


def _jobs(designs: Sequence[Design], asked: AskedSweep) -> list[tuple[AskedSweep, Design, list[Claim]]]:
    having = [design for design in designs if _has(design, asked)]
    if not having:
        names = [given.name for design in designs for given in design.givens]
        if asked.figure != "given":
            names = [pin.name for design in designs for pin in design.netlist.inputs if _figure(pin, asked.figure)]
        raise CallError(f"no circuit has a number at `{asked.told}`", nearest_hint(asked.name, names) or HOW)
    claims = [(design, [claim for claim in design.claims if asked_bound(claim.formula)]) for design in having]
    jobs = [(asked, design, measured) for design, measured in claims if measured]
    if not jobs:
        raise CallError(f"no circuit with `{asked.told}` has a claim with a `?`", "a sweep plots tightest numbers")
    return jobs


def _has(design: Design, asked: AskedSweep) -> bool:
    if asked.figure != "given":
        return any(pin.name == asked.name and _figure(pin, asked.figure) for pin in design.netlist.inputs)
    return any(given.name == asked.name and len(_numbers(given.formula)) == 1 for given in design.givens)


def _figure(pin: Input, figure: str) -> bool:
    return getattr(pin, figure) is not None


def _numbers(formula: Formula) -> set[int]:
    """The numbers of ns in a given; one with a `?` is no number to vary."""
    bounds = [value for node in walk(formula) for value in vars(node).values() if isinstance(value, Bound)]
    if any(not isinstance(bound.amount, int) or bound.unit is not Unit.NANOSECONDS for bound in bounds):
        return set()
    return {bound.amount for bound in bounds if isinstance(bound.amount, int)}


def _varied(design: Design, asked: AskedSweep, value: int) -> Design:
    if asked.figure == "given":
        givens = tuple(_with_number(given, value) if given.name == asked.name else given for given in design.givens)
        return replace(design, givens=givens)
    inputs = tuple(
        _with_figure(pin, asked.figure, value) if pin.name == asked.name else pin for pin in design.netlist.inputs
    )
    return replace(design, netlist=replace(design.netlist, inputs=inputs))


def _with_figure(pin: Input, figure: str, value: int) -> Input:
    """`high` and `low` keep their spread: the number is the lower end of the range."""
    old: int | Range | None = getattr(pin, figure)
    new: int | Range = Range(value, value + old.high - old.low) if isinstance(old, Range) else value
    return replace(pin, **{figure: new})  # type: ignore[arg-type]


def _with_number(given: Given, value: int) -> Given:
    (number,) = _numbers(given.formula)
    formula = _replaced(given.formula, value)
    return replace(given, formula=formula, text=re.sub(rf"\b{number}\b(?= ns)", str(value), given.text))


def _replaced(node: Formula, value: int) -> Formula:
    changed: dict[str, object] = {}
    for name, part in vars(node).items():
        if isinstance(part, Bound):
            changed[name] = replace(part, amount=value)
        elif isinstance(part, Formula):
            changed[name] = _replaced(part, value)
        elif isinstance(part, tuple) and any(isinstance(item, Formula) for item in part):
            changed[name] = tuple(_replaced(item, value) if isinstance(item, Formula) else item for item in part)
    return replace(node, **changed) if changed else node  # type: ignore[arg-type]


def _judged(
    design: Design, claims: Sequence[Claim], value: int, limit: float
) -> list[tuple[str, SweepPoint, Measured | None]]:
    names = [claim.name for claim in claims]
    try:
        found = check_design(design, limit=limit, claims=names)
    except SourceError as error:
        return [(name, SweepPoint(given=value, value=None, told=str(error)), None) for name in names]
    return [(result.claim.name, _point(value, result), result.measured) for result in found.claims]


def _point(value: int, result: ClaimResult) -> SweepPoint:
    measured = result.measured
    if measured is not None and result.verdict is Verdict.PROVED:
        more = "" if measured.beyond is not None else " (no number breaks it)"
        return SweepPoint(given=value, value=measured.value, told=amount(measured.value, measured.unit) + more)
    if result.verdict is Verdict.UNDECIDED:
        return SweepPoint(given=value, value=None, told=f"undecided: {result.reason}")
    return SweepPoint(given=value, value=None, told="broken at every number")


def _sweep(
    asked: AskedSweep, design: Design, claim: Claim, points: Sequence[SweepPoint], measured: Measured | None
) -> Sweep:
    return Sweep(
        circuit=design.name,
        claim=claim.name,
        text=claim.text,
        given=asked.told,
        unit="ns",
        value_unit="" if measured is None else measured.unit,
        of="" if measured is None else measured.of,
        points=tuple(points),
    )
