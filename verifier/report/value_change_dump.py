"""A run as a value change dump: the file format of IEEE 1364-2005, clause 18, that waveform viewers read.

All nets of the circuit are in it, buses as vectors, parts of parts as scopes. The same run gives the same text: it has
no date. What the format leaves to us:

- A run with times has a timescale of 1 ns. Moves in one ns stand below one time, in their order, the second and
  later ones each led in by a comment. A reader that keeps every change sees them all; one that shows a single value for
  each time shows one of them, so a pulse of no length may not be seen there. Text, CSV and drawing have them all.
- A run without times has steps, not time. It has a timescale of 1 s, so that step 3 is shown at 3 s and nobody takes
  it for ns; a comment says so.
- The last instant gets one step (1 ns) after it, so that it can be seen. An endless run has the first instant of its
  loop there once more.
- Names become simple identifiers: another character than a letter, a digit and `_` becomes `_`, names that would meet
  get a number, and a comment gives the name in the circuit.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from verifier.circuit.netlist import Input, NetId, Netlist, Output
from verifier.claims.run import Instant, Run

CODES = "".join(chr(place) for place in range(ord("!"), ord("~") + 1) if chr(place) not in "#$")
"""What identifier codes are made of; without those two, no code looks like a time or a keyword."""
BIT_OF_BUS = re.compile(r"(?P<name>.+)\[(?P<bit>[0-9]+)\]", re.DOTALL)
NEXT_MOVE = "the next move in this ns"

Nets = tuple[NetId, ...]
"""Lowest bit first."""


@dataclass
class _Scope:
    """What one `$scope` holds."""

    variables: dict[str, Nets] = field(default_factory=dict)
    """By what stands in the declaration: `beat`, `count [3:0]`."""
    scopes: dict[str, _Scope] = field(default_factory=dict)
    """By their names in the file."""
    identifiers: dict[str, str] = field(default_factory=dict)
    """From names in the circuit, of variables and of scopes, to those in the file; no two are alike."""
    taken: set[str] = field(default_factory=set)

    def identifier(self, name: str) -> str:
        """The name in the file. A variable and a scope of one name share it, as the format lets them."""
        if name not in self.identifiers:
            wanted = chosen = re.sub(r"[^A-Za-z0-9_]", "_", name) or "_"
            if wanted[0].isdigit():
                wanted = chosen = f"_{wanted}"
            number = 1
            while chosen in self.taken:
                number += 1
                chosen = f"{wanted}_{number}"
            self.taken.add(chosen)
            self.identifiers[name] = chosen
        return self.identifiers[name]


def variables_of(netlist: Netlist) -> dict[str, Nets]:
    """Every named signal of the circuit by its full name, then every net that belongs to none."""
    pins: tuple[Input | Output, ...] = (*netlist.inputs, *netlist.outputs)
    found = {pin.name: pin.nets for pin in pins} | dict(netlist.signals)
    covered = {net for nets in found.values() for net in nets}
    rest = {net.name: (place,) for place, net in enumerate(netlist.nets) if place not in covered}
    return found | rest


def value_change_dump(netlist: Netlist, run: Run, *, remarks: Sequence[str] = ()) -> str:
    """The text of the file. Each of the remarks, such as which claim the run breaks, goes into a comment."""
    variables = variables_of(netlist)
    codes = {nets: _code(place) for place, nets in enumerate(dict.fromkeys(variables.values()))}
    declared = _declarations(netlist.name, variables, codes)
    return "\n".join([*_header(run, remarks), *declared, "$enddefinitions $end", *_changes(run, codes)]) + "\n"


def _code(place: int) -> str:
    """Codes of one character, then of two, then of three: no two alike."""
    code = CODES[place % len(CODES)]
    place //= len(CODES)
    while place:
        place, digit = divmod(place - 1, len(CODES))
        code = CODES[digit] + code
    return code


def _header(run: Run, remarks: Sequence[str]) -> Iterator[str]:
    yield "$version edgewright $end"
    yield from map(_comment, remarks)
    if run.times is None:
        yield _comment("time counts steps: step 3 stands at 3 s, and how long a step takes is not said")
    else:
        yield _comment("moves in one ns stand below one time, in their order")
    if run.loop_from is not None:
        again = _times(run)[run.loop_from]
        yield _comment(f"endless: from {again} on again and again; the last time shown is {again} once more")
    yield f"$timescale {'1 s' if run.times is None else '1 ns'} $end"


def _times(run: Run) -> Sequence[int]:
    return range(len(run)) if run.times is None else run.times


def _comment(text: str) -> str:
    """On one line, in ASCII, and without a `$` that could begin a keyword."""
    harmless = text.encode("unicode_escape").decode("ascii").replace("$", "\\x24")
    return f"$comment {harmless} $end"


def _declarations(circuit: str, variables: Mapping[str, Nets], codes: Mapping[Nets, str]) -> Iterator[str]:
    everything = _Scope()
    top = everything.scopes.setdefault(everything.identifier(circuit), _Scope())
    for name, nets in variables.items():
        *path, last = name.split(".")
        scope = top
        for part in path:
            scope = scope.scopes.setdefault(scope.identifier(part), _Scope())
        bit = BIT_OF_BUS.fullmatch(last) if len(nets) == 1 else None
        bits = f" [{len(nets) - 1}:0]" if len(nets) > 1 else f" [{bit['bit']}]" if bit else ""
        scope.variables[scope.identifier(bit["name"] if bit else last) + bits] = nets
    yield from _scope_lines(everything, codes)


def _scope_lines(scope: _Scope, codes: Mapping[Nets, str]) -> Iterator[str]:
    yield from (_comment(f"{used} is {name}") for name, used in scope.identifiers.items() if used != name)
    for reference, nets in scope.variables.items():
        yield f"$var wire {len(nets)} {codes[nets]} {reference} $end"
    for name, inner in scope.scopes.items():
        yield f"$scope module {name} $end"
        yield from _scope_lines(inner, codes)
        yield "$upscope $end"


def _changes(run: Run, codes: Mapping[Nets, str]) -> Iterator[str]:
    times, first, last = _times(run), run.instants[0], len(run) - 1
    yield f"#{times[0]}"
    yield "$dumpvars"
    yield from _values(first, codes)
    yield "$end"
    written = times[0]
    for before, index in enumerate(range(1, len(run))):
        changed = list(_values(run.instants[index], codes, run.instants[before]))
        if times[index] != written and (changed or index == last):
            written = times[index]
            yield f"#{written}"
        elif changed:
            yield _comment(NEXT_MOVE)
        yield from changed
    yield f"#{times[-1] + 1}"
    if run.loop_from is not None:
        yield from _values(run.instants[run.loop_from], codes, run.instants[-1])


def _values(instant: Instant, codes: Mapping[Nets, str], before: Instant | None = None) -> Iterator[str]:
    """The values of all variables, or of those that are no longer as they were."""
    for nets, code in codes.items():
        if before is not None and all(instant[net] == before[net] for net in nets):
            continue
        digits = "".join("1" if instant[net] else "0" for net in reversed(nets))
        yield f"{digits}{code}" if len(nets) == 1 else f"b{digits} {code}"
