"""Input sequences as people write them: words such as `lever=1`, `tempo` and `wait`, one step a line; and playing them.

It reads text and keeps count of the inputs, so that a bare name can flip one. What the circuit does is the simulator's
business; whether the run keeps the givens is judged by their textbook meaning.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from verifier.circuit.netlist import Netlist
from verifier.claims.claim import Design, Given, View
from verifier.claims.formula import FUTURE_WORDS, Always, Formula, LeadsTo, walk
from verifier.claims.meaning import evaluate
from verifier.claims.run import Run
from verifier.claims.support import restricts, unsupported
from verifier.errors import CallError
from verifier.evidence.playing import Played, play
from verifier.evidence.simulator import SimulationLimit
from verifier.workbench.selection import nearest_hint
from verifier.workbench.too_many_ways import too_many_ways

WAIT = "wait"
STEPS_AT_MOST = 10_000

Setting = dict[str, int]


@dataclass(frozen=True)
class PlayedWords(Played):
    """A played run that was held against the givens; what breaks one is among the notes too."""

    broken_givens: tuple[tuple[str, ...], ...]
    """For each instant, the names of the givens that do not hold there."""


def play_words(design: Design, steps: Sequence[str], start: Sequence[str] = ()) -> PlayedWords:
    """Plays the steps, each a text of words, from a power-up with the `start` words (`name=value`).

    Inputs that `start` does not name are 0 at power-up. Where the circuit may go several ways, one is taken and noted.
    A step that breaks the input rules or a given is played, and noted; so is a given about the future, which a run
    that ends does not decide.

    Raises:
        CallError: a word is wrong, a value does not fit, or there is no such power-up state.
        SimulationLimit: there is too much to look at.
    """
    if len(steps) > STEPS_AT_MOST:
        raise CallError(f"{len(steps)} steps are more than the {STEPS_AT_MOST} that can be played")
    reader = _Reader(design.netlist)
    started = reader.start(start)
    script = [started.inputs, *(reader.step(text, number) for number, text in enumerate(steps, 1))]
    try:
        played = play(design.netlist, script, started.signals)
    except SimulationLimit as limit:
        raise SimulationLimit(f"this cannot be played: {too_many_ways(design.netlist)}") from limit
    failing = {given.name: _failing(given, played.run) for given in design.givens}
    broken = [[name for name, at in failing.items() if at and index in at] for index in range(len(played.run))]
    notes = [
        [*(f"not permitted: given {name}" for name in names), *noted]
        for names, noted in zip(broken, played.notes, strict=True)
    ]
    if broken[0]:
        notes[0].insert(len(broken[0]), "another start is given with --start NAME=VALUE")
    notes[-1] += [f"not judged on a run that ends: given {name}" for name, at in failing.items() if at is None]
    return PlayedWords(played.run, tuple(map(tuple, notes)), tuple(map(tuple, broken)))


def _failing(given: Given, run: Run) -> set[int] | None:
    """The instants at which the given does not hold; None when a finite run does not decide that."""
    # `always F` says no more than that F holds at every instant.
    formula = given.formula.operand if isinstance(given.formula, Always) else given.formula
    undecided = any(isinstance(node, FUTURE_WORDS) or _unbounded(node) for node in walk(formula))
    if undecided or unsupported(given) is not None or not restricts(given, View.SETTLED):
        return None
    return {index for index, value in enumerate(evaluate(formula, run)) if not value}


def _unbounded(node: Formula) -> bool:
    return isinstance(node, LeadsTo) and node.bound is None


def steps_in(text: str) -> list[str]:
    """The lines that are steps: not empty, and without what follows a `#`."""
    lines = (line.split("#", 1)[0].strip() for line in text.splitlines())
    return [line for line in lines if line]


def shown_names(design: Design, names: Sequence[str]) -> list[str]:
    """The names, each one a signal of the design. Raises CallError otherwise."""
    for name in names:
        if name not in design.netlist.signals:
            hint = nearest_hint(name, design.netlist.signals)
            raise CallError(f"{design.name} has no net named {name}", hint)
    return list(names)


@dataclass(frozen=True)
class _Start:
    inputs: Setting
    signals: Setting


class _Reader:
    """Turns words into settings, and knows the value that every input has by then."""

    def __init__(self, netlist: Netlist) -> None:
        self._signals = netlist.signals
        self._outputs = {pin.name for pin in netlist.outputs}
        self._widths = {pin.name: len(pin.nets) for pin in netlist.inputs}
        self._values = dict.fromkeys(self._widths, 0)

    def start(self, words: Sequence[str]) -> _Start:
        setting: Setting = {}
        for word in words:
            name, sign, value = word.partition("=")
            if not sign:
                raise CallError(f"`{word}` is no start value", "write it as name=value")
            self._known(name, "signal", [*self._widths, *self._signals])
            setting[name] = _number(value, word)
        inputs = {name: value for name, value in setting.items() if name in self._widths}
        self._values.update(inputs)
        return _Start(inputs, {name: value for name, value in setting.items() if name not in inputs})

    def step(self, text: str, number: int) -> Setting:
        setting: Setting = {}
        for word in text.replace(",", " ").split():
            if word == WAIT and WAIT not in self._widths:
                continue
            name, value = self._change(word)
            if name in setting:
                raise CallError(f"step {number} sets {name} twice")
            setting[name] = value
        self._values.update(setting)
        return setting

    def _change(self, word: str) -> tuple[str, int]:
        name, sign, value = word.partition("=")
        if name in self._signals and name not in self._widths:
            what = "an output" if name in self._outputs else "an inner net"
            raise CallError(
                f"{name} is {what}, and a step sets inputs alone",
                f"its value at power-up is set with --start {name}={value or 1}",
            )
        self._known(name, "input", list(self._widths))
        if sign:
            return name, _number(value, word)
        if self._widths[name] > 1:
            raise CallError(f"{name} is a bus, which cannot be flipped", f"give it a number: {name}=5")
        return name, 1 - self._values[name]

    def _known(self, name: str, what: str, known: Sequence[str]) -> None:
        if name not in known:
            raise CallError(f"there is no {what} named {name}", nearest_hint(name, known))


def _number(text: str, word: str) -> int:
    """A number as in a wiring file: `5`, `0b101`, `0x1F`; also `high` and `low`."""
    named = {"low": 0, "high": 1}.get(text)
    if named is not None:
        return named
    try:
        # A literal longer than any bus would only cost time.
        value = int(text, 0) if len(text) <= 1000 else -1
    except ValueError:
        value = -1
    if value < 0:
        raise CallError(f"`{word}` has no number behind the `=`", "write 1, 12, 0b0101 or 0x1F")
    return value
