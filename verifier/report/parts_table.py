"""What each circuit is made of, under the matrix of `compare`: sizes in a table, packages below it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from verifier.circuit.measures import Measures
from verifier.circuit.packages import Package, PartsNeeded, StandIn
from verifier.report.pieces import Line, Piece, Tone, clean, line, paragraph

COLUMNS = ("gates", "flip-flops", "latches", "depth", "packages", "spare")
GAP = "  "
NONE = "-"

Measured = tuple[str, Measures]
"""A circuit's name and its measures."""


def parts_lines(circuits: Sequence[Measured], *, width: int = 80) -> list[Line]:
    """The table of sizes, then for each circuit what to take out of the drawer, then what these packages hold."""
    if not circuits:
        return []
    drawer = [row for name, found in circuits for row in _packages(name, found.parts, width)]
    parts = [_sizes(circuits, width), drawer, _legend([found for _, found in circuits], width)]
    return [row for part in parts if part for row in (line(), *part)][1:]


def parts_record(found: Measures) -> dict[str, Any]:
    """The same as data."""
    return {
        "gates": found.gates,
        "flip_flops": found.flip_flops,
        "latches": found.latches,
        "loops": found.loops,
        "depth": found.depth,
        "packages": [
            {
                "number": needed.package.number,
                "holds": needed.package.holds,
                "packages": needed.packages,
                "used": needed.used,
                "spare": needed.spare,
            }
            for needed in found.parts.packages
        ],
        "stand_ins": [
            {"number": one.package.number, "serves_as": one.serves_as.number, "gates": one.gates}
            for one in found.parts.stand_ins
        ],
        "toggles_from_d": found.parts.toggles_from_d,
        "inverters_from_spares": found.parts.inverters_from_spares,
        "without_package": list(found.parts.without_package),
    }


def _sizes(circuits: Sequence[Measured], width: int) -> list[Line]:
    """A name too long to stand beside its figures stands above them; where no table fits, the figures are told."""
    room = width - sum(len(GAP) + len(column) for column in COLUMNS)
    if room < len("circuit"):
        return [row for name, found in circuits for row in _told(name, found, width)]
    name_width = min(max(len("circuit"), *(len(clean(name)) for name, _ in circuits)), room)
    rows = [_row("circuit".ljust(name_width), [Piece(column, Tone.HEADING) for column in COLUMNS])]
    for name, found in circuits:
        cells = [Piece(str(figure) if figure else NONE) for figure in _figures(found)]
        if len(clean(name)) > name_width:
            rows.append(line(clean(name)))
            name = ""
        rows.append(_row(clean(name).ljust(name_width), cells))
    return rows


def _told(name: str, found: Measures, width: int) -> list[Line]:
    figures = ", ".join(f"{column} {figure}" for column, figure in zip(COLUMNS, _figures(found), strict=True))
    return paragraph(f"{clean(name)}: {figures}", width=width, then="  ")


def _figures(found: Measures) -> tuple[int, ...]:
    parts = found.parts
    return (found.gates, found.flip_flops, found.latches, found.depth, parts.package_count, parts.spare)


def _row(name: str, cells: Sequence[Piece]) -> Line:
    padded = [Piece(cell.text.rjust(len(column)), cell.tone) for cell, column in zip(cells, COLUMNS, strict=True)]
    return line(name, *(part for cell in padded for part in (GAP, cell)))


def _packages(name: str, parts: PartsNeeded, width: int) -> list[Line]:
    """`two_registers: 7404 (3 spare), 2 x 7474 (full)`."""
    told = [
        f"{f'{needed.packages} x ' if needed.packages > 1 else ''}{needed.package.number} "
        f"({f'{needed.spare} spare' if needed.spare else 'full'})"
        for needed in parts.packages
    ]
    told += [_stands_in(one) for one in parts.stand_ins]
    if parts.toggles_from_d:
        toggles = "toggle" if parts.toggles_from_d == 1 else "toggles"
        told.append(f"{parts.toggles_from_d} {toggles} in a 7474 (D on its own complement)")
    missing = [f"no package for {what}" for what in dict.fromkeys(parts.without_package)]
    told = [*told, *missing] or ["nothing but wires"]
    told[0] = f"{clean(name)}: {told[0]}"
    return _items(told, ",", width, then="    ")


def _stands_in(one: StandIn) -> str:
    """`a gate of a 7411 as two-input AND (an input tied)`."""
    gates = "a gate" if one.gates == 1 else f"{one.gates} gates"
    tied = "an input" if one.gates == 1 else "an input each"
    return f"{gates} of a {one.package.number} as {one.serves_as.holds} ({tied} tied)"


def _legend(found: Sequence[Measures], width: int) -> list[Line]:
    """What each number stands for, once."""
    used = {needed.package.number: needed.package for each in found for needed in each.parts.packages}
    return _items([_described(used[number]) for number in sorted(used, key=int)], ";", width, then="  ")


def _described(package: Package) -> str:
    holds = f"{package.count} x {package.holds}" if package.count > 1 else package.holds
    return f"{package.number}: {holds}" + (f" ({package.note})" if package.note else "")


def _items(items: Sequence[str], mark: str, width: int, *, then: str) -> list[Line]:
    """The items one after the other, none of them broken where it fits on a line of its own."""
    rows: list[str] = []
    for index, item in enumerate(items):
        text = item + (mark if index < len(items) - 1 else "")
        if rows and len(then) + len(rows[-1]) + 1 + len(text) <= width:
            rows[-1] += f" {text}"
        else:
            rows.append(text)
    return [
        laid_out
        for index, row in enumerate(rows)
        for laid_out in paragraph(row, width=width, first=then if index else "  ", then=then)
    ]
