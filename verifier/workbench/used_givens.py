"""What a proof leans on: the claim is judged again with one assumption given up, then with all that were not needed.

Assumptions are the givens, the rules about the inputs, and the starts that the file gives. "Does not lean on" is said
only of a claim that was proved again without it, certificate and all; "leans on" only with a run that breaks it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from verifier.circuit.netlist import InputClass, NetId, Netlist
from verifier.claims.claim import Claim, Design, View
from verifier.claims.support import restricts
from verifier.claims.tableau import is_about_the_future
from verifier.claims.trigger import watched
from verifier.errors import EdgewrightError, InternalDisagreement
from verifier.evidence.explanation import Kind, Leaned, Leaning
from verifier.evidence.verdict import ClaimResult, Verdict
from verifier.workbench.judge import Judge

MOST_SECONDS_EACH = 10.0
GIVEN_UP = {
    InputClass.FREE_RUNNING: "{name} is free running (keeps changing for ever)",
    InputClass.BY_HAND: "{name} is by hand (changes alone)",
    InputClass.STRAPPED: "{name} is strapped (never changes)",
}

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
        if assumption.without is _together and found[-1].leaning is Leaning.NOT:
            assumptions.extend(_by_hand(design))
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
        """Whether the claim is proved of this design too."""
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
    netlist = design.netlist
    if not netlist.inputs_may_change_together and len(_movable(netlist)) > 1:
        word = "step" if claim.view is not View.TIMED else "move"
        yield _Assumption(Kind.INPUT, f"at most one input changes in a {word}", "", _together)
    for pin in netlist.inputs:
        if _says_something(design, claim, pin.input_class):
            what = GIVEN_UP[pin.input_class].format(name=pin.name)
            yield _Assumption(Kind.INPUT, what, pin.name, _free(pin.name))
    if claim.view is View.SETTLED:
        for net, start in _starts(netlist):
            name = netlist.nets[net].name
            yield _Assumption(Kind.START, f"{name} starts at {int(start)}", name, _any_start(net))


def _by_hand(design: Design) -> Iterator[_Assumption]:
    """What these rules say beyond "at most one input changes": they are given up together with it."""
    for pin in design.netlist.inputs:
        if pin.input_class is InputClass.BY_HAND:
            what = GIVEN_UP[pin.input_class].format(name=pin.name)
            yield _Assumption(Kind.INPUT, what, pin.name, _free_together(pin.name))


def _free_together(name: str) -> Callable[[Design], Design]:
    return lambda design: _free(name)(_together(design))


def _says_something(design: Design, claim: Claim, input_class: InputClass) -> bool:
    """Whether giving the class of an input up permits more runs of this claim's view."""
    if input_class is InputClass.FREE or claim.view is View.TIMED:
        return False
    if input_class is InputClass.BY_HAND:
        # Where at most one input changes anyway, this rule says no more than that one; see `_by_hand`.
        return design.netlist.inputs_may_change_together
    if input_class is InputClass.FREE_RUNNING:
        return is_about_the_future(watched(claim)) or any(is_about_the_future(given.formula) for given in design.givens)
    return True


def _movable(netlist: Netlist) -> list[str]:
    return [pin.name for pin in netlist.inputs if pin.input_class is not InputClass.STRAPPED]


def _starts(netlist: Netlist) -> Sequence[tuple[NetId, bool]]:
    return [(net, driver.start) for net, driver in sorted(netlist.drivers.items()) if driver.start is not None]


def _without_given(name: str) -> Callable[[Design], Design]:
    def without(design: Design) -> Design:
        return replace(design, givens=tuple(given for given in design.givens if given.name != name))

    return without


def _together(design: Design) -> Design:
    return replace(design, netlist=replace(design.netlist, inputs_may_change_together=True))


def _free(name: str) -> Callable[[Design], Design]:
    def without(design: Design) -> Design:
        inputs = tuple(
            replace(pin, input_class=InputClass.FREE, high=None, low=None, apart=None) if pin.name == name else pin
            for pin in design.netlist.inputs
        )
        return replace(design, netlist=replace(design.netlist, inputs=inputs))

    return without


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
