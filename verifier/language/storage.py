"""From `flipflop`, `toggle`, `jk`, `latch` and `set_reset` to storage elements, one for each bit of the target."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from verifier.circuit.netlist import Delay, Edge, FlipFlop, FlipFlopKind, Latch, Level, NetId, SetReset, Timing
from verifier.language.complaints import report_width
from verifier.language.findings import counted, quoted
from verifier.language.gates import STORAGE_WORDS, GateWriter, Workbench
from verifier.language.options import Options, start_bits
from verifier.language.scopes import Scope
from verifier.language.syntax import Branch
from verifier.language.widths import call_arguments, first_width

_FLIP_FLOPS = {kind.value: kind for kind in FlipFlopKind}
_ALLOWED = {
    "latch": ("while", "start", "takes"),
    "set_reset": ("start", "takes"),
}
_CLOCKED = ("on", "clear", "preset", "start", "takes")


@dataclass(frozen=True, kw_only=True)
class _Element:
    """What all bits of one storage statement share, and what each has."""

    outputs: Sequence[NetId]
    data: Sequence[Sequence[NetId]]
    """For each data pin its nets, one a bit."""
    start: Sequence[bool | None]
    takes: Delay | None
    timing: Timing | None


class StorageWriter:
    """Lays out the storage of one assignment; `writer` makes the gates in front of it."""

    def __init__(self, bench: Workbench, scope: Scope, writer: GateWriter) -> None:
        self._bench = bench
        self._scope = scope
        self._writer = writer

    def write(self, call: Branch, outputs: Sequence[NetId], options: Options) -> None:
        """Drives the nets with storage, or reports why it cannot."""
        word = str(call.token(0))
        if not self._options_fit(call, word, options):
            return
        data = self._data(call, word, len(outputs))
        start = start_bits(options.start, len(outputs), self._scope, self._bench.findings)
        takes = options.takes or self._bench.family.delays.get(word)
        timing = self._bench.family.timings.get(word)
        if data is None or start is None:
            return
        element = _Element(outputs=outputs, data=data, start=start, takes=takes, timing=timing)
        if word == "latch":
            self._write_latches(element, options)
        elif word == "set_reset":
            self._write_set_resets(element)
        else:
            self._write_flip_flops(_FLIP_FLOPS[word], element, options)

    def _options_fit(self, call: Branch, word: str, options: Options) -> bool:
        allowed = _ALLOWED.get(word, _CLOCKED)
        fits = True
        for name, tree in options.written:
            if name not in allowed:
                fits = False
                self._error("wrong-option", f"`{name}` cannot be said of a {word}", tree, self._how(word))
        if word == "latch" and options.enable is None:
            fits = False
            self._error("missing-option", "nothing says while what this latch is open", call, self._how(word))
        if word in _FLIP_FLOPS and options.on is None:
            fits = False
            self._error("missing-option", f"nothing says what clocks this {word}", call, self._how(word))
        return fits

    def _how(self, word: str) -> str:
        if word == "latch":
            return "a latch is written `latch(d) while enable high`"
        if word == "set_reset":
            return "a set-reset latch is written `set_reset(s, r)`"
        return f"a {word} is written `{word}(...) on rise of clock`"

    def _data(self, call: Branch, word: str, width: int) -> list[list[NetId]] | None:
        arguments = call_arguments(call)
        wanted = STORAGE_WORDS[word]
        if len(arguments) != wanted:
            message = f"{quoted(word)} takes {counted(wanted, 'input')}, not {len(arguments)}"
            self._error("wrong-pin-count", message, call, self._how(word))
            return None
        own = first_width(arguments, self._scope, None)
        if own is not None and own != width:
            report_width(arguments[0], own, width, self._scope, self._bench.findings)
            return None
        nets = [self._writer.nets(argument, width) for argument in arguments]
        found = [pin for pin in nets if pin is not None]
        return found if len(found) == len(nets) else None

    def _write_flip_flops(self, kind: FlipFlopKind, element: _Element, options: Options) -> None:
        if options.on is None:
            return
        clock = self._writer.one_bit(options.on.branch(1), "a clock")
        clear, preset = self._level(options.clear, "a clear"), self._level(options.preset, "a preset")
        lost = (options.clear is not None and clear is None) or (options.preset is not None and preset is None)
        if clock is None or lost:
            return
        edge = Edge.RISE if options.on.token(0).type == "RISE" else Edge.FALL
        for bit, output in enumerate(element.outputs):
            self._bench.builder.add(
                FlipFlop(
                    output=output,
                    kind=kind,
                    data=tuple(pin[bit] for pin in element.data),
                    clock=clock,
                    edge=edge,
                    clear=clear,
                    preset=preset,
                    start=element.start[bit],
                    takes=element.takes,
                    timing=element.timing,
                )
            )

    def _write_latches(self, element: _Element, options: Options) -> None:
        enable = self._level(options.enable, "an enable")
        if enable is None:
            return
        for bit, output in enumerate(element.outputs):
            self._bench.builder.add(
                Latch(
                    output=output,
                    data=element.data[0][bit],
                    enable=enable,
                    start=element.start[bit],
                    takes=element.takes,
                    timing=element.timing,
                )
            )

    def _write_set_resets(self, element: _Element) -> None:
        set_pins, reset_pins = element.data
        for bit, output in enumerate(element.outputs):
            pins = {"set": set_pins[bit], "reset": reset_pins[bit]}
            storage = SetReset(output=output, start=element.start[bit], takes=element.takes, **pins)
            self._bench.builder.add(storage)

    def _level(self, tree: Branch | None, what: str) -> Level | None:
        """`while x high`, `clear when x low`: the net and its active level."""
        if tree is None:
            return None
        operand, level = tree.branches[-2], tree.branches[-1]
        net = self._writer.one_bit(operand, what)
        return None if net is None else Level(net, active_high=level.token(0).type == "HIGH")

    def _error(self, code: str, message: str, tree: Branch, hint: str) -> None:
        self._bench.findings.error(code, message, self._scope.block.place(tree), hint)
