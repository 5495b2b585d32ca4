"""What a proof leans on: the claim is judged again with one assumption given up, then with all that were not needed.

Assumptions are the givens, the rules about the inputs, and the starts that the file gives. "Does not lean on" is said
only of a claim that was proved again without it, certificate and all; "leans on" only with a run that breaks it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from verifier.circuit.netlist import Input, InputClass, NetId, Netlist
from verifier.claims.claim import Claim, Design, Given, View
from verifier.claims.formula import Apply, Never, Operator, Signal, Step, StepWord
from verifier.claims.support import restricts
from verifier.claims.tableau import is_about_the_future
from verifier.claims.trigger import watched
from verifier.errors import EdgewrightError, InternalDisagreement
from verifier.evidence.explanation import Kind, Leaned, Leaning
from verifier.evidence.verdict import ClaimResult, Verdict
from verifier.report.pieces import listing
from verifier.workbench.judge import Judge

MOST_SECONDS_EACH = 10.0
OUT_OF_TIME = "the time for the whole call ran out"
ONE_AT_A_TIME = "one at a time"
"""A given that no file can have, as its name has spaces."""

Told = Callable[[str], None]


@dataclass(frozen=True)
class _Assumption:
    kind: Kind
    what: str
    name: str
    without: Callable[[Design], Design]


def what_it_leans_on(design: Design, result: ClaimResult, deadline: float, on_start: Told) -> tuple[Leaned, ...]:
    """Each assumption of a `proved` (`impossible`) claim; those that matter to its view.

    `design` has the claim alone. `on_start` is told the assumption at hand.
    """
    trying = _Trying(design, result, deadline)
    assumptions = [*_assumptions(design, result.claim)]
    found: list[Leaned] = []
    for place, assumption in enumerate(assumptions):
        on_start(assumption.what)
        found.append(trying.alone(assumption, 2 * len(assumptions) - place))
    return _together_marked(trying, design, assumptions, found, on_start)


def _together_marked(
    trying: _Trying, design: Design, assumptions: Sequence[_Assumption], found: Sequence[Leaned], on_start: Told
) -> tuple[Leaned, ...]:
    """Marks as many as can be given up at once, in order, of those that can be given up alone."""
    given_up: list[int] = []
    lighter = design
    for place, (assumption, leaned) in enumerate(zip(assumptions, found, strict=True)):
        if leaned.leaning is Leaning.NOT:
            on_start(f"{assumption.what}, and others")
            tried = assumption.without(lighter)
            if not given_up or trying.still(tried, len(assumptions) - place):
                lighter = tried
                given_up.append(place)
    return tuple(replace(leaned, together=place in given_up) for place, leaned in enumerate(found))


class _Trying:
    def __init__(self, design: Design, result: ClaimResult, deadline: float) -> None:
        self._design, self._claim, self._deadline = design, result.claim, deadline
        self._wanted = result.verdict

    def alone(self, assumption: _Assumption, parts: int) -> Leaned:
        """What becomes of the claim when this assumption is given up and no other."""
        leaned = Leaned(kind=assumption.kind, what=assumption.what, name=assumption.name, leaning=Leaning.OPEN)
        if time.monotonic() > self._deadline:
            return replace(leaned, reason=OUT_OF_TIME)
        try:
            result = self._judged(assumption.without(self._design), parts)
        except InternalDisagreement:
            raise
        except EdgewrightError as error:
            return replace(leaned, reason=str(error).splitlines()[0])
        if result.verdict is self._wanted:
            return replace(leaned, leaning=Leaning.NOT)
        if result.verdict in (Verdict.BROKEN, Verdict.SHOWN):
            return replace(leaned, leaning=Leaning.LEANS, run=result.run)
        return replace(leaned, reason=result.reason)

    def still(self, design: Design, parts: int) -> bool:
        """Whether the claim is proved of this design too, as far as there is time to find out."""
        if time.monotonic() > self._deadline:
            return False
        try:
            return self._judged(design, parts).verdict is self._wanted
        except InternalDisagreement:
            raise
        except EdgewrightError:
            return False

    def _judged(self, design: Design, parts: int) -> ClaimResult:
        left = max(self._deadline - time.monotonic(), 0.0)
        limit = min(left / max(parts, 1), MOST_SECONDS_EACH)
        return Judge(design, limit_seconds=limit, depth=None).judge(self._claim, limit)


def _assumptions(design: Design, claim: Claim) -> Iterator[_Assumption]:
    for given in design.givens:
        if restricts(given, claim.view):
            yield _Assumption(Kind.GIVEN, f"given {given.name}", given.name, _without_given(given.name))
    if claim.view is not View.TIMED:
        yield from _about_inputs(design, claim)
    if claim.view is View.SETTLED:
        for net, start in _starts(design.netlist):
            name = design.netlist.nets[net].name
            yield _Assumption(Kind.START, f"{name} starts {'high' if start else 'low'}", name, _any_start(net))


def _about_inputs(design: Design, claim: Claim) -> Iterator[_Assumption]:
    netlist = design.netlist
    movable = [pin for pin in netlist.inputs if pin.input_class is not InputClass.STRAPPED]
    others = _not_by_hand(netlist)
    if not netlist.inputs_may_change_together and len(others) > 1:
        yield _Assumption(Kind.INPUT, f"at most one of {listing(others)} changes in a step", "", _together)
    for pin in netlist.inputs:
        match pin.input_class:
            case InputClass.BY_HAND if len(movable) > 1:
                yield _Assumption(Kind.INPUT, f"{pin.name} by hand: it changes alone", pin.name, _free(pin.name))
            case InputClass.FREE_RUNNING if _is_about_the_future(design, claim):
                what = f"{pin.name} free running: it keeps changing for ever"
                yield _Assumption(Kind.INPUT, what, pin.name, _free(pin.name))
            case InputClass.STRAPPED:
                yield _Assumption(Kind.INPUT, f"{pin.name} strapped: it never changes", pin.name, _free(pin.name))
            case _:
                pass


def _is_about_the_future(design: Design, claim: Claim) -> bool:
    """Only then it matters that something keeps happening."""
    return any(map(is_about_the_future, (watched(claim), *(given.formula for given in design.givens))))


def _not_by_hand(netlist: Netlist) -> list[str]:
    return [p.name for p in netlist.inputs if p.input_class in (InputClass.FREE, InputClass.FREE_RUNNING)]


def _starts(netlist: Netlist) -> Sequence[tuple[NetId, bool]]:
    return [(net, driver.start) for net, driver in sorted(netlist.drivers.items()) if driver.start is not None]


def _without_given(name: str) -> Callable[[Design], Design]:
    def without(design: Design) -> Design:
        return replace(design, givens=tuple(given for given in design.givens if given.name != name))

    return without


def _together(design: Design) -> Design:
    """Those by hand still change alone."""
    lifted = replace(design, netlist=replace(design.netlist, inputs_may_change_together=True))
    return _without_given(ONE_AT_A_TIME)(lifted)


def _free(name: str) -> Callable[[Design], Design]:
    """The input may change at any step; if it was by hand, together with others, of which still one changes at most."""

    def without(design: Design) -> Design:
        netlist = design.netlist
        (pin,) = (pin for pin in netlist.inputs if pin.name == name)
        inputs = tuple(replace(one, input_class=InputClass.FREE) if one == pin else one for one in netlist.inputs)
        lifted = replace(design, netlist=replace(netlist, inputs=inputs))
        if pin.input_class is not InputClass.BY_HAND or netlist.inputs_may_change_together:
            return lifted
        others = [one for one in netlist.inputs if one.name in _not_by_hand(netlist)]
        givens = (*design.givens, *_one_at_a_time(others))
        return replace(lifted, netlist=replace(lifted.netlist, inputs_may_change_together=True), givens=givens)

    return without


def _one_at_a_time(pins: Sequence[Input]) -> Iterator[Given]:
    """That no two of these change in one step."""
    moves = [Step(word=StepWord.CHANGES, operand=Signal(name=p.name, nets=p.nets, width=len(p.nets))) for p in pins]
    pairs = tuple(Apply(operator=Operator.AND, operands=pair) for pair in combinations(moves, 2))
    if pairs:
        some = pairs[0] if len(pairs) == 1 else Apply(operator=Operator.OR, operands=pairs)
        yield Given(name=ONE_AT_A_TIME, formula=Never(operand=some), text=ONE_AT_A_TIME)


def _any_start(net: NetId) -> Callable[[Design], Design]:
    def without(design: Design) -> Design:
        netlist = design.netlist
        return replace(
            design,
            netlist=replace(
                netlist,
                gates=tuple(replace(one, start=None) if one.output == net else one for one in netlist.gates),
                flip_flops=tuple(replace(one, start=None) if one.output == net else one for one in netlist.flip_flops),
                latches=tuple(replace(one, start=None) if one.output == net else one for one in netlist.latches),
                set_resets=tuple(replace(one, start=None) if one.output == net else one for one in netlist.set_resets),
            ),
        )

    return without
