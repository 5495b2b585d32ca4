"""What narrows the runs that a claim speaks of, as items that can be compared from one revision to the next.

`assumptions.py` says the same to people, in sentences that also describe what restricts nothing. Here is only what a
proof would lose by: an input that may do anything is no item, and of two ranges the wider restricts less.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from verifier.circuit.netlist import Input, InputClass, Netlist
from verifier.claims.claim import Claim, Design, View
from verifier.claims.support import restricts
from verifier.evidence.gate_outcome import Restriction
from verifier.report.wording import worded

BY_HAND, STRAPPED, FREE_RUNNING = "changes by hand", "never changes", "keeps changing for ever"
WORDS = {InputClass.BY_HAND: BY_HAND, InputClass.STRAPPED: STRAPPED, InputClass.FREE_RUNNING: FREE_RUNNING}
IN_DOUBT = "in doubt"
TOGETHER = "at most one changes at a time"


def restrictions(design: Design, claim: Claim, doubts: Sequence[str] = ()) -> tuple[Restriction, ...]:
    """Of the runs of this claim's view; `doubts` are what could not be established beforehand."""
    return tuple(_listed(design, claim.view, doubts))


def _listed(design: Design, view: View, doubts: Sequence[str]) -> Iterator[Restriction]:
    netlist = design.netlist
    for pin in netlist.inputs:
        yield from _of_input(pin, view)
    if len(netlist.inputs) > 1 and not netlist.inputs_may_change_together:
        yield Restriction(subject="inputs", words=TOGETHER)
    for given in design.givens:
        if restricts(given, view):
            yield Restriction(subject="given", words=worded(given.formula))
    yield from _starts(netlist)
    for doubt in doubts:
        yield Restriction(subject=IN_DOUBT, words=doubt)


def _of_input(pin: Input, view: View) -> Iterator[Restriction]:
    subject = f"input {pin.name}"
    timed: tuple[tuple[int, int | None], ...] = ()
    if view is View.TIMED:
        timed = tuple((stretch.low, stretch.high) for stretch in (pin.high, pin.low) if stretch is not None)
        timed += ((pin.apart, None),) if pin.apart is not None else ()
    if pin.input_class in WORDS:
        yield Restriction(subject=subject, words=WORDS[pin.input_class], spans=timed)


def _starts(netlist: Netlist) -> Iterator[Restriction]:
    for net, driver in sorted(netlist.drivers.items()):
        if driver.start is not None:
            yield Restriction(subject=f"power-up of {netlist.nets[net].name}", words=f"at {int(driver.start)}")


def added(before: Iterable[Restriction], now: Iterable[Restriction]) -> list[Restriction]:
    """Those of now that narrow the runs further than all those before."""
    known = list(before)
    return [restriction for restriction in now if not any(_covers(old, restriction) for old in known)]


def _covers(old: Restriction, new: Restriction) -> bool:
    """Whether whoever obeys the old one obeys the new one as well."""
    if old.subject != new.subject:
        return False
    if (old.words, new.words) == (STRAPPED, BY_HAND):
        return True
    if old.words != new.words or len(old.spans) != len(new.spans):
        return False
    return all(_within(inner, outer) for inner, outer in zip(old.spans, new.spans, strict=True))


def _within(inner: tuple[int, int | None], outer: tuple[int, int | None]) -> bool:
    if inner[0] < outer[0]:
        return False
    return outer[1] is None or (inner[1] is not None and inner[1] <= outer[1])
