"""From a circuit's statements to its netlist: nets for names, then what drives each; parts laid out in place."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from lark import Token

from verifier.circuit.builder import NetlistBuilder
from verifier.circuit.netlist import NetId
from verifier.errors import Span
from verifier.language.complaints import report_bit
from verifier.language.families import Family
from verifier.language.findings import Findings, counted, quoted
from verifier.language.gates import STORAGE_WORDS, Destination, GateWriter, Workbench
from verifier.language.options import Options, read_options, start_bits
from verifier.language.reading import Reader
from verifier.language.scopes import Scope, Symbol, target_name, targets_of
from verifier.language.storage import StorageWriter
from verifier.language.syntax import Branch, LostBlocks
from verifier.language.widths import call_arguments, natural_width


@dataclass(frozen=True)
class _Target:
    """The nets that one target of an assignment names."""

    name: str
    nets: tuple[NetId, ...]
    span: Span


class CircuitWriter:
    """Lays out one circuit whose pins have their nets already."""

    def __init__(
        self,
        builder: NetlistBuilder,
        findings: Findings,
        family: Family,
        parts: Iterable[str],
        lost: LostBlocks,
    ) -> None:
        self._builder = builder
        self._findings = findings
        self._bench = Workbench(builder, findings, family, parts, lost)

    def write(self, scope: Scope) -> None:
        """Raises TooLargeError when the circuit grows beyond its limits."""
        self._make_nets(scope)
        self._drive_all(scope)

    # Nets for names

    def _make_nets(self, scope: Scope, *, anonymous: bool = False) -> None:
        """Gives every symbol of known width its nets, here and in the parts that have names."""
        for symbol in scope.symbols.values():
            if symbol.width is not None and not symbol.nets and not (scope.interface and symbol.is_input):
                self._bench.count_nets(symbol.width)
                name = scope.prefix + symbol.name
                symbol.nets = make_nets(self._builder, name, symbol.width, symbol.span, anonymous=anonymous)
        for assignment in scope.assignments:
            child = scope.calls.get(id(assignment.branch(1)))
            if child is not None and self._connect_outputs(scope, assignment, child, anonymous=anonymous):
                self._make_nets(child, anonymous=anonymous)

    def _connect_outputs(self, scope: Scope, assignment: Branch, child: Scope, *, anonymous: bool) -> bool:
        """Lets the outputs of a part be the targets' nets; widths that differ are reported when it is driven."""
        if child.interface is None or len(child.interface.outputs) != len(targets_of(assignment)):
            return False
        for tree, pin in zip(targets_of(assignment), child.interface.outputs, strict=True):
            target = self._target(scope, tree, quiet=True)
            symbol = child.symbols.get(pin.name)
            if symbol is None or target is None or len(target.nets) != pin.width:
                return False
            symbol.nets = target.nets
            if not anonymous:
                self._builder.signal(child.prefix + pin.name, target.nets)
        return True

    # What drives them

    def _drive_all(self, scope: Scope) -> None:
        for assignment in scope.assignments:
            self._drive(scope, assignment)

    def _drive(self, scope: Scope, assignment: Branch) -> None:
        expression, trees = assignment.branch(1), targets_of(assignment)
        found = [self._target(scope, tree) for tree in trees]
        free = [self._claim_bits(scope, tree) for tree in trees]
        if len(trees) > 1 and id(expression) not in scope.calls and not self._names_part(expression):
            message = f"{len(trees)} names stand before `=`, but only a part gives several outputs"
            self._error("wrong-pin-count", message, scope, assignment.branch(0))
            return
        options = read_options(assignment, Reader(scope.block, self._findings), scope.block, self._findings)
        targets = [target for target in found if target is not None]
        if options is None or not all(free):
            return
        if len(targets) != len(trees):
            self._look_for_mistakes(scope, expression)
        elif id(expression) in scope.calls:
            self._refuse_options(options, scope, "a part", keep=())
            self._drive_part(scope, expression, targets)
        elif expression.rule == "call" and str(expression.token(0)) in STORAGE_WORDS:
            writer = GateWriter(self._bench, scope, targets[0].name, self._use_inside)
            StorageWriter(self._bench, scope, writer).write(expression, targets[0].nets, options)
        else:
            self._drive_gates(scope, expression, targets[0], options)

    def _names_part(self, expression: Branch) -> bool:
        """Whether this is the use of a part, or may be one; one that has no scope is the subject of a finding."""
        return expression.rule == "call" and self._bench.may_be_part(str(expression.token(0)))

    def _look_for_mistakes(self, scope: Scope, expression: Branch) -> None:
        """Lays out an expression whose target is lost, for what it may reveal. The circuit is never built."""
        writer = GateWriter(self._bench, scope, "lost", self._use_inside)
        pieces = [expression]
        if expression.rule == "call" and (str(expression.token(0)) in STORAGE_WORDS or id(expression) in scope.calls):
            pieces = call_arguments(expression)
        for piece in pieces:
            writer.nets(piece, natural_width(piece, scope) or 1)

    def _drive_gates(self, scope: Scope, expression: Branch, target: _Target, options: Options) -> None:
        self._refuse_options(options, scope, "a gate", keep=("start", "takes"))
        start = start_bits(options.start, len(target.nets), scope, self._findings)
        if start is not None:
            writer = GateWriter(self._bench, scope, target.name, self._use_inside)
            writer.drive(expression, Destination(nets=target.nets, start=start, takes=options.takes))

    def _refuse_options(self, options: Options, scope: Scope, what: str, keep: Sequence[str]) -> None:
        for word, piece in options.written:
            if word not in keep:
                hint = "it belongs to a flip-flop or latch" if word not in ("start", "takes") else ""
                self._error("wrong-option", f"`{word}` cannot be said of {what}", scope, piece, hint)

    def _use_inside(self, call: Branch, scope: Scope, stem: str) -> list[NetId] | None:
        """Lays out a part that is used inside an expression; its nets are anonymous."""
        child = scope.calls[id(call)]
        outputs = child.interface.outputs if child.interface is not None else ()
        if len(outputs) != 1:
            gives = counted(len(outputs), "output")
            message = f"{quoted(call.token(0))} gives {gives}; inside an expression it must give one"
            self._error("wrong-pin-count", message, scope, call.token(0), "give its outputs names: `s, c = ...`")
            return None
        if outputs[0].name not in child.symbols:
            return None
        span = scope.block.place(call)
        self._bench.count_nets(outputs[0].width)
        nets = tuple(self._builder.anonymous(stem, span=span) for _ in range(outputs[0].width))
        child.prefix = f"{self._builder.name_of(nets[0])}."
        child.symbols[outputs[0].name].nets = nets
        self._make_nets(child, anonymous=True)
        self._drive_part(scope, call, [_Target(stem, nets, span)])
        return list(nets)

    def _drive_part(self, scope: Scope, call: Branch, targets: list[_Target]) -> None:
        child = scope.calls[id(call)]
        interface = child.interface
        if interface is None:
            raise ValueError(f"the call of {call.token(0)} has no interface")
        arguments = call_arguments(call)
        if len(arguments) != len(interface.inputs):
            wanted = ", ".join(pin.name for pin in interface.inputs) or "none"
            takes = counted(len(interface.inputs), "input")
            message = f"the part {quoted(interface.name)} takes {takes}, not {len(arguments)}"
            self._error("wrong-pin-count", message, scope, call, f"its inputs are: {wanted}")
            return
        if len(targets) != len(interface.outputs):
            return
        for target, pin in zip(targets, interface.outputs, strict=True):
            if len(target.nets) != pin.width:
                message = f"{quoted(target.name)} is {len(target.nets)} bits wide, but {pin.name} gives {pin.width}"
                self._findings.error("width-mismatch", message, target.span)
        writer = GateWriter(self._bench, scope, targets[0].name, self._use_inside)
        for argument, pin in zip(arguments, interface.inputs, strict=True):
            nets = writer.nets(argument, pin.width)
            if pin.name in child.symbols:
                child.symbols[pin.name].nets = tuple(nets or ())
        self._drive_all(child)

    # Targets

    def _target(self, scope: Scope, tree: Branch, *, quiet: bool = False) -> _Target | None:
        """The nets a target names; with `quiet`, nothing is reported and bits that are not there give None."""
        if tree.rule == "gate_word":
            if not quiet:
                message = f"{quoted(tree.token(0))} is a word of the language and cannot be a name"
                self._error("keyword-as-name", message, scope, tree, "choose another name")
            return None
        symbol = scope.symbols.get(str(tree.token(0)))
        if symbol is None or symbol.width is None or len(symbol.nets) != symbol.width:
            return None
        bits = self._target_bits(scope, tree, symbol, quiet=quiet)
        if bits is None:
            return None
        nets = tuple(symbol.nets[bit] for bit in bits)
        return _Target(scope.prefix + target_name(tree, scope), nets, scope.block.place(tree))

    def _target_bits(self, scope: Scope, tree: Branch, symbol: Symbol, *, quiet: bool = False) -> range | None:
        """The bits of its symbol that a target names. `name[width]` is the whole name, its width written out."""
        findings = Findings() if quiet else self._findings
        width = symbol.width or 0
        reader = Reader(scope.block, findings)
        numbers = [reader.number(token) for token in tree.tokens[1:]]
        if None in numbers:
            return None
        written = [number for number in numbers if number is not None]
        if not written or written == [width]:
            return range(width)
        if max(written) >= width:
            report_bit(tree, tree.token(1), width, scope, findings)
            return None
        if written[0] < written[-1]:
            message = f"the bits {written[0]}..{written[-1]} run upwards"
            findings.error("bad-range", message, scope.block.place(tree), "the higher bit comes first")
            return None
        return range(written[-1], written[0] + 1)

    def _claim_bits(self, scope: Scope, tree: Branch) -> bool:
        """Marks the bits of a target as driven; reports those that were driven before, or come from outside."""
        symbol = scope.symbols.get(str(tree.token(0)))
        if symbol is None or symbol.width is None:
            return symbol is not None
        bits = self._target_bits(scope, tree, symbol, quiet=True) or range(0)
        if symbol.is_input:
            message = f"{quoted(symbol.name)} is an input; the circuit cannot drive it"
            self._error("driven-twice", message, scope, tree)
            return False
        again = [bit for bit in bits if bit in symbol.driven]
        if again:
            name = symbol.name if symbol.width == 1 else f"{symbol.name}[{again[0]}]"
            hint = f"the first time is in line {symbol.driven[again[0]].line}"
            self._error("driven-twice", f"{quoted(name)} is driven twice", scope, tree, hint)
        for bit in bits:
            symbol.driven.setdefault(bit, scope.block.place(tree))
        return not again

    def _error(self, code: str, message: str, scope: Scope, piece: Branch | Token, hint: str = "") -> None:
        self._findings.error(code, message, scope.block.place(piece), hint)


def make_nets(
    builder: NetlistBuilder, name: str, width: int, span: Span, *, anonymous: bool = False
) -> tuple[NetId, ...]:
    """One net of that name, or a bus."""
    if width == 1:
        return (builder.add_net(name, span=span, anonymous=anonymous),)
    if anonymous:
        return tuple(builder.add_net(f"{name}[{bit}]", span=span, anonymous=True) for bit in range(width))
    return builder.bus(name, width, span=span)
