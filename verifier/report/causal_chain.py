"""The chain of causes in a run of the settled view, in words: step by step, what changes and what that comes of.

What comes of what is not worked out here (`evidence/justification.py`). Gates without a name are told through: what
they come of is told in their place.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from verifier.circuit.netlist import InputClass, Netlist
from verifier.claims.run import Run
from verifier.evidence.explanation import At, How, Link
from verifier.report.pieces import Line, Piece, Tone, clean, line, listing, paragraph

FIRST, THEN = "    ", "        "


def chain_lines(netlist: Netlist, run: Run, links: Sequence[Link], roots: Sequence[At], *, width: int) -> list[Line]:
    """One line a value that changes (or is there from the start, or at the root), under a heading for each step."""
    telling = _Telling(netlist, run, links, roots)
    lines: list[Line] = []
    for step in range(len(run)):
        told = [sentence for link in links if link.at.step == step and (sentence := telling.sentence(link))]
        if told:
            lines.append(line("  ", Piece("power-up" if step == 0 else f"step {step}", Tone.HEADING)))
            for sentence in told:
                lines += paragraph(clean(sentence), width=width, first=FIRST, then=THEN)
    return lines


class _Telling:
    def __init__(self, netlist: Netlist, run: Run, links: Sequence[Link], roots: Sequence[At]) -> None:
        self._netlist, self._run = netlist, run
        self._links = {link.at: link for link in links}
        self._roots = frozenset(roots)
        self._classes = {net: pin.input_class for pin in netlist.inputs for net in pin.nets}

    def sentence(self, link: Link) -> str:
        """Empty for what needs none: nameless gates, inputs at power-up, and what stays as it was."""
        at = link.at
        if self._netlist.nets[at.net].anonymous:
            return ""
        if link.how is How.OUTSIDE:
            return self._from_outside(at)
        if at.step > 0 and not self._changes(at) and at not in self._roots:
            return ""
        if at.step == 0 and link.how in (How.START, How.CHANCE):
            return self._starts(link)
        told = f"{self._happens(at)}{self._because(link)}"
        return told + (" (it could also have gone another way)" if link.how is How.CHANCE and at.step else "")

    def _starts(self, link: Link) -> str:
        """At power-up: as the file says, or as it happens; with the pins that leave it so."""
        starts = "starts" if self._start_is_given(link.at) else "happens to start"
        pins = self._told_now(link.because) if link.how is How.START else ""
        told = f"{self._netlist.nets[link.at.net].name} {starts} {_level(self._value(link.at))}"
        return told + (f", while {pins}" if pins else "")

    def _from_outside(self, at: At) -> str:
        if not self._changes(at):
            return ""
        by_hand = self._classes[at.net] is InputClass.BY_HAND
        return self._happens(at) + (", by hand" if by_hand else "")

    def _because(self, link: Link) -> str:
        match link.how:
            case How.CLOCKED if link.clock is not None:
                return self._clocked(link)
            case How.HELD:
                return ": nothing moves it"
            case How.FORCED:
                return f": forced, as {self._told_now(link.because)}"
            case How.OPEN:
                return f": let through, as {self._told_now(link.because)}"
            case _:
                pins = self._told_now(at for at in link.because if at.net != link.at.net)
                return f", as {pins}" if pins else ""

    def _clocked(self, link: Link) -> str:
        clock = At(link.at.step, link.clock or 0)
        data = [at for at in link.because if at.step < link.at.step and at.net != link.clock]
        found = listing([self._is(at) for at in self._named(data)])
        return f": clocked, as {self._happens(clock)}" + (f"; before, {found}" if found else "")

    def _told_now(self, because: Iterable[At]) -> str:
        """What changes first, then what merely stands."""
        named = self._named(because)
        moved = [self._happens(at) for at in named if self._changes(at)]
        stands = [self._is(at) for at in named if not self._changes(at)]
        return " while ".join(listing(part) for part in (moved, stands) if part)

    def _named(self, because: Iterable[At]) -> list[At]:
        return list(dict.fromkeys(self._through(because)))

    def _through(self, because: Iterable[At]) -> Iterator[At]:
        """With what they come of in place of nameless gates; without recursion, each once."""
        pending, met = list(reversed(list(because))), set[At]()
        while pending:
            at = pending.pop()
            if at in met:
                continue
            met.add(at)
            link = self._links.get(at)
            if self._netlist.nets[at.net].anonymous and link is not None and link.because:
                pending.extend(reversed(link.because))
            else:
                yield at

    def _changes(self, at: At) -> bool:
        return at.step > 0 and self._value(at) != self._value(At(at.step - 1, at.net))

    def _value(self, at: At) -> bool:
        return self._run.instants[at.step][at.net]

    def _happens(self, at: At) -> str:
        name = self._netlist.nets[at.net].name
        if self._changes(at):
            return f"{name} {'rises' if self._value(at) else 'falls'}"
        return f"{name} {'is' if at.step == 0 else 'stays'} {_level(self._value(at))}"

    def _is(self, at: At) -> str:
        return f"{self._netlist.nets[at.net].name} is {_level(self._value(at))}"

    def _start_is_given(self, at: At) -> bool:
        driver = self._netlist.drivers.get(at.net)
        return driver is not None and driver.start is not None


def _level(high: bool) -> str:
    return "high" if high else "low"
