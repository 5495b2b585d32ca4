"""What is declared inside a circuit or one use of a part: its names, their widths, the assignments, the parts within.

It finds names that are taken, parts that are used wrongly, and buses that were never declared. It makes no nets.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from lark import Token

from verifier.circuit.netlist import NetId
from verifier.errors import Span
from verifier.language.findings import Findings, counted, quoted
from verifier.language.reading import NameTable, Pin, Reader, RefusedPin
from verifier.language.syntax import Block, Branch, walk_branches

SCOPE_LIMIT = 4_000
"""Uses of parts in one circuit."""

PART_DEPTH_LIMIT = 32
"""Parts within parts."""


class TooLargeError(Exception):
    """A circuit grows beyond its limits; becomes a finding."""


@dataclass
class Symbol:
    """A name that stands for nets."""

    name: str
    span: Span
    width: int | None
    """None: follows from its definition, or a finding says why it has none."""
    declared: bool
    """A pin, or named by `net`: may be assigned bit by bit."""
    is_input: bool = False
    definition: Branch | None = None
    """The expression that gives an undeclared name its width."""
    nets: tuple[NetId, ...] = ()
    """Lowest bit first; empty until they are made."""
    driven: dict[int, Span] = field(default_factory=dict)
    """Which bits are driven, and where."""


@dataclass(frozen=True)
class Interface:
    """The header of a part."""

    name: str
    inputs: tuple[Pin, ...]
    outputs: tuple[Pin, ...]


@dataclass(eq=False)
class Scope:
    """The names of one circuit, contract, or use of a part."""

    block: Block
    prefix: str
    """Goes before every name in here: empty, or `s.`, or `s.t.`."""
    interface: Interface | None = None
    lost: frozenset[str] = frozenset()
    """Names of which a lost line may say more; nothing is reported that such a line may have cured."""
    symbols: dict[str, Symbol] = field(default_factory=dict)
    names: NameTable = field(default_factory=NameTable)
    """The names of `symbols`."""
    assignments: list[Branch] = field(default_factory=list)
    instances: dict[str, Scope] = field(default_factory=dict)
    """Parts used in an assignment of their own, by the name of the first target."""
    calls: dict[int, Scope] = field(default_factory=dict)
    """Every use of a part in here, by the identity of its call's tree."""

    def add(self, pin: Pin, *, is_input: bool = False) -> Symbol:
        symbol = Symbol(pin.name, pin.span, pin.width, declared=True, is_input=is_input)
        return self.add_symbol(symbol)

    def add_symbol(self, symbol: Symbol) -> Symbol:
        self.symbols[symbol.name] = symbol
        self.names.add(symbol.name)
        return symbol

    def refuse(self, pins: Iterable[RefusedPin]) -> None:
        """Makes the names of refused pins known without a width, so that nothing more is said about them."""
        for pin in pins:
            if pin.name not in self.symbols:
                self.add_symbol(Symbol(pin.name, pin.span, None, declared=True))

    def reachable(self) -> Iterator[tuple[str, Symbol]]:
        """Every symbol that a claim may name, with its full name."""
        pending = [self]
        while pending:
            scope = pending.pop()
            for symbol in scope.symbols.values():
                if scope.interface is None or not symbol.is_input:
                    yield scope.prefix + symbol.name, symbol
            pending.extend(scope.instances.values())


