"""A run as the page's script steps through it: plain data, one entry for each instant of its timing diagram."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from verifier.circuit.netlist import NetId, Netlist
from verifier.claims.claim import Design, View
from verifier.claims.run import Run
from verifier.report.causes import Firing, firings
from verifier.report.page.settled_causes import moved_in_step
from verifier.report.pieces import clean, listing
from verifier.report.told_run import ToldRun
from verifier.report.wave_layout import Mark, WaveDiagram, wave_diagram

TOLD_AT_MOST = 8
"""Movements told in words at one instant; the drawing marks all of them."""


@dataclass(frozen=True, kw_only=True)
class PageRun:
    """One run to step through, with its diagram."""

    identity: str
    title: str
    design: Design
    view: View
    run: Run
    diagram: WaveDiagram

    def record(self) -> dict[str, Any]:
        """As the page's script reads it. Nets are numbers; every text is clean."""
        netlist, diagram = self.design.netlist, self.diagram
        moved = _moved(netlist, self.run, self.view)
        gathered = [_between(moved, diagram.instants, place) for place in range(len(diagram.instants))]
        return {
            "title": clean(self.title),
            "unit": diagram.unit,
            "numbers": list(diagram.numbers),
            "deeds": list(diagram.deeds),
            "marks": {mark.instant: mark.text for mark in diagram.marks},
            "loopFrom": diagram.loop_from,
            "forEver": diagram.for_ever,
            "x": [diagram.x_of(instant) for instant in range(len(diagram.numbers) + 1)],
            "values": ["".join("01"[value] for value in self.run.instants[index]) for index in diagram.instants],
            "moved": [[[firing.net, _pins(firing)] for firing in firings] for firings in gathered],
            "because": [_told(netlist, self.run, index, moved[index], self.view) for index in diagram.instants],
        }


def page_run(identity: str, title: str, told: ToldRun, mark: str = "") -> PageRun:
    """`mark` is said at the last instant, in place of what is marked in any picture of the run."""
    marks = (Mark(instant=len(told.run) - 1, text=mark),) if mark else told.marks()
    diagram = wave_diagram(told.design.netlist, told.run, told.signals, title=title, view=told.claim.view, marks=marks)
    return PageRun(
        identity=identity, title=title, design=told.design, view=told.claim.view, run=told.run, diagram=diagram
    )


def _moved(netlist: Netlist, run: Run, view: View) -> tuple[tuple[Firing, ...], ...]:
    if view is not View.SETTLED:
        return firings(netlist, run)
    steps = [moved_in_step(netlist, run.instants[i - 1], run.instants[i], i) for i in range(1, len(run))]
    return ((), *steps)


def _between(moved: Sequence[Sequence[Firing]], shown: Sequence[int], place: int) -> list[Firing]:
    """What moved since the instant that is shown before this one."""
    first = shown[place - 1] + 1 if place else 0
    return [firing for firings in moved[first : shown[place] + 1] for firing in firings]


def _pins(firing: Firing) -> list[NetId]:
    return [] if firing.cause is None else list(firing.cause.pins)


def _told(netlist: Netlist, run: Run, index: int, moved: Sequence[Firing], view: View) -> str:
    """In words what moved because of what; empty where the deed of a delay view says it already."""
    if view is not View.SETTLED or not moved:
        return ""
    told = [_movement(netlist, run, index, firing) for firing in moved[:TOLD_AT_MOST]]
    more = len(moved) - TOLD_AT_MOST
    return clean("; ".join(told) + (f"; and {more} more" if more > 0 else ""))


def _movement(netlist: Netlist, run: Run, index: int, firing: Firing) -> str:
    values = run.instants[index]
    edge = f"{netlist.nets[firing.net].name} {'rises' if values[firing.net] else 'falls'}"
    pins = [f"{netlist.nets[pin].name} {'rose' if values[pin] else 'fell'}" for pin in _pins(firing)]
    return f"{edge} ({listing(pins) or 'its pins moved and went back'})"
