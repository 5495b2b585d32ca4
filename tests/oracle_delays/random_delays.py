"""Random small timed circuits with a claim or two, as wiring text: gates in chains and pairs, latches, a flip-flop.

Everything is drawn from the one `Random` that is handed in. Some of the drawn circuits have no first instant.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from random import Random

INPUT_NAMES = ("lever", "rope")
GATES_OF_ONE = ("not {}", "not {}", "buffer")
GATES_OF_TWO = ("nand", "nor", "and", "or", "xor", "xnor")
PAIRS = ("nand", "nor", "nand", "nor", "and", "or", "xor")
FIGURES = {
    "flipflop": ("set-up {} ns", "hold {} ns", "clock width {} ns", "clear width {} ns", "settling {} ns"),
    "toggle": ("set-up {} ns", "hold {} ns", "clock width {} ns", "clear width {} ns", "settling {} ns"),
    "jk": ("set-up {} ns", "hold {} ns", "clock width {} ns", "clear width {} ns", "settling {} ns"),
    "latch": ("set-up {} ns", "hold {} ns", "enable width {} ns"),
}


@dataclass
class Draft:
    """A circuit in the making."""

    random: Random
    timed: bool
    lines: list[str] = field(default_factory=list)
    inputs: list[str] = field(default_factory=list)
    driven: list[str] = field(default_factory=list)
    storage: list[str] = field(default_factory=list)
    """Kinds of storage that figures may be given for."""
    last_input: str = ""

    @property
    def nets(self) -> list[str]:
        return [*self.inputs, *self.driven]

    def pick(self, *more: str) -> str:
        """A net: the newest often, so that the gates hang together."""
        pool = [*self.nets, *more]
        return self.random.choice([*pool, *pool[-2:], *self.inputs])

    def takes(self) -> str:
        if not self.timed:
            return ""
        if self.random.random() < 0.3:
            return f" takes rise {self._range()}, fall {self._range()}"
        return f" takes {self._range()}"

    def _range(self) -> str:
        low = self.random.choices((0, 1, 2, 3), (2, 4, 3, 1))[0]
        high = max(low + self.random.choices((0, 1, 2), (4, 5, 2))[0], 1)
        return f"{min(high, 4)} ns" if low == high else f"{low}..{min(high, 4)} ns"


def random_wiring(random: Random, *, timed: bool = True, claims: bool = True) -> str:
    """A file with one circuit, `carillon`; in the any-delay view its elements have no times."""
    draft = Draft(random, timed)
    _draw_inputs(draft)
    _draw_elements(draft)
    lines = [f"    {line}" for line in draft.lines]
    if claims:
        lines.extend(f"    {line}" for line in _claims(draft))
    head = "circuit carillon"
    if timed and draft.storage and random.random() < 0.8:
        figures = [figure for kind in dict.fromkeys(draft.storage) if (figure := _figures(random, kind))]
        if figures:
            family = ["family foundry", *(f"    {figure}" for figure in figures), ""]
            return "\n".join([*family, head, "    delays from foundry", *lines]) + "\n"
    return "\n".join([head, *lines]) + "\n"


def _figures(random: Random, kind: str) -> str:
    chosen = [figure for figure in FIGURES[kind] if random.random() < 0.6]
    if not chosen:
        return ""
    return ", ".join([f"{kind} takes 1..2 ns", *(figure.format(random.randrange(0, 4)) for figure in chosen)])


# Inputs


def _draw_inputs(draft: Draft) -> None:
    random = draft.random
    count = random.choices((1, 2), (45, 55))[0]
    together = count == 2 and random.random() < 0.15
    for name in INPUT_NAMES[:count]:
        how = random.choices(("running", "apart", "by hand", "free", "strapped"), (25, 30, 25, 15, 5))[0]
        words = {"running": " free running", "by hand": " by hand", "free": "", "strapped": " strapped"}
        if how == "apart" and draft.timed:
            words["apart"] = f" by hand apart {random.randrange(1, 7)} ns"
        elif how == "running" and draft.timed:
            words["running"] = f" free running high {_stretch(random)}, low {_stretch(random)}"
        draft.lines.append(f"input {name}{words.get(how, ' by hand')}")
        draft.inputs.append(name)
    if together:
        draft.lines.append("inputs may change together")


def _stretch(random: Random) -> str:
    low = random.randrange(2, 6)
    return f"{low}..{low + random.randrange(1, 3)} ns"


# Elements


def _draw_elements(draft: Draft) -> None:
    random = draft.random
    wanted = random.choices((2, 3, 4, 5), (2, 4, 3, 1))[0]
    has_flip_flop = False
    while len(draft.driven) < wanted:
        kind = random.choices(("gate", "pair", "latch", "flip-flop", "ring"), (60, 16, 10, 8, 6))[0]
        room = wanted - len(draft.driven)
        if kind == "pair" and room >= 2:
            _draw_pair(draft)
        elif kind == "ring" and room >= 2:
            _draw_ring(draft, room)
        elif kind == "latch":
            _draw_latch(draft)
        elif kind == "flip-flop" and not has_flip_flop:
            has_flip_flop = True
            _draw_flip_flop(draft)
        else:
            _draw_gate(draft)


def _name(draft: Draft) -> str:
    return f"bell_{len(draft.driven)}"


def _draw_gate(draft: Draft) -> None:
    random, name = draft.random, _name(draft)
    how = random.random()
    if how < 0.25:
        body = f"not {draft.pick()}" if random.random() < 0.75 else draft.pick()
    elif how < 0.9:
        body = f"{random.choice(GATES_OF_TWO)}({draft.pick()}, {draft.pick()})"
    elif how < 0.96:
        body = f"if {draft.pick()} then {draft.pick()} else {draft.pick()}"
    else:
        body = f"majority({draft.pick()}, {draft.pick()}, {draft.pick()})"
    draft.lines.append(f"{name} = {body}{draft.takes()}")
    draft.driven.append(name)


def _draw_pair(draft: Draft) -> None:
    """Two gates that feed each other."""
    random = draft.random
    first, second = _name(draft), f"bell_{len(draft.driven) + 1}"
    kind = random.choice(PAIRS)
    pins = [random.choice(draft.nets) for _ in range(2)]
    starts = (" start 0", " start 1") if random.random() < 0.15 else ("", "")
    takes = (draft.takes(), draft.takes())
    draft.lines.append(f"{first} = {kind}({pins[0]}, {second}){starts[0]}{takes[0]}")
    draft.lines.append(f"{second} = {kind}({pins[1]}, {first}){starts[1]}{takes[1]}")
    draft.driven.extend([first, second])


def _draw_ring(draft: Draft, room: int) -> None:
    """A gate that closes a ring of inverters and buffers."""
    random = draft.random
    length = min(room, random.choice((2, 3)))
    names = [f"bell_{len(draft.driven) + place}" for place in range(length)]
    kind = random.choice(("nand", "nor", "and", "or"))
    draft.lines.append(f"{names[0]} = {kind}({random.choice(draft.nets)}, {names[-1]}){draft.takes()}")
    for old, name in pairwise(names):
        draft.lines.append(f"{name} = {random.choice(('not ', ''))}{old}{draft.takes()}")
    draft.driven.extend(names)


def _draw_latch(draft: Draft) -> None:
    random, name = draft.random, _name(draft)
    data, enable = random.sample(draft.nets, 2) if len(draft.nets) > 1 else (draft.nets[0], draft.nets[0])
    level = random.choice(("high", "low"))
    draft.lines.append(f"{name} = latch({data}) while {enable} {level}{_start(random)}{draft.takes()}")
    draft.driven.append(name)
    draft.storage.append("latch")


def _draw_flip_flop(draft: Draft) -> None:
    random, name = draft.random, _name(draft)
    kind = random.choices(("flipflop", "toggle", "jk"), (6, 2, 2))[0]
    clock = random.choice([*draft.inputs, draft.pick()])
    others = [net for net in draft.nets if net != clock] or draft.nets
    data = ", ".join(random.choice([*others, name]) for _ in range(2 if kind == "jk" else 1))
    edge = random.choice(("rise", "fall"))
    clear = f" {random.choice(('clear', 'preset'))} when {random.choice(others)} {random.choice(('high', 'low'))}"
    clear = clear if random.random() < 0.25 else ""
    draft.lines.append(f"{name} = {kind}({data}) on {edge} of {clock}{clear}{_start(random)}{draft.takes()}")
    draft.driven.append(name)
    draft.storage.append(kind)


def _start(random: Random) -> str:
    return random.choice((" start 0", " start 1", ""))


# Claims


def _claims(draft: Draft) -> list[str]:
    random = draft.random
    return [_claim(draft, f"claim_{number}") for number in range(random.choice((1, 2)))]


def _claim(draft: Draft, name: str) -> str:
    if not draft.timed:
        body = draft.random.choice((_never, _never, _glitches, _only_when_steps, _leads_in_steps))(draft)
        return f"must {name} in any delay view: {body}"
    how = draft.random.choice((_never, _glitches, _pulses, _pulses, _pulses, _recently, _recently, _leads, _leads))
    view = " in timed view" if how in (_never, _glitches) else ""
    if how is _never and draft.random.random() < 0.3:
        return f"can {name}{view}: {_happening(draft)}"
    return f"must {name}{view}: {how(draft)}"


def _output(draft: Draft) -> str:
    return draft.random.choice([*draft.driven, *draft.driven[-2:]])


def _number(draft: Draft) -> str:
    return "?" if draft.random.random() < 0.45 else str(draft.random.randrange(0, 9))


def _event(draft: Draft, net: str) -> str:
    return f"{net} {draft.random.choice(('rises', 'falls', 'changes'))}"


def _happening(draft: Draft) -> str:
    """A formula over values and step words, often of two nets."""
    first, second = _output(draft), draft.random.choice(draft.nets)
    how = draft.random.randrange(6)
    if how == 0:
        return f"({first} and not {second})"
    if how == 1:
        return f"({_event(draft, first)} and {second})"
    if how == 2:
        return f"({_event(draft, first)} and {_event(draft, second)})"
    if how == 3:
        return f"({first} and {second} and before {first} and {_event(draft, second)})"
    if how == 4:
        return f"({_event(draft, first)} and not once {_event(draft, second)})"
    return f"({_event(draft, first)})"


def _never(draft: Draft) -> str:
    return f"never {_happening(draft)}"


def _glitches(draft: Draft) -> str:
    return f"{_output(draft)} never glitches"


def _pulses(draft: Draft) -> str:
    level = draft.random.choice(("", "", "high ", "low "))
    return f"{level}pulses of {_output(draft)} last at least {_number(draft)} ns"


def _recently(draft: Draft) -> str:
    cause = draft.random.choice((_event(draft, draft.random.choice(draft.nets)), draft.random.choice(draft.nets)))
    return f"{_event(draft, _output(draft))} only when {cause} within the last {_number(draft)} ns"


def _leads(draft: Draft) -> str:
    cause, effect = draft.random.choice(draft.nets), _output(draft)
    left = draft.random.choice((_event(draft, cause), cause, f"not {cause}"))
    right = draft.random.choice((_event(draft, effect), f"{effect} == {cause}", effect, f"not {effect}"))
    return f"{left} leads to {right} within {_number(draft)} ns"


def _only_when_steps(draft: Draft) -> str:
    cause = _event(draft, draft.random.choice(draft.nets))
    return f"{_event(draft, _output(draft))} only when {cause} within the last {draft.random.randrange(0, 4)} steps"


def _leads_in_steps(draft: Draft) -> str:
    cause = _event(draft, draft.random.choice(draft.inputs))
    return f"{cause} leads to {_event(draft, _output(draft))} within {draft.random.randrange(0, 4)} steps"