class Library:
    """The parts that may be used, with their interfaces."""

    def __init__(self, parts: Mapping[str, Block], findings: Findings) -> None:
        self.blocks = parts
        read = {name: read_interface(block, findings) for name, block in parts.items()}
        self._interfaces = {name: interface for name, interface in read.items() if interface is not None}
        # How many scopes one use of a part opens, itself included; no more than just above the limit is counted.
        self._sizes: dict[str, int] = {}
        for name in parts:
            self._measure(name)

    def interface(self, name: str) -> Interface | None:
        return self._interfaces.get(name)

    def size(self, name: str) -> int:
        return self._sizes[name]

    def _measure(self, name: str) -> None:
        """Measures a part after the parts it uses. One that contains itself counts once; it is reported elsewhere."""
        pending = [(name, False)]
        begun: set[str] = set()
        while pending:
            part, uses_are_done = pending.pop()
            if uses_are_done:
                total = 1 + sum(self._sizes.get(used, 0) for used in self._used_parts(part))
                self._sizes[part] = min(total, SCOPE_LIMIT + 1)
            elif part not in begun and part not in self._sizes:
                begun.add(part)
                pending.append((part, True))
                pending.extend((used, False) for used in self._used_parts(part))

    def _used_parts(self, name: str) -> list[str]:
        found = []
        for assignment in self.blocks[name].all("assignment"):
            calls = [tree for tree in walk_branches(assignment.branch(1)) if tree.rule == "call"]
            found += [str(call.token(0)) for call in calls if str(call.token(0)) in self.blocks]
        return found


def read_interface(block: Block, findings: Findings) -> Interface | None:
    """The pins in a part's header; None when a finding says what is wrong with one of them."""
    reader = Reader(block, findings)
    listed = block.header.children[1]
    inputs = reader.pins(listed) if isinstance(listed, Branch) else []
    given = block.header.branch(2)
    outputs = reader.pins(given) if given.rule == "pins" else [pin for pin in (reader.pin(given),) if pin is not None]
    return None if reader.refused else Interface(str(block.name), tuple(inputs), tuple(outputs))


