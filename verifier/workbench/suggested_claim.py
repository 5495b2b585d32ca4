"""A claim that would notice what no claim notices: put together from a run that tells, and tried on the good circuit.

What is suggested is proved of the good circuit, and breaks on the run. It is made of the names of the pins: what the
inputs do at the last instant of the run, then what the pins showed before, as far back as is needed; parts that it
holds without are left out.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import replace

from verifier.circuit.netlist import NetId, Netlist
from verifier.claims import formula as tree
from verifier.claims.claim import Claim, ClaimKind, Design
from verifier.claims.formula import Apply, Before, Comparison, Formula, OnlyWhen, Operator, Signal, Step, StepWord
from verifier.claims.meaning import first_breach
from verifier.claims.run import Instant
from verifier.errors import SourceError
from verifier.evidence.telling import Telling
from verifier.evidence.verdict import Verdict
from verifier.report.wording import worded
from verifier.workbench.judge import Judge, Wishes

MOST_INSTANTS_BACK = 3
LONGEST_SEARCH_SECONDS = 2.0
NAME = "suggested"


class Suggester:
    """Keeps one judge of the good circuit for all suggestions."""

    def __init__(self, design: Design) -> None:
        self._design = design
        self._judge: Judge | None = None

    def claim_that_notices(self, telling: Telling, deadline: float) -> str:
        """Its text, without kind and name; empty when none was found in time."""
        deadline = min(deadline, time.monotonic() + LONGEST_SEARCH_SECONDS)
        for conditions in _conditions(self._design.netlist, telling):
            for shown in _differing(self._design.netlist, telling):
                if self._holds(conditions, shown, telling, deadline):
                    return worded(_claim(self._leanest(conditions, shown, telling, deadline), shown))
        return ""

    def _leanest(
        self, conditions: Sequence[Formula], shown: Formula, telling: Telling, deadline: float
    ) -> list[Formula]:
        """Pre: it holds with all conditions. Those furthest back are tried first."""
        kept = list(conditions)
        for condition in reversed(conditions):
            fewer = [one for one in kept if one is not condition]
            if fewer and self._holds(fewer, shown, telling, deadline):
                kept = fewer
        return kept

    def _holds(self, conditions: Sequence[Formula], shown: Formula, telling: Telling, deadline: float) -> bool:
        """Proved of the good circuit, and broken by the run."""
        formula = _claim(conditions, shown)
        if time.monotonic() > deadline or first_breach(formula, telling.run) is None:
            return False
        claim = Claim(name=NAME, kind=ClaimKind.MUST, formula=formula, text=worded(formula))
        try:
            if self._judge is None:
                self._judge = Judge(
                    self._design,
                    limit_seconds=LONGEST_SEARCH_SECONDS,
                    depth=None,
                    wishes=Wishes(triggers=False),
                )
        except SourceError:
            return False
        return self._judge.judge(claim, max(deadline - time.monotonic(), 0.01)).verdict is Verdict.PROVED


def _claim(conditions: Sequence[Formula], shown: Formula) -> Formula:
    left = conditions[0] if len(conditions) == 1 else Apply(operator=Operator.AND, operands=tuple(conditions))
    return OnlyWhen(left=left, right=shown)


def _conditions(netlist: Netlist, telling: Telling) -> Iterator[list[Formula]]:
    """What can be said of the way to the last instant, more and more of it."""
    instants = telling.run.instants
    last = len(instants) - 1
    inputs = [(pin.name, pin.nets) for pin in netlist.inputs]
    pins = [*inputs, *((pin.name, pin.nets) for pin in netlist.outputs)]
    now = [_shows(name, nets, instants[last]) for name, nets in inputs]
    if now:
        yield now
    if agreeing := _agreeing(netlist, telling):
        yield [*now, *agreeing]
    if last == 0:
        return
    moved = [
        _step(name, nets, instants[last - 1], instants[last])
        for name, nets in inputs
        if any(instants[last - 1][net] != instants[last][net] for net in nets)
    ]
    said = [*moved, *(one for one, (_, nets) in zip(now, inputs, strict=True) if not _moves(nets, instants, last))]
    for back in range(1, min(MOST_INSTANTS_BACK, last) + 1):
        for name, nets in pins:
            shown = _shows(name, nets, telling.good[last - back])
            for _ in range(back):
                shown = Before(operand=shown)
            said.append(shown)
        yield list(said)
        if agreeing:
            yield [*said, *agreeing]


def _moves(nets: Sequence[NetId], instants: Sequence[Instant], at: int) -> bool:
    return any(instants[at - 1][net] != instants[at][net] for net in nets)


def _step(name: str, nets: tuple[NetId, ...], before: Instant, after: Instant) -> Formula:
    signal = Signal(name=name, nets=nets, width=len(nets))
    if len(nets) > 1:
        return Apply(
            operator=Operator.AND,
            operands=(Step(word=StepWord.CHANGES, operand=signal), _shows(name, nets, after)),
        )
    return Step(word=StepWord.RISES if after[nets[0]] else StepWord.FALLS, operand=signal)


def _shows(name: str, nets: tuple[NetId, ...], instant: Instant) -> Formula:
    """The signal has the value it has at this instant."""
    signal = Signal(name=name, nets=nets, width=len(nets))
    if len(nets) == 1:
        return signal if instant[nets[0]] else Apply(operator=Operator.NOT, operands=(signal,))
    value = sum(instant[net] << place for place, net in enumerate(nets))
    number = tree.Literal(value=value, width=len(nets))
    return tree.Compare(comparison=Comparison.EQUAL, left=signal, right=number)


def _agreeing(netlist: Netlist, telling: Telling) -> list[Formula]:
    """What both circuits show at the last instant at the outputs that do not tell."""
    good = telling.good[-1]
    return [_shows(pin.name, pin.nets, good) for pin in netlist.outputs if not _tells(pin.nets, telling)]


def _differing(netlist: Netlist, telling: Telling) -> list[Formula]:
    """For each output that tells, what the good circuit shows there at the last instant, and not what the faulty one
    does; the latter says more only of several wires."""
    faulty, good = telling.run.instants[-1], telling.good[-1]
    telling_pins = [(pin.name, pin.nets) for pin in netlist.outputs if _tells(pin.nets, telling)]
    return [
        *(_shows(name, nets, good) for name, nets in telling_pins),
        *(_shows_other(name, nets, faulty) for name, nets in telling_pins if len(nets) > 1),
    ]


def _tells(nets: Sequence[NetId], telling: Telling) -> bool:
    return any(telling.run.instants[-1][net] != telling.good[-1][net] for net in nets)


def _shows_other(name: str, nets: tuple[NetId, ...], instant: Instant) -> Formula:
    shown = _shows(name, nets, instant)
    assert isinstance(shown, tree.Compare)
    return replace(shown, comparison=Comparison.DIFFERENT)