class ScopeOpener:
    """Collects the names of a circuit and of all parts within."""

    def __init__(self, library: Library, findings: Findings) -> None:
        self._library = library
        self._findings = findings
        self._opened = 0

    def open(self, scope: Scope, path: tuple[str, ...] = ()) -> Scope:
        """Fills a scope that holds its pins already. `path` names the parts it stands in, outermost first.

        Raises:
            TooLargeError: there are too many parts.
        """
        self._opened += 1
        if self._opened > SCOPE_LIMIT:
            raise TooLargeError(f"this circuit uses more than {SCOPE_LIMIT} parts")
        self._declare_nets(scope)
        scope.assignments = scope.block.all("assignment")
        self._declare_targets(scope)
        for assignment in scope.assignments:
            self._open_parts(scope, assignment, path)
        return scope

    def _declare_nets(self, scope: Scope) -> None:
        reader = Reader(scope.block, self._findings)
        for statement in scope.block.all("net"):
            for pin in reader.pins(statement.branch(0)):
                if not scope.names.is_taken(pin.name, pin.span, self._findings):
                    scope.add(pin)
        scope.refuse(reader.refused)

    def _declare_targets(self, scope: Scope) -> None:
        """Makes symbols of the targets that are not declared; their widths come later, if not written."""
        uses: dict[str, list[tuple[Branch, Branch]]] = {}
        for assignment in scope.assignments:
            for target in targets_of(assignment):
                uses.setdefault(str(target.token(0)), []).append((target, assignment))
        reader = Reader(scope.block, self._findings)
        for name, found in uses.items():
            target, assignment = found[0]
            if name in scope.symbols or target.rule == "gate_word" or not reader.name_is_free(target.token(0)):
                continue
            span = scope.block.place(target)
            scope.names.is_taken(name, span, self._findings)
            symbol = scope.add_symbol(Symbol(name, span, None, declared=False))
            self._read_first_width(scope, symbol, [target for target, _ in found], assignment)

    def _read_first_width(self, scope: Scope, symbol: Symbol, uses: list[Branch], assignment: Branch) -> None:
        bits = [use for use in uses if len(use.tokens) > 1]
        first = uses[0]
        if bits and (len(uses) > 1 or len(first.tokens) > 2):
            hint = f"declare it first: `net {symbol.name}[4]` for four bits"
            message = f"{quoted(symbol.name)} is assigned bit by bit, but it is not declared as a bus"
            self._findings.error("undeclared-bus", message, scope.block.place(bits[0]), hint)
        elif bits:
            symbol.width = Reader(scope.block, self._findings).width(first.token(1))
        elif len(assignment.branch(0).branches) == 1:
            symbol.definition = assignment.branch(1)

    def _open_parts(self, scope: Scope, assignment: Branch, path: tuple[str, ...]) -> None:
        whole = assignment.branch(1)
        for call in walk_branches(whole):
            if call.rule != "call":
                continue
            callee = str(call.token(0))
            interface = self._library.interface(callee)
            if interface is None or not self._may_nest(scope, call, path):
                continue
            targets = targets_of(assignment)
            name = target_name(targets[0], scope) if call is whole else ""
            if name in scope.instances:
                # The target is driven twice, which is reported there; the names inside would clash.
                continue
            block = self._library.blocks[callee]
            child = Scope(block, f"{scope.prefix}{name}.", interface, block.lost)
            scope.calls[id(call)] = child
            if call is whole:
                scope.instances[name] = child
                self._match_targets(scope, assignment, targets, interface)
            declare_interface(child, interface, self._findings)
            self.open(child, (*path, callee))

    def _may_nest(self, scope: Scope, call: Branch, path: tuple[str, ...]) -> bool:
        callee = str(call.token(0))
        span = scope.block.place(call.token(0))
        if callee in path or (not path and scope.interface is not None and scope.interface.name == callee):
            self._findings.error("recursive-part", f"the part {quoted(callee)} contains itself", span)
            return False
        if self._library.size(callee) > SCOPE_LIMIT:
            message = f"the part {quoted(callee)} uses more than {SCOPE_LIMIT} parts"
            self._findings.error("too-large", message, span, "use fewer")
            return False
        if len(path) >= PART_DEPTH_LIMIT:
            self._findings.error("too-deep", f"parts stand in parts deeper than {PART_DEPTH_LIMIT} levels", span)
            return False
        return True

    def _match_targets(self, scope: Scope, assignment: Branch, targets: list[Branch], interface: Interface) -> None:
        """Gives undeclared targets the widths of the part's outputs."""
        if len(targets) != len(interface.outputs):
            listed = ", ".join(pin.name for pin in interface.outputs)
            gives = counted(len(interface.outputs), "output")
            message = f"the part {quoted(interface.name)} gives {gives}, not {len(targets)}"
            span = scope.block.place(assignment.branch(0))
            self._findings.error("wrong-pin-count", message, span, f"its outputs are: {listed}")
            return
        for target, pin in zip(targets, interface.outputs, strict=True):
            symbol = scope.symbols.get(str(target.token(0)))
            if symbol is not None and symbol.width is None and not symbol.declared and len(target.tokens) == 1:
                symbol.width = pin.width
                symbol.definition = None


def declare_interface(scope: Scope, interface: Interface, findings: Findings) -> None:
    """Puts a part's pins into the scope of one use of it."""
    for pin in (*interface.inputs, *interface.outputs):
        if not scope.names.is_taken(pin.name, pin.span, findings):
            scope.add(pin, is_input=pin in interface.inputs)


def targets_of(assignment: Branch) -> list[Branch]:
    return assignment.branch(0).branches


def target_name(target: Branch, scope: Scope) -> str:
    """A target as it is written: `s`, `s[2]`, `s[3..0]`; a width that is written out is no part of the name."""
    tokens: list[Token] = target.tokens
    symbol = scope.symbols.get(str(tokens[0]))
    is_width = len(tokens) == 2 and symbol is not None and (not symbol.declared or tokens[1] == str(symbol.width))
    if len(tokens) == 1 or is_width:
        return str(tokens[0])
    return f"{tokens[0]}[{'..'.join(tokens[1:])}]"
